"""Kept hole-out is hole-out, and is not solved twice."""

import numpy as np
import pytest

from putlab.green import hole_out as holeout
from putlab.green.hole_out import PUTT_OUTCOMES, cached_hole_out
from putlab.green.skill import Skill

LENGTHS_FT = np.array([2.0, 10.0, 60.0])
ASKED_FT = np.array([4.0, 20.0])
GREEN = {"stimp_ft": 10.0, "past_ft": 1.0}


def skill(line_sd_deg=1.2):
    flat = np.ones((2, 3))
    return Skill(LENGTHS_FT, line_sd_deg * flat, 0 * flat, 9 * flat, 0 * flat)


def test_what_is_kept_is_what_was_solved(own_cache, monkeypatch):
    first = cached_hole_out(skill(), ASKED_FT, **GREEN)
    solved = holeout.hole_out(skill(), ASKED_FT, **GREEN)
    monkeypatch.setattr(holeout, "hole_out", lambda *_, **__: pytest.fail("solved again"))
    again = cached_hole_out(skill(), ASKED_FT, **GREEN)
    for name in PUTT_OUTCOMES:
        np.testing.assert_array_equal(getattr(first, name), getattr(solved, name))
        np.testing.assert_array_equal(getattr(again, name), getattr(solved, name))


@pytest.mark.parametrize("other", [{"stimp_ft": 9.0}, {"past_ft": 2.0}])
def test_another_green_or_aim_is_another_question(own_cache, other):
    usual = cached_hole_out(skill(), ASKED_FT, **GREEN)
    changed = cached_hole_out(skill(), ASKED_FT, **GREEN | other)
    assert not np.array_equal(usual.average_putts, changed.average_putts)
    wider = cached_hole_out(skill(1.5), ASKED_FT, **GREEN)
    assert (wider.average_putts > usual.average_putts).all()
