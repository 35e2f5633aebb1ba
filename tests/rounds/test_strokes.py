"""Strokes lost to a reference, by stretch and cause: against putts holed out one by one."""

from dataclasses import replace

import numpy as np
import pytest

from putlab.base.errors import UsageError
from putlab.green.hole_out import hole_out
from putlab.green.published import green_spread
from putlab.green.skill import Skill
from putlab.rounds.first_putts import RoundMix, shipped_mix
from putlab.rounds.reference import reference_golfer
from putlab.rounds.strokes import (
    BIAS,
    CAUSES,
    DAY,
    EDGES_FT,
    READING,
    SCATTER,
    STRETCHES,
    WILD,
    StrokesLost,
    lost_to,
    round_setting,
    solve_chain,
    stretch_shares,
    stretch_words,
    strokes_lost,
    within_and_on_day,
)

MIX = shipped_mix()
TOUR = reference_golfer("tour")
TOUR_GREEN = TOUR.green(mixed=True)
# The tour golfer without the green: 34 % of the variance (Karlsen and Nilsson 2008), and in pace
# 30 % for new lengths, which practice shows.
LINE_DEG, PACE_PCT = 0.8254, 7.1278
TECHNIQUE = Skill.constant(
    *(
        np.sqrt(share) * sd.item()
        for share, sd in ((0.34, TOUR.skill.line_sd_deg), (0.64, TOUR.skill.pace_sd_pct))
    )
)
# Two draws, biased, wide, and not the same at all lengths; known at many, as a green widens what
# is interpolated, and not the other way round.
GOLFER = Skill(
    np.array([5.0, 20]),
    [[1.2, 1.5], [1.0, 1.1]],
    [[0.4, 0.6], [0.1, 0.0]],
    [[12.0, 9], [10, 8]],
    [[-4.0, -6], [2, 3]],
).at(np.geomspace(5, 20, 40))


def lost(within, on_day=None, **setting):
    """Strokes lost on the tour golfer's own green, unless another is given."""
    setting = {"reference": TOUR, "green": TOUR_GREEN} | setting
    return lost_to("fern", within, on_day or within, round_setting(**setting))


def putts_a_round(skill, mix=MIX, **roll):
    """Mean putts of a round, every first putt holed out by itself."""
    return hole_out(skill, mix.distance_ft, **roll).average_putts @ mix.first_putts


def in_all(found):
    return {cause: draws.sum(axis=1) for cause, draws in found.strokes.items()}


def wild(skill, share):
    """The skill with so many putts in hundred that scatter four times as widely, line and pace."""
    return replace(
        skill,
        line_wild=np.full((1, 1), share / 100),
        line_wild_sd_deg=4 * skill.line_sd_deg,
        pace_wild=np.full((1, 1), share / 100),
        pace_wild_sd_pct=4 * skill.pace_sd_pct,
    )


def test_parts_add_up_to_the_difference_of_putts_holed_out():
    on_day = GOLFER.wider(0.4, 3.0)
    found = lost(GOLFER, on_day, green=green_spread())
    own, theirs = putts_a_round(on_day.wider(*green_spread())), putts_a_round(TOUR.skill)
    assert found.putts == pytest.approx(own, abs=0.01)
    assert found.reference_putts == pytest.approx(theirs.item(), abs=0.01)
    assert found.total.sum(axis=1) == pytest.approx(own - theirs, abs=0.01)
    assert sum(found.parts.values()) == pytest.approx(found.total, abs=1e-12)
    exactly = found.putts - found.reference_putts
    assert found.total.sum(axis=1) == pytest.approx(exactly, abs=1e-6)


def test_a_green_known_by_draws_goes_with_the_golfers_draw_by_draw():
    greens = np.array([[1.0], [2.0]]), np.array([[4.0], [12.0]])
    both = lost(GOLFER, green=greens)
    for draw in (0, 1):
        one = lost(GOLFER[draw : draw + 1], green=tuple(green[draw].item() for green in greens))
        # How finely putts are followed is chosen for those that are worked out together.
        assert both.putts[draw] == pytest.approx(one.putts[0], abs=1e-3)
        for part, strokes in both.parts.items():
            assert strokes[draw] == pytest.approx(one.parts[part][0], abs=1e-3), part


def test_as_many_draws_of_a_green_are_kept_as_of_the_golfer():
    many = GOLFER[np.arange(7) % 2]
    draws = np.arange(7.0)[:, None]
    setting = round_setting(reference=TOUR, green=(draws, 2 * draws)).thinned(3)
    assert setting.green[1].ravel().tolist() == [0, 6, 12]
    assert many.thinned(3).line_bias_deg[:, 0].tolist() == many.line_bias_deg[::3, 0].tolist()
    assert round_setting(reference=TOUR, green=(1.0, 2.0)).thinned(3).green == (1.0, 2.0)


@pytest.mark.parametrize("roll", [{"stimp_ft": 12.0}, {"past_ft": 2.0}])
def test_another_green_and_aim_are_those_of_the_putts_holed_out(roll):
    found = lost(GOLFER, **roll)
    own = putts_a_round(GOLFER.wider(*TOUR_GREEN), **roll)
    difference = own - putts_a_round(TOUR.skill, **roll)
    assert found.total.sum(axis=1) == pytest.approx(difference, abs=0.01)


def test_a_golfer_like_the_reference_loses_nothing_to_anything():
    found = lost(TECHNIQUE)
    for draws in found.parts.values():
        assert draws == pytest.approx(np.zeros((1, 5)), abs=1e-6)
    assert found.putts[0] == pytest.approx(found.reference_putts)
    assert found.three_putts[0] == pytest.approx(found.reference_three_putts)


BIASED = Skill.constant(LINE_DEG, PACE_PCT, line_bias_deg=0.5)
SHORT = Skill.constant(LINE_DEG, PACE_PCT, pace_bias_pct=-6.0)
CROOKED, UNEVEN = Skill.constant(1.2, PACE_PCT), Skill.constant(LINE_DEG, 9.0)


@pytest.mark.parametrize(
    ("key", "within", "on_day"),
    [
        (("line", BIAS["line"]), BIASED, BIASED),
        (("pace", BIAS["pace"]), SHORT, SHORT),
        (("line", SCATTER["line"]), CROOKED, CROOKED),
        (("pace", SCATTER["pace"]), UNEVEN, UNEVEN),
        (("line", DAY), TECHNIQUE, CROOKED),
        (("pace", DAY), TECHNIQUE, UNEVEN),
    ],
)
def test_the_only_cause_there_is_costs_everything(key, within, on_day):
    found = lost(within, on_day)
    expected = putts_a_round(on_day.wider(*TOUR_GREEN)) - putts_a_round(TOUR.skill)
    assert found.parts[key].sum() == pytest.approx(expected.item(), abs=0.01)
    assert expected > 0.3
    for other, draws in found.parts.items():
        if other != key:
            assert draws == pytest.approx(np.zeros((1, 5)), abs=2e-3)


def test_who_only_reads_worse_loses_to_reading_alone():
    green = 1.6, 11.0
    found = lost(TECHNIQUE, green=green)
    expected = putts_a_round(TECHNIQUE.wider(*green)) - putts_a_round(TOUR.skill)
    assert in_all(found)[READING] == pytest.approx(expected, abs=0.01)
    assert found.by_practice("line") == pytest.approx(np.zeros((1, 5)), abs=1e-6)
    assert found.by_practice("pace") == pytest.approx(np.zeros((1, 5)), abs=1e-6)


def test_who_is_better_than_the_reference_gains():
    found = lost(TECHNIQUE, reference="15", green=reference_golfer("15").green(True))
    assert in_all(found)[SCATTER["line"]] < 0
    assert found.total.sum() < -1
    assert "largest cause" not in found.sentence


@pytest.mark.parametrize(("share", "cost"), [(2, 0.3), (3, 0.45), (5, 0.8)])
def test_few_wild_putts_cost_what_was_struck_one_by_one(share, cost):
    """At 1.1 degrees and 9 % two wild putts in a hundred cost 0.3 a round (putts simulated)."""
    plain = Skill.constant(1.1, 9.0)
    golfer = wild(plain, share)
    by_hand = (putts_a_round(golfer) - putts_a_round(plain)).item()
    assert by_hand == pytest.approx(cost, abs=0.05)
    found = lost(golfer, reference=plain, green=(0.0, 0.0))
    assert in_all(found)[WILD] == pytest.approx(by_hand, abs=0.01)
    assert found.total.sum() == pytest.approx(by_hand, abs=0.01)


def test_wild_in_line_or_in_pace_alone_costs_that_component():
    both = wild(TECHNIQUE, 3)
    line, pace = (replace(both, **{f"{name}_wild": np.zeros(1)}) for name in ("pace", "line"))
    for name, golfer in (("line", line), ("pace", pace)):
        found = lost(golfer)
        expected = putts_a_round(golfer.wider(*TOUR_GREEN)) - putts_a_round(TOUR.skill)
        assert found.parts[name, WILD].sum() == pytest.approx(expected.item(), abs=0.01)
        assert found.by_practice(name).sum() == pytest.approx(expected.item(), abs=0.01)


def test_small_causes_cost_what_each_costs_by_itself(monkeypatch):
    """To first order nothing is shared: 3 % wider in line and in pace, each holed out alone."""
    monkeypatch.setattr("putlab.green.published.green_share", lambda **_: (0.0, 0.0))
    green = (0.0, 0.0)
    line, pace = TOUR.skill.line_sd_deg.item(), TOUR.skill.pace_sd_pct.item()
    found = lost(Skill.constant(1.03 * line, 1.03 * pace), green=green)
    for name, alone in (
        ("line", Skill.constant(1.03 * line, pace)),
        ("pace", Skill.constant(line, 1.03 * pace)),
    ):
        expected = (putts_a_round(alone) - putts_a_round(TOUR.skill)).item()
        assert found.by_practice(name).sum() == pytest.approx(expected, rel=0.05)


def test_left_costs_what_right_costs():
    right, left = (Skill.constant(1.0, 7.0, line_bias_deg=side * 0.6) for side in (1, -1))
    ours, mirrored = lost(right).parts, lost(left).parts
    for key, draws in ours.items():
        assert draws == pytest.approx(mirrored[key], abs=1e-3)
    assert ours["line", BIAS["line"]].sum() > 0.3


def test_one_day_is_as_if_its_offset_were_a_bias():
    """Days drawn apart from the kit's, each holed out with its offset as a bias."""
    within, rng = Skill.constant(1.0, 7.0), np.random.default_rng(3)
    shared = {"line": 0.5, "pace": 4.0}
    draws = 60
    on_day = Skill.constant(np.hypot(1.0, shared["line"]), np.hypot(7.0, shared["pace"]))
    many = [skill[np.zeros(draws, dtype=int)] for skill in (within, on_day)]
    found = lost(*many).putts_one_day
    days = Skill(
        [10.0],
        np.ones((400, 1)),
        shared["line"] * rng.standard_normal((400, 1)),
        np.full((400, 1), 7.0),
        shared["pace"] * rng.standard_normal((400, 1)),
    )
    expected = putts_a_round(days.wider(*TOUR_GREEN))
    assert found.mean() == pytest.approx(expected.mean(), abs=4 * expected.std() / np.sqrt(draws))
    assert found.std() == pytest.approx(expected.std(), rel=0.4)
    assert found.std() > 0.1
    # With no difference between days every day is the mean.
    same = lost(within)
    assert same.putts_one_day == pytest.approx(same.putts, abs=1e-4)


def test_three_putts_are_those_holed_out():
    found = lost(GOLFER)
    own, theirs = (
        hole_out(skill, MIX.distance_ft).three_putt @ MIX.first_putts
        for skill in (GOLFER.wider(*TOUR_GREEN), TOUR.skill)
    )
    assert found.three_putts == pytest.approx(own, rel=0.02)
    assert found.reference_three_putts == pytest.approx(theirs.item(), rel=0.02)


def test_a_round_of_one_length_loses_there_and_where_its_misses_stop():
    # One of the lengths from which the chain goes; another is shared by its neighbours.
    nodes = round_setting().nodes_ft
    length = nodes[np.abs(nodes - 20).argmin()]
    assert 15 < length < 25
    mix = RoundMix("one", np.array([length]), np.array([18.0]), "made up")
    found = lost(TECHNIQUE, Skill.constant(1.5, 9.0), mix=mix)
    own = hole_out(Skill.constant(1.5, 9.0).wider(*TOUR_GREEN), [length]).average_putts
    theirs = hole_out(TOUR.skill, [length]).average_putts
    assert found.total.sum() == pytest.approx(18 * (own - theirs).item(), abs=0.01)
    by_stretch = dict(zip(STRETCHES, found.total[0], strict=True))
    assert by_stretch[15.0, 25.0] > 0
    assert by_stretch[4.0, 8.0] > 0
    assert by_stretch[25.0, np.inf] == pytest.approx(0, abs=1e-6)


def test_shares_of_the_nodes_sum_to_one_and_lie_where_the_nodes_are():
    nodes = np.geomspace(0.25, 120, 33)
    shares = stretch_shares(nodes)
    assert shares.sum(axis=1) == pytest.approx(np.ones(33))
    # Half the node on an edge lies on each side of it.
    edge = stretch_shares(np.array([2.0, 4.0, 8.0, 16.0]))[1]
    assert edge == pytest.approx([0.5, 0.5, 0, 0, 0])
    # A node amid a stretch, its half-way points within it, is all there.
    inside = (nodes > 15 * 1.12) & (nodes < 25 / 1.12)
    assert inside.any()
    assert shares[inside, 3] == pytest.approx(np.ones(inside.sum()))
    assert EDGES_FT[3:5].tolist() == [15, 25]


def test_chain_of_two_places_by_hand():
    """Half of the far putts stop near, a tenth of the near ones stay: 1/0.9, then 1 + that / 2."""
    putts, visits = solve_chain(np.array([[[0.1, 0], [0.5, 0]]]), np.array([[0.0], [18.0]]))
    assert putts[0] == pytest.approx([1 / 0.9, 1 + 0.5 / 0.9])
    assert visits[0, :, 0] == pytest.approx([9 / 0.9, 18])


def test_table_and_sentence_by_hand():
    """Two draws: 0.2 and 0.6 lost inside 4 ft by line, 0.1 beyond 25 ft by pace long or short."""
    none = np.zeros((2, 5))
    line, pace = none.copy(), none.copy()
    line[:, 0], pace[:, 4] = [0.2, 0.6], 0.1
    keys = [(name, cause) for name in SCATTER for cause in CAUSES]
    parts = dict.fromkeys(keys, none)
    parts |= {("line", SCATTER["line"]): line, ("pace", BIAS["pace"]): pace}
    three = np.full(2, 1.5)
    found = StrokesLost(
        "fern",
        "club golfer",
        parts,
        np.array([31.0, 31.4]),
        three,
        np.array([30.0, 34.0]),
        30.7,
        0.9,
    )
    table = found.table.set_index(["stretch", "cause"])
    assert len(table) == 6 * (len(CAUSES) + 1)
    row = table.loc[("inside 4\u00a0ft", SCATTER["line"])]
    ends = ["strokes", "strokes_lo", "strokes_hi"]
    # 90 % of the way between two draws: 0.22 to 0.58.
    assert row[ends].to_list() == pytest.approx([0.4, 0.22, 0.58])
    assert table.loc[("the round", "total")][ends].to_list() == pytest.approx([0.5, 0.32, 0.68])
    assert table.loc[("beyond 25\u00a0ft", "total"), "strokes"] == pytest.approx(0.1)
    assert "fern loses 0.50 strokes a round (0.32 to 0.68) to the club golfer" in found.sentence
    assert "31.2 putts and 1.5 three-putts against 30.7 and 0.9" in found.sentence
    # 90 % of two values drawn in between: 30 + 4 x (0.05 and 0.95).
    assert "the mean of days: on one, luck apart, 30.2 to 33.8 putts" in found.sentence
    assert "largest cause is line scatter (0.40)" in found.sentence
    assert "most is lost from inside 4\u00a0ft (0.40)" in found.sentence
    assert found.by_practice("line") == pytest.approx(line)
    gained = replace(found, parts={key: -draws for key, draws in parts.items()}).sentence
    assert "fern gains 0.50 strokes a round (0.32 to 0.68) on the club golfer" in gained
    assert "cause" not in gained


def test_stretches_in_words():
    said = [stretch_words(*ends) for ends in STRETCHES]
    assert said[0] == "inside 4\u00a0ft"
    assert said[1:4] == ["4 to 8\u00a0ft", "8 to 15\u00a0ft", "15 to 25\u00a0ft"]
    assert said[4] == "beyond 25\u00a0ft"


@pytest.mark.slow
def test_a_golfers_round_is_that_of_its_first_putts_on_a_green(demo_fit):
    golfer = demo_fit.golfer("alder")
    found = strokes_lost(golfer)
    # The demo tells of no green: the published one.
    on_day, nodes = within_and_on_day(golfer)[1].thinned(60), round_setting().nodes_ft
    at_nodes = hole_out(on_day.at(nodes).wider(*green_spread()), nodes)
    assert found.putts == pytest.approx(at_nodes.average_putts @ MIX.onto(nodes), abs=0.01)
    # A draw's skill goes up and down from length to length; between nodes that evens out.
    on_green = on_day.wider(*green_spread())
    own, theirs = putts_a_round(on_green).mean(), putts_a_round(TOUR.skill).item()
    assert found.putts.mean() == pytest.approx(own, abs=0.01)
    assert found.total.sum(axis=1).mean() == pytest.approx(own - theirs, abs=0.01)
    three = hole_out(on_green, MIX.distance_ft).three_putt @ MIX.first_putts
    assert found.three_putts.mean() == pytest.approx(three.mean(), rel=0.02)
    assert found.reference == "tour golfer"
    parts = [found.by_practice(name) for name in SCATTER]
    assert sum(parts) + found.strokes[READING] == pytest.approx(found.total, abs=1e-9)
    assert in_all(found)[WILD].min() > 0


@pytest.mark.slow
def test_a_weaker_reference_is_lost_less_to_and_none_is_refused(demo_fit):
    golfer = demo_fit.golfer("birch")
    tour, weaker = (strokes_lost(golfer, reference=level) for level in ("tour", "15"))
    assert weaker.total.sum() < tour.total.sum()
    assert weaker.putts == pytest.approx(tour.putts)
    with pytest.raises(UsageError, match="neither a level"):
        strokes_lost(golfer, reference="champion")
