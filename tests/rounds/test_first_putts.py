"""Mixes of first putts: shipped, counted and the user's own."""

import numpy as np
import pandas as pd
import pytest

from putlab.base.errors import LogError, UsageError
from putlab.green.hole_out import hole_out
from putlab.green.published import table
from putlab.rounds.first_putts import (
    RoundMix,
    all_mixes,
    assumed_mix,
    count_mix,
    later_putts_expected,
    levels,
    read_mix,
    shipped_mix,
    tour_mix,
)
from putlab.rounds.reference import tour_golfer


def test_shipped_file_is_what_its_script_makes():
    made = all_mixes()
    for level in levels():
        mine = made[made["level"] == level]
        mix = shipped_mix(level)
        assert mix.distance_ft == pytest.approx(mine["distance_ft"].to_numpy())
        assert mix.first_putts == pytest.approx(mine["first_putts"].to_numpy(), abs=2e-3)
        assert mix.source == mine["source"].iloc[0]


@pytest.mark.parametrize("level", levels())
def test_every_mix_is_of_eighteen_holes_and_says_where_from(level):
    mix = shipped_mix(level)
    assert mix.first_putts.sum() == pytest.approx(18)
    assert mix.assumed == (level != "tour")
    assert mix.source.startswith("assumption: " if mix.assumed else "derived: ")


def test_leaves_of_the_tour_golfer_explain_the_tap_ins_of_the_record():
    """Broadie (2018): 228,218 putts of up to 1.5 ft, hardly any of them first putts.

    Not fitted to: the golfer's leaves expect 2.3 % more of them.
    """
    record, later = later_putts_expected()
    assert later[:2].sum() == pytest.approx(record["tries"][:2].sum(), rel=0.03)
    assert np.all(later[2:] < record["tries"][2:])


def test_a_round_of_the_tour_golfer_takes_what_the_record_took():
    """Broadie (2018): all putts struck a hole, times 18: 29.4 putts."""
    record = table("putts_made_broadie_2018").frame
    golfer, mix = tour_golfer(), shipped_mix("tour")
    out = hole_out(golfer.skill, mix.distance_ft, stimp_ft=golfer.stimp_ft)
    expected = 18 * record["tries"].sum() / record["made"].sum()
    assert mix.average(out.average_putts)[0] == pytest.approx(expected, abs=0.15)


def test_form_of_the_assumed_mixes_is_near_the_tours_own():
    """With the tour's numbers, at most half a putt of 18 lies on the other side anywhere.

    Two thirds of greens hit (common knowledge); 19 and 4.5 ft as in the derived mix.
    """
    form, tour = assumed_mix("form", 12, 19.0, 4.5), tour_mix()

    def shorter(mix, than_ft):
        total = mix["first_putts"].cumsum() - mix["first_putts"] / 2
        return np.interp(np.log(than_ft), np.log(mix["distance_ft"]), total)

    for than_ft in (3, 5, 8, 12, 18, 25, 35, 50):
        assert shorter(form, than_ft) == pytest.approx(shorter(tour, than_ft), abs=0.5)


def test_sharing_among_practised_lengths_by_hand():
    mix = RoundMix("x", np.array([2.0, 5, 20, 90]), np.array([3.0, 5, 6, 4]), "made up")
    halfway = np.log(20 / 10) / np.log(30 / 10)
    expected = [3 + 5 / 2, 5 / 2 + 6 * (1 - halfway), 6 * halfway + 4]
    # 5 ft is halfway between 2.5 and 10 in log distance.
    assert mix.onto([2.5, 10, 30]) == pytest.approx(expected)
    assert mix.onto([7.0]) == pytest.approx([18])


def test_counting_first_putts_of_a_log():
    log = pd.DataFrame(
        {
            "session": ["a"] * 3 + ["b"] * 2,
            "distance_ft": [10.0, 2.0, 10.0, 30.0, 6.0],
            "hole_no": [1.0, 1.0, 2.0, 1.0, np.nan],
            "putt_no": [1.0, 2.0, 1.0, 1.0, 1.0],
        }
    )
    mix = count_mix(log)
    assert mix.distance_ft == pytest.approx([10, 30])
    assert mix.first_putts == pytest.approx([12, 6])
    assert mix.source == "counted: 3 holes in 2 session(s)"
    with pytest.raises(LogError, match="counts no first putts"):
        count_mix(log.assign(putt_no=np.nan))


def test_own_mix_is_brought_to_eighteen_holes(tmp_path):
    path = tmp_path / "mine.csv"
    path.write_text("distance_ft,first_putts\n20,2\n5,4\n20,3\n")
    mix = read_mix(path)
    assert mix.distance_ft == pytest.approx([5, 20])
    assert mix.first_putts == pytest.approx([8, 10])
    assert mix.source == "mine.csv, which states no source"


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("distance_ft,putts\n5,4\n", "expected a column first_putts"),
        ("distance_ft,first_putts\n5,-4\n", "first_putts -4 in row 2"),
        ("distance_ft,first_putts\n5,1\nx,4\n", "distance_ft x in row 3"),
        ("distance_ft,first_putts\n5,0\n", "got no putt"),
        ("", "could not be read as CSV"),
    ],
)
def test_damaged_mixes_are_refused(tmp_path, text, match):
    path = tmp_path / "mine.csv"
    path.write_text(text)
    with pytest.raises(UsageError, match=match):
        read_mix(path)


def test_unknown_level_lists_the_known():
    with pytest.raises(UsageError, match="'tour', 'handicap 0'"):
        shipped_mix("champion")
