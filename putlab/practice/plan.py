"""The next session: a list to put on the floor, and its twin that loads back as a log."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from putlab.base.words import listed
from putlab.log.schema import COLUMNS
from putlab.practice.split import WARM_UP_MINUTES, split_minutes
from putlab.practice.targets import target
from putlab.rounds.first_putts import RoundMix
from putlab.rounds.games import deal_game

# Balls struck before the length changes: a handful when mixed, and ten of the same when
# repeated (five to ten putts at one length: common practice).
MIXED_SET, BLOCK_SET = 5, 10

# New at a length: fewer putts struck there than this, or spread wider than nine in ten of the
# golfers that the priors expect (convention of the kit).
NEW_PUTTS, NEW_LINE_DEG, NEW_PACE_PCT = 30, 1.9, 17.0

# Time for one drill (about ten minutes: common practice).
DRILL_MINUTES = 10.0

HOLES = 9


@dataclass(frozen=True)
class Plan:
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
    sets : pandas.DataFrame
        ``set, distance_ft, component, putts, first, last`` in the order to play them;
        ``first`` and ``last`` are rows of the twin.
    twin : pandas.DataFrame
        A row a putt with every column of the log; readings are blank, to be filled in.
    order : list of str
        Why the order is as it is.
    seed : int
        Seed of the order and the game.
    """

    player: str
    minutes: float
    advice: object
    targets: list
    sets: pd.DataFrame
    twin: pd.DataFrame
    order: list
    seed: int

    @property
    def game(self):
        """The counted holes of the twin."""
        return self.twin[self.twin["drill"] == "counted"]

    @property
    def warm_up(self):
        """The warm-up in words."""
        return (
            f"Warm-up, {WARM_UP_MINUTES:g} minutes: easy putts of two or three feet, then a "
            "few long ones for feel. Nothing is written down."
        )

    @property
    def game_words(self):
        """The game in words."""
        return (
            f"Counted game, {HOLES} holes of par two, nothing conceded. Write down holed (yes "
            "or no) and, after a miss, what is left; add a row for every further putt "
            "(same hole, putt 2, 3, its length)."
        )

    @property
    def cautions(self):
        """Cautions that belong on the list."""
        return list(CAUTIONS)

    def _repr_html_(self):
        from html import escape

        drills = "".join(f"<li>{escape(drill_words(t))}</li>" for t in self.targets)
        return (
            f"<p><strong>{escape(self.player)}</strong>, {self.minutes:g} minutes</p>"
            f"<ul>{drills}</ul>{self.sets.to_html(index=False, border=0)}"
        )


def drill_words(goal):
    """Return a drill with its target in words.

    Parameters
    ----------
    goal : putlab.practice.targets.Target
        Its target.

    Returns
    -------
    str
        Such as ``Line at 6 ft, 40 putts: start within 1° of the line. 29 of 40 ...``.
    """
    name = "Line" if goal.component == "line" else "Pace"
    return f"{name} at {goal.distance_ft:g} ft, {goal.putts} putts: {goal.band}. {goal.sentence}."


def plan_session(golfer, rules, advice, *, minutes=40.0, seed, session, stimp_ft=None):
    """Plan the next session for one golfer.

    Parameters
    ----------
    golfer : putlab.posterior.player.Golfer
        One player's posterior.
    rules : putlab.log.package.ReadingRules
        Steps and limits of the display, for the target bands.
    advice : putlab.practice.advice.Advice
        Advice for the same golfer.
    minutes : float
        Whole session, warm-up and game included.
    seed : int
        The same seed gives the same order and game.
    session : str
        Label or ISO date of the visit, written into the twin.
    stimp_ft : float, optional
        Green speed, written into the twin where it is known.

    Returns
    -------
    Plan
        List and twin.

    Raises
    ------
    UsageError
        No time is left after warm-up and game.
    """
    split = split_minutes(advice.case, minutes, most_minutes=DRILL_MINUTES)
    rng = np.random.default_rng([seed, 23])
    drills = _drills(split.table)
    new = {
        (row.distance_ft, row.component): is_new(golfer, row.distance_ft, row.component)
        for row in drills.itertuples()
    }
    sets = ordered_sets(drills, new, rng)
    twin = _twin(sets, golfer.player, session, stimp_ft)
    marks = game_mix(advice.case)
    game = deal_game(marks, HOLES, seed=seed, session=session, slopes_pct=(0,))
    game = game.assign(player=golfer.player, stimp_ft=stimp_ft)
    twin = pd.concat([twin, game.astype(object)], ignore_index=True)
    twin["putt"] = np.arange(1, len(twin) + 1)
    goals = [
        target(golfer, rules, row.distance_ft, row.component, row.putts, seed=seed)
        for row in drills.itertuples()
    ]
    return Plan(
        player=golfer.player,
        minutes=float(minutes),
        advice=advice,
        targets=goals,
        sets=sets,
        twin=twin,
        order=_why(new),
        seed=seed,
    )


def _drills(table):
    """Return the drills with their putts in whole sets of five, longest first."""
    putts = np.maximum(np.round(table["putts"] / MIXED_SET), 1) * MIXED_SET
    drills = table.assign(putts=putts.astype(int))
    return drills.sort_values("minutes", ascending=False, kind="stable")


def is_new(golfer, distance_ft, component):
    """Return whether a golfer is a beginner at a length.

    Parameters
    ----------
    golfer : putlab.posterior.player.Golfer
        One player's posterior.
    distance_ft : float
        Length.
    component : {"line", "pace"}
        Component.

    Returns
    -------
    bool
        Few putts struck there, or a spread that is more likely than not very wide.
    """
    practised = golfer.practised.set_index("distance_ft")["putts"]
    if practised.get(distance_ft, 0) < NEW_PUTTS:
        return True
    log_sd, _ = golfer.log_spread_and_bias(component, [distance_ft])
    wide = NEW_LINE_DEG if component == "line" else NEW_PACE_PCT
    return bool(np.median(log_sd) > np.log(wide))


def ordered_sets(drills, new, rng):
    """Return the sets in the order to play them.

    Lengths where the golfer is new come first, in blocks; the rest is mixed so that no drill
    follows itself where that can be helped.

    Parameters
    ----------
    drills : pandas.DataFrame
        ``distance_ft, component, putts``.
    new : dict of (float, str) to bool
        Whether the golfer is a beginner there.
    rng : numpy.random.Generator
        Shuffles.

    Returns
    -------
    pandas.DataFrame
        ``set, distance_ft, component, putts, first, last``.
    """
    blocks, mixed = [], []
    for row in drills.itertuples():
        drill = (row.distance_ft, row.component)
        size = BLOCK_SET if new[drill] else MIXED_SET
        whole, rest = divmod(int(row.putts), size)
        parts = [size] * whole + ([rest] if rest else [])
        (blocks if new[drill] else mixed).extend((*drill, putts) for putts in parts)
    rows = blocks + shuffled_apart(mixed, rng)
    sets = pd.DataFrame(rows, columns=["distance_ft", "component", "putts"])
    last = sets["putts"].cumsum()
    sets = sets.assign(first=last - sets["putts"] + 1, last=last)
    sets.insert(0, "set", np.arange(1, len(sets) + 1))
    return sets


def shuffled_apart(sets, rng):
    """Return sets in random order, no drill after itself where that can be helped.

    Parameters
    ----------
    sets : list of tuple
        ``(distance_ft, component, putts)``.
    rng : numpy.random.Generator
        Shuffles.

    Returns
    -------
    list of tuple
        The same sets.
    """
    left = {}
    for one in sets:
        left.setdefault(one[:2], []).append(one)
    order = []
    while left:
        before = order[-1][:2] if order else None
        names = [name for name in left if name != before] or list(left)
        counts = np.array([len(left[name]) for name in names])
        total = sum(len(rest) for rest in left.values())
        # A drill that holds more than half of what is left must come now, or follow itself.
        must = [name for name, count in zip(names, counts, strict=True) if 2 * count > total]
        pick = must[0] if must else names[rng.choice(len(names), p=counts / counts.sum())]
        order.append(left[pick].pop())
        if not left[pick]:
            del left[pick]
    return order


def game_mix(case):
    """Return the mix the counted game is dealt from: the round's, on the lengths practised.

    Parameters
    ----------
    case : putlab.practice.case.Case
        Golfer and round.

    Returns
    -------
    putlab.rounds.first_putts.RoundMix
        Eighteen first putts shared among the golfer's own lengths.
    """
    mix, lengths = case.setting.mix, case.who.lengths_ft
    return RoundMix(mix.level, lengths, mix.onto(lengths), mix.source)


def _twin(sets, player, session, stimp_ft):
    rows = [
        {
            "player": player,
            "session": session,
            "distance_ft": row.distance_ft,
            "drill": row.component,
            "stimp_ft": stimp_ft,
        }
        for row in sets.itertuples()
        for _ in range(row.putts)
    ]
    return pd.DataFrame(rows, columns=[c.name for c in COLUMNS], dtype=object)


def _why(new):
    """Return why the order is as it is."""
    lengths = sorted({distance_ft for (distance_ft, _), is_so in new.items() if is_so})
    said = [] if new and all(new.values()) else [MIXED_ORDER]
    if lengths:
        words = listed([f"{distance_ft:g} ft" for distance_ft in lengths])
        said.append(BEGINNER_ORDER.format(lengths=words))
    return said or [MIXED_ORDER]


# What is published on the order of practice, and the cautions that go with every plan.


# Recalled as these two are summed up in the literature on practice order in putting.
MIXED_ORDER = (
    "Lengths come mixed by default. Mixed order is worse while practising and better when "
    "tested later (Fazeli and others, Percept. Mot. Skills 124, 2017); Dias and Mendes (2010) "
    "found no effect in putting. The two disagree, and no size is agreed."
)

BEGINNER_ORDER = (
    "At {lengths} this golfer is still new: the same putt is repeated in blocks first, as a "
    "beginner needs some success before mixing (common practice; not tested by either study)."
)

CAUTIONS = (
    "Bending over putts strains back and wrists: stand up straight and walk about after every "
    "set, and warm up first.",
    "Stop at pain. If it comes back, see a doctor or physiotherapist before practising on.",
    "Juniors practise with an adult beside them, and no longer than they enjoy.",
    "The list is statistics from a log; a coach who sees you decides.",
)
