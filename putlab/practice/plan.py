"""The next session: a list to put on the floor, and its rows that load back as a log."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np
import pandas as pd

from putlab.base.errors import expect
from putlab.base.result import Result
from putlab.base.settings import SEED
from putlab.base.words import counted, length_number, length_words, listed, spoken
from putlab.log.rules import ReadingRules
from putlab.log.schema import COLUMNS
from putlab.model.readings import COMPONENTS
from putlab.posterior.player import Golfer
from putlab.practice.advice import MEASURED_PUTTS, MEASURED_STRETCHES, Advice
from putlab.practice.learning import Learning
from putlab.practice.saving import LENGTHS_FT, OPTIONS
from putlab.practice.split import WARM_UP_MINUTES, drill_minutes, split_minutes
from putlab.practice.targets import Target, target
from putlab.rounds.first_putts import RoundMix, shipped_mix
from putlab.rounds.games import deal_game
from putlab.rounds.strokes import STRETCHES

# Balls struck before the length changes: a handful (common practice).
MIXED_SET = 5

# Putts of a drill that first correct the middle: in ten the published novices halved their bias
# of pace (`putlab.practice.learning`); and what they are struck to (common practice).
MARK_PUTTS = 10
MARKS = {"line": "a mark on the line close ahead", "pace": "a mark where the ball should stop"}

# Time for one drill (about ten minutes: common practice).
DRILL_MINUTES = 10.0

HOLES = 9

# A drill of which line and pace are both read: to measure, where the log is too small to choose.
BOTH = "both"

# Distance in feet, component, and putts: a drill, or one set of it.
Drill = tuple[float, str, int]


@dataclass(frozen=True)
class Plan(Result):
    """One session.

    Attributes
    ----------
    player : str
        Label.
    minutes : float
        Whole session, warm-up and game included.
    advice : putlab.practice.advice.Advice
        What it follows from.
    targets : list of putlab.practice.targets.Target
        One a drill, for all its putts of the session.
    table : pandas.DataFrame
        The sets in order: ``set, distance_ft, component, putts``, and ``first, last``, their rows
        of `log_rows`.
    log_rows : pandas.DataFrame
        A row a putt with every column of the log; readings are blank, to be filled in.
    """

    player: str
    minutes: float
    advice: Advice
    targets: list[Target]
    table: pd.DataFrame
    log_rows: pd.DataFrame

    # What is published on the order of practice.
    order: ClassVar[list[str]] = [
        "Lengths come mixed. In putting, mixed order was better when tested later (Fazeli and "
        "others, 2017, 30 novices), and blocks first, then mixed, best of all (Porter and Magill, "
        "2010), which Dias and Mendes (2010) and Coker (2010) did not find again; over many "
        "studies outside the laboratory the effect is small (Ammar and others, 2024; Czyż and "
        "others, 2024)."
    ]
    warm_up: ClassVar[str] = (
        f"Warm-up, {WARM_UP_MINUTES:g} minutes: easy short putts, then a few long ones for "
        "feel. Nothing is written down."
    )
    game_words: ClassVar[str] = (
        f"Counted game, {HOLES} holes of par two, nothing conceded. Write down the putts taken on "
        "each hole and, where the first missed, how much it left."
    )
    cautions: ClassVar[list[str]] = [
        "Bending over putts strains back and wrists: stand up straight and walk about after every "
        "set, and warm up first.",
        "Stop at pain. If it comes back, see a doctor or physiotherapist before practising on.",
        "Juniors practise with an adult beside them, and no longer than they enjoy.",
        "The list is statistics from a log; a coach who sees you decides.",
    ]

    @property
    def drills(self) -> list[str]:
        """Every drill in words: what to strike, the band to aim for, what would be news."""
        return [drill_words(goal) for goal in self.targets]

    @property
    def sentence(self) -> str:
        """The session in one sentence."""
        drills = [
            f"{at_length(goal.component, goal.distance_ft)} ({counted(goal.putts, 'putt')})"
            for goal in self.targets
        ]
        holes = counted(len(self.game), "counted hole")
        return f"{self.minutes:g} minutes: {listed(drills)}, then {holes}."

    @property
    def game(self) -> pd.DataFrame:
        """The counted holes of the rows."""
        return self.log_rows[self.log_rows["drill"] == "counted"]

    @property
    def listing(self) -> list[list[str]]:
        """The session as rows of text, for a workbook or a terminal: drills, sets, game."""
        rows = [[f"{self.player}, {self.minutes:g} minutes"], [self.advice.sentence], []]
        rows += [[self.warm_up], [], *([drill] for drill in self.drills), []]
        rows += [["Set", "Drill", "Putts", "Rows of the log", "Inside the band"]]
        rows += [
            [str(s.set), at_length(s.component, s.distance_ft), str(s.putts),
             f"{s.first} to {s.last}", ""]
            for s in self.table.itertuples()
        ]  # fmt: skip
        rows += [[], [self.game_words], ["Hole", "Length", "Putts taken"]]
        rows += [[str(h.hole_no), length_words(h.distance_ft), ""] for h in self.game.itertuples()]
        return [*rows, [], *([text] for text in (*self.order, *self.cautions))]


def at_length(component: str, distance_ft: float) -> str:
    """Where a drill is, in words."""
    return f"{component} at {length_words(distance_ft)}"


def drill_words(goal: Target) -> str:
    """A drill with its target in words."""
    where = at_length(goal.component.capitalize(), goal.distance_ft)
    return f"{where}, {goal.putts} putts: {goal.start}{goal.band}. {goal.sentence}."


def start_words(advice: Advice, distance_ft: float, component: str, putts: int) -> str:
    """What a drill's first putts are for, where the middle there costs more than the scatter."""
    table = advice.table[advice.table["component"] == component]
    row = table[table["from_ft"] <= distance_ft].iloc[-1]
    if row["saved_by_middle"] <= row["saved_by_scatter"]:
        return ""
    middle = advice.case.golfer.middle_words(component, [distance_ft])
    first, then = (f"the first {MARK_PUTTS}", "then ") if putts > MARK_PUTTS else ("all", "")
    return f"{first} to {MARKS[component]}, to correct the middle, which lies {middle}; {then}"


def plan(
    golfer: Golfer,
    rules: ReadingRules,
    advice: Advice,
    *,
    minutes: float = 40.0,
    seed: int,
    session: str | None,
    stimp_ft: float | None = None,
    lengths_ft: Sequence[float] = (),
) -> Plan:
    """Plan the next session for one golfer.

    Parameters
    ----------
    golfer : putlab.posterior.player.Golfer
        One player's posterior.
    rules : putlab.log.rules.ReadingRules
        Steps and limits of the display, for the target bands.
    advice : putlab.practice.advice.Advice
        Advice for the same golfer.
    minutes : float
        Whole session, warm-up and game included.
    seed : int
        The same seed gives the same order and game.
    session : str or None
        Label or ISO date of the visit, written into the rows.
    stimp_ft : float, optional
        Green speed, written into the rows where it is known.
    lengths_ft : sequence of float, optional
        The only lengths to drill; default: those of the log in the stretches that pay, two of
        each at most, or `putlab.practice.saving.LENGTHS_FT` where it has none: of these only
        such as the log shows the mat to reach, but in the stretch that the advice chose.

    Returns
    -------
    Plan
        List and rows to fill in; where the log is too small to choose by, putts that measure.

    Raises
    ------
    UsageError
        No time is left after warm-up and game, or a length is not above 0.
    """
    rng = np.random.default_rng([seed, 23])
    at = lengths_by_stretch(golfer, lengths_ft, advice.choice[0] if advice.measured else None)
    among = [option for option in OPTIONS if at[option[0]]]
    if advice.measured:
        split = split_minutes(advice.case, minutes, most_minutes=DRILL_MINUTES, among=among)
        drills = _drills(split.table, at)
    else:
        drills = measuring_drills(minutes, at, advice.case.learning)
    sets = mixed_sets(drills, rng)
    mix = advice.case.round.mix.among(golfer.practised["distance_ft"])
    rows = rows_to_fill_in(sets, mix, HOLES, seed=seed, session=session)
    targets = [
        replace(
            target(golfer, rules, length, one, putts, seed=seed),
            start=start_words(advice, length, one, putts) if advice.measured else "",
        )
        for length, name, putts in drills
        for one in (COMPONENTS if name == BOTH else (name,))
    ]
    return Plan(
        player=golfer.player,
        minutes=float(minutes),
        advice=advice,
        targets=targets,
        table=_numbered(sets),
        log_rows=rows.assign(player=golfer.player, stimp_ft=stimp_ft),
    )


def lengths_by_stretch(
    golfer: Golfer, wanted_ft: Sequence[float] = (), chosen: int | None = None
) -> list[list[float]]:
    """The lengths to drill in each stretch: those wanted, else practised ones, else the kit's.

    The kit's are no longer than the longest practised, as a mat may end there, but where chosen.
    """
    good = all(0 < length < np.inf for length in wanted_ft)
    expect(good, "lengths_ft", wanted_ft, "lengths in feet above 0")
    if wanted_ft:
        return [[d for d in wanted_ft if low <= d < high] for low, high in STRETCHES]
    practised = golfer.practised.sort_values("putts", ascending=False, kind="stable")
    known = practised["distance_ft"].tolist()
    own = [[d for d in known if low <= d < high] for low, high in STRETCHES]
    # As people say them: 5.2 m and not the 5.182 m that 17 ft are.
    said = [[float(length_number(d)) * d / spoken(d) for d in kits] for kits in LENGTHS_FT]
    within = [[d for d in kits if i == chosen or d <= max(known)] for i, kits in enumerate(said)]
    return [sorted(mine[:2]) or kits for mine, kits in zip(own, within, strict=True)]


def _drills(table: pd.DataFrame, lengths_ft: list[list[float]]) -> list[Drill]:
    """The drills of a split with their putts in whole sets of five, longest first."""
    drills = []
    for row in table.sort_values("minutes", ascending=False, kind="stable").itertuples():
        sets = max(round(row.putts / MIXED_SET), 1)
        # Not more lengths than sets of five.
        here = lengths_ft[row.place][:sets]
        for k, distance_ft in enumerate(here):
            share = sets // len(here) + (k < sets % len(here))
            drills.append((distance_ft, row.component, share * MIXED_SET))
    return drills


def measuring_drills(
    minutes: float, lengths_ft: list[list[float]], learning: Learning
) -> list[Drill]:
    """Putts that measure a golfer, line and pace read of each: as many from every stretch."""
    lengths = np.array([mine[-1] for mine in lengths_ft if mine][:MEASURED_STRETCHES])
    each = drill_minutes(minutes) / (1 / learning.putts_a_minute(lengths)).sum()
    putts = int(np.clip(each // MIXED_SET, 1, MEASURED_PUTTS // MIXED_SET)) * MIXED_SET
    return [(float(length), BOTH, putts) for length in lengths]


def mixed_sets(drills: list[Drill], rng: np.random.Generator) -> list[Drill]:
    """The sets of some drills in random order, none after itself where that can be helped."""
    left = {(length_ft, name): putts // MIXED_SET for length_ft, name, putts in drills}
    order: list[Drill] = []
    while left:
        names = [name for name in left if not order or name != order[-1][:2]] or list(left)
        counts = np.array([left[name] for name in names])
        # A drill that holds more than half of what is left must come now, or follow itself.
        must = np.flatnonzero(2 * counts > sum(left.values()))
        pick = names[must[0] if must.size else rng.choice(len(names), p=counts / counts.sum())]
        order.append((*pick, MIXED_SET))
        left[pick] -= 1
        if not left[pick]:
            del left[pick]
    return order


def _numbered(sets: list[Drill]) -> pd.DataFrame:
    """Sets with their number and the rows of the log they fill, as in `Plan.table`."""
    table = pd.DataFrame(sets, columns=["distance_ft", "component", "putts"])
    last = table["putts"].cumsum()
    table.insert(0, "set", np.arange(1, len(table) + 1))
    return table.assign(first=last - table["putts"] + 1, last=last)


def rows_to_fill_in(
    sets: list[Drill], mix: RoundMix, holes: int, *, seed: int, session: str | None
) -> pd.DataFrame:
    """A row a putt of some sets, then a counted game on a level mat; readings are blank."""
    putts = [(distance_ft, component) for distance_ft, component, n in sets for _ in range(n)]
    rows = [pd.DataFrame(putts, columns=["distance_ft", "drill"])]
    if holes:
        rows.append(deal_game(mix, holes, seed=seed, session=session, slopes_pct=(0,)))
    every = [part.reindex(columns=[c.name for c in COLUMNS]).astype(object) for part in rows]
    whole = pd.concat(every, ignore_index=True)
    return whole.assign(session=session, putt=np.arange(1, len(whole) + 1))


# A visit without a log to plan from: some lengths, each as often, mixed, and a counted game.


def first_visit(
    lengths_ft: Sequence[float],
    *,
    putts: int = 60,
    holes: int = 9,
    players: Sequence[str | None] = (None,),
    session: str | None = None,
    seed: int = SEED,
) -> pd.DataFrame:
    """Lay out a visit: sets of five putts, lengths mixed, and a counted game on a level mat.

    Parameters
    ----------
    lengths_ft : sequence of float
        Lengths in feet.
    putts : int
        Putts of each player, shared evenly among the lengths in whole sets.
    holes : int
        Holes of the counted game, at the same lengths; 0 for none.
    players : sequence of str or None
        Labels; None where nobody need be named.
    session : str, optional
        Label or ISO date of the visit.
    seed : int
        Seed of the order and of the holes.

    Returns
    -------
    pandas.DataFrame
        A row a putt and a hole with every column of the log; readings are blank.

    Raises
    ------
    UsageError
        A length or number that can't be.
    """
    lengths = sorted({float(d) for d in lengths_ft})
    expect(min(lengths, default=0) > 0, "lengths_ft", lengths_ft, "lengths in feet above 0")
    fewest = MIXED_SET * len(lengths)
    expect(fewest <= putts <= 1000, "putts", putts, f"{fewest} to 1000, a set a length or more")
    expect(holes >= 0, "holes", holes, "0 or more")
    mix = shipped_mix().among(lengths)
    sets = round(putts / MIXED_SET)
    shares = [MIXED_SET * len(part) for part in np.array_split(np.arange(sets), len(lengths))]
    drills = [(length, BOTH, share) for length, share in zip(lengths, shares, strict=True)]
    parts = []
    for number, player in enumerate(players):
        rng = np.random.default_rng([seed, number])
        mine = rows_to_fill_in(
            mixed_sets(drills, rng), mix, holes, seed=seed + number, session=session
        )
        parts.append(mine.assign(player=player))
    return pd.concat(parts, ignore_index=True)
