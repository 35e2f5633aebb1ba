"""Design of a trial: how many putts an arm, in how many visits, to see a change.

Two arms of n exact normal readings at one length are the textbook's case: the ratio of their
variances follows F, and the number needed is exact (`f_test_putts`). What a real trial has
on top is added in the open:

    looking after every visit      a few percent more (`LOOKS`)
    readings in steps, mishits     each reading tells less (`putlab.practice.learning`)
    lengths and visits             each has a mean of its own, which costs a putt

What a golfer's own log says of these is in `putlab.trial.design`.
"""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from scipy import stats

from putlab.base.errors import UsageError
from putlab.base.settings import PAST_FT, SEED, STIMP_FT
from putlab.green.hole_out import hole_out
from putlab.green.skill import Skill
from putlab.model.priors import PRIORS
from putlab.practice.targets import reading_share
from putlab.trial import boundary as looking
from putlab.trial.boundary import CHANCE, TWO_SIDED
from putlab.trial.contrast import WIDE_TREND_SD

# What looking after every visit costs in putts over one look at the end. It keeps the
# chance at 78 to 80 % (`looking.chance_of_helped`), against the 80 % of a single look.
LOOKS = 1.04

# Putts of one visit, both arms together: about half an hour (common practice).
SESSION_PUTTS = 60

# A trial lies in this many visits at least, so that no one day decides it.
FEWEST_SESSIONS = 4

MOST_PUTTS = 1_000_000

NAMES = {"line": "line spread", "pace": "pace spread", "strokes": "both spreads, by strokes"}
METRICS = tuple(NAMES)


@dataclass(frozen=True)
class Conditions:
    """What is known of readings and golfer; the defaults are the textbook's case.

    Attributes
    ----------
    share : float
        What one putt tells of the change relative to an exact reading of one component,
        over the lengths of the trial. Strokes draw on both, so it may be above 1.
    form_sd : float
        Sd of log spread from visit to visit.
    visit_means : bool
        Whether every visit has an offset of its own.
    source : str
        Where these come from, in words.
    """

    share: float = 1.0
    form_sd: float = PRIORS["line"].form_median
    visit_means: bool = False
    source: str = "exact readings of a steady golfer; give a log to allow for yours"


@dataclass(frozen=True)
class TrialDesign:
    """A designed trial.

    Attributes
    ----------
    distances_ft : tuple of float
        Lengths, each with the same number of putts.
    detect_pct : float
        Cut in spread that the trial is meant to see.
    metric : str
        What the verdict will be on.
    f_test_putts : int
        Putts an arm by the exact F-test: one length, one look, exact readings.
    putts_an_arm : int
        Putts an arm that this trial needs.
    sessions, putts_each : int
        Visits, and putts of each arm at each length in a visit.
    chances : pandas.DataFrame
        ``sessions, putts_an_arm, chance``: chance of ``helped`` by then if the change is
        as large as that.
    before_after_chance : float
        The chance of the same putts as a plain before-and-after.
    conditions : Conditions
        What was allowed for.
    seed : int
        Seed of chances and schedule.
    """

    distances_ft: tuple
    detect_pct: float
    metric: str
    f_test_putts: int
    putts_an_arm: int
    sessions: int
    putts_each: int
    chances: pd.DataFrame = field(repr=False)
    before_after_chance: float
    conditions: Conditions
    seed: int

    @property
    def scheduled_an_arm(self):
        """Putts an arm as laid out: the need, rounded up to equal blocks."""
        return self.sessions * len(self.distances_ft) * self.putts_each

    @property
    def sentence(self):
        """The design in plain words."""
        chance = self.chances["chance"].iloc[-1]
        return (
            f"To see a cut of {self.detect_pct:g} % in {NAMES[self.metric]}: "
            f"{self.putts_an_arm:,} putts an arm, laid out as {self.sessions} visits of "
            f"{2 * len(self.distances_ft) * self.putts_each} putts (both arms, "
            f"{self.scheduled_an_arm:,} each). Chance of seeing it: {chance:.0%}; as a plain "
            f"before-and-after of as many putts: {self.before_after_chance:.0%}."
        )

    def to_dict(self):
        """Return the design as plain values.

        Returns
        -------
        dict
            Ready to be written as JSON.
        """
        names = ("distances_ft", "detect_pct", "metric", "f_test_putts", "putts_an_arm")
        names += ("sessions", "putts_each", "scheduled_an_arm", "before_after_chance")
        return {
            **{name: getattr(self, name) for name in names},
            "chances": self.chances.to_dict("records"),
            "reading_share": self.conditions.share,
            "allowed_for": self.conditions.source,
            "seed": self.seed,
            "sentence": self.sentence,
        }


def f_test_power(putts, cut, *, two_sided=TWO_SIDED):
    """Return the exact chance that an F-test of two variances sees a cut of spread.

    Under the cut the ratio of sample variances is (1 - cut)² times an F variable.

    Parameters
    ----------
    putts : int or ndarray
        Putts an arm.
    cut : float
        Cut of the standard deviation, 0.2 for 20 %.
    two_sided : float
        Level of the test.

    Returns
    -------
    ndarray
        Power.
    """
    freedom = np.asarray(putts) - 1
    low, high = (stats.f.ppf(p, freedom, freedom) for p in (two_sided / 2, 1 - two_sided / 2))
    ratio = (1 - cut) ** 2
    return stats.f.cdf(low / ratio, freedom, freedom) + stats.f.sf(high / ratio, freedom, freedom)


def f_test_putts(cut, *, chance=CHANCE, two_sided=TWO_SIDED):
    """Return the least putts an arm with which an F-test sees a cut of spread.

    Parameters
    ----------
    cut : float
        Cut of the standard deviation, 0.2 for 20 %.
    chance : float
        Power wanted.
    two_sided : float
        Level of the test.

    Returns
    -------
    int
        Putts an arm, exact.

    Raises
    ------
    UsageError
        More than a million putts would be needed.
    """
    low, high = 2, 4
    while f_test_power(high, cut, two_sided=two_sided) < chance:
        low, high = high, 2 * high
        if low > MOST_PUTTS:
            raise UsageError(
                f"a cut of {cut:.2%} would take more than {MOST_PUTTS:,} putts an arm; ask for "
                "a larger one with --detect."
            )
    while high - low > 1:
        middle = (low + high) // 2
        enough = f_test_power(middle, cut, two_sided=two_sided) >= chance
        low, high = (low, middle) if enough else (middle, high)
    return high


def design_trial(
    distances_ft,
    detect_pct,
    *,
    metric="line",
    conditions=None,
    sessions=None,
    session_putts=SESSION_PUTTS,
    seed=SEED,
):
    """Design a trial of two conditions, shuffled within every visit.

    Parameters
    ----------
    distances_ft : sequence of float
        Lengths in feet.
    detect_pct : float
        Cut of spread to be seen, percent.
    metric : {"line", "pace", "strokes"}
        What the verdict will be on.
    conditions : Conditions, optional
        What readings and golfer allow; default: the textbook's case. A trial judged by
        strokes needs `putlab.trial.design.strokes_conditions`.
    sessions : int, optional
        Visits; default: as many as `session_putts` asks for.
    session_putts : int
        Putts of one visit, both arms together, where `sessions` is not given.
    seed : int
        Seed of chances and schedule.

    Returns
    -------
    TrialDesign
        Putts, visits and chances.

    Raises
    ------
    UsageError
        A length, size or number that can't be.
    """
    lengths = _checked(distances_ft, detect_pct, sessions, session_putts)
    known = conditions or Conditions()
    cut = detect_pct / 100
    exact = f_test_putts(cut)
    base = exact * LOOKS / known.share
    visits = sessions or max(int(np.ceil(2 * base / session_putts)), FEWEST_SESSIONS)
    means = (len(lengths) - 1) / 2 + known.visit_means * visits / 2
    needed = round(base + means)
    each = int(np.ceil(needed / (visits * len(lengths))))
    return TrialDesign(
        distances_ft=lengths,
        detect_pct=float(detect_pct),
        metric=metric,
        f_test_putts=exact,
        putts_an_arm=needed,
        sessions=visits,
        putts_each=each,
        chances=_chances(visits, each * len(lengths), base, means, seed),
        before_after_chance=_before_after_chance(cut, visits, base / exact, needed, known),
        conditions=known,
        seed=seed,
    )


def _checked(distances_ft, detect_pct, sessions, session_putts):
    lengths = tuple(sorted({float(d) for d in distances_ft}))
    if not lengths or lengths[0] <= 0:
        raise UsageError(f"--distances {distances_ft}: lengths in feet above 0 are expected.")
    if not 0 < detect_pct < 100:
        raise UsageError(f"--detect {detect_pct:g}: expected percent above 0 and below 100.")
    if sessions is not None and sessions < 1:
        raise UsageError(f"--sessions {sessions}: expected 1 or more.")
    if session_putts < 2 * len(lengths):
        raise UsageError(
            f"--session-putts {session_putts}: two arms at {len(lengths)} lengths take at "
            f"least {2 * len(lengths)} putts a visit."
        )
    return lengths


def _chances(visits, putts_a_visit, base, means, seed):
    """Return the chance of having said helped by the end of each visit."""
    sessions = np.arange(1, visits + 1)
    putts = sessions * putts_a_visit
    told = np.maximum(putts - means * sessions / visits, 1.0)
    # At `base` putts the information is that of the design, and a little more for looking.
    chance = looking.chance_of_helped(LOOKS * told / base, seed=seed)
    return pd.DataFrame({"sessions": sessions, "putts_an_arm": putts, "chance": chance})


def _before_after_chance(cut, visits, cost, putts, known):
    """Return the chance of helped when one arm follows the other, asked once at the end.

    A log spread a visit, its form among its noise, is regressed on the arm and on what
    practice alone may have done.
    """
    if visits < 2:
        return 0.0
    per_visit = 2 * putts / visits
    practised = np.log1p(np.arange(visits) * per_visit / 100)
    arm = (np.arange(visits) >= visits / 2).astype(float)
    noise = LOOKS * cost / 2 / per_visit + known.form_sd**2
    columns = np.stack([np.ones(visits), practised, arm], axis=1)
    told = columns.T @ columns / noise + np.diag([0, 1 / WIDE_TREND_SD**2, 0])
    information = 1 / np.linalg.inv(told)[2, 2]
    untroubled = 1 / np.linalg.inv(told[::2, ::2])[1, 1]
    size = -np.log1p(-cut)
    needed = looking.z_needed(untroubled * (size / looking.z_of_design()) ** 2)
    return float(stats.norm.sf(needed - size * np.sqrt(information)))


# The order of a trial: shuffled blocks in which every visit holds both arms alike.


# Columns of the sheet that the player fills in.
READINGS = ("line_deg", "roll_ft")

# Putts in a row with one arm, at most: five to ten go to one length (common practice), and
# shorter blocks spread both arms better over a visit.
BLOCK = 5


def schedule(design, *, before="A", after="B", player="player", seed=None):
    """Lay out a designed trial putt by putt.

    Each length is struck in turns of two blocks, A B and later B A or the other way round,
    so that warming up and tiring fall on both arms alike. Which arm goes first is dealt
    evenly over visits and lengths, in shuffled order.

    Parameters
    ----------
    design : putlab.trial.design.TrialDesign
        The trial.
    before, after : str
        Labels of the two conditions.
    player : str
        Label of the player.
    seed : int, optional
        Seed of the shuffling; default: the design's.

    Returns
    -------
    pandas.DataFrame
        A log without readings: ``player, session, putt, distance_ft, condition, drill``
        and empty `READINGS`.
    """
    rng = np.random.default_rng(design.seed if seed is None else seed)
    lengths, each = np.array(design.distances_ft), design.putts_each
    pairs = int(np.ceil(each / (2 * BLOCK)))
    first = _dealt((design.sessions, pairs, lengths.size), rng)
    sizes = [len(part) for part in np.array_split(np.arange(each), 2 * pairs)]
    width = len(str(design.sessions))
    visits = [
        _visit(lengths, first[s], sizes, rng).assign(session=f"visit {s + 1:0{width}d}")
        for s in range(design.sessions)
    ]
    table = pd.concat(visits, ignore_index=True)
    table["condition"] = np.where(table.pop("arm") == 0, before, after)
    table["putt"] = table.groupby("session").cumcount() + 1
    drill = {"line": "line", "pace": "pace"}.get(design.metric, "both")
    table = table.assign(player=player, drill=drill, **dict.fromkeys(READINGS, np.nan))
    return table[["player", "session", "putt", "distance_ft", "condition", "drill", *READINGS]]


def _dealt(shape, rng):
    """Deal which arm goes first: as often the one as the other in all, shuffled."""
    deck = np.arange(np.prod(shape)) % 2
    rng.shuffle(deck)
    return deck.reshape(shape)


def _visit(lengths, first, sizes, rng):
    """Return one visit: each length in turns, every second one the reverse of the last."""
    blocks = []
    for turn, size in enumerate(sizes):
        for place in rng.permutation(lengths.size):
            arm = (first[turn // 2, place] + turn) % 2
            for this in (arm, 1 - arm):
                blocks.append(pd.DataFrame({"distance_ft": [lengths[place]] * size, "arm": this}))
    return pd.concat(blocks, ignore_index=True)


# What a golfer's own spread and readings mean for the size of a trial.


COMPONENTS = ("line", "pace")

# The model learns of mishits, first putts and form from the same putts, which leaves this
# share for the change: measured on simulated trials (`tests/calibration/trials.py`).
FOR_THE_CHANGE = 0.96

# Steps of the numerical slopes: log spread, then bias in degrees and percent.
LOG_STEP, BIAS_STEP = 0.05, {"line": 0.1, "pace": 1.0}


def conditions_of(golfer, distances_ft, component, rules):
    """Return what a fitted golfer's readings allow.

    Parameters
    ----------
    golfer : putlab.posterior.player.Golfer
        One player's posterior.
    distances_ft : sequence of float
        Lengths of the trial, in feet.
    component : {"line", "pace"}
        Component that is judged.
    rules : putlab.log.package.ReadingRules
        How the readings are made.

    Returns
    -------
    putlab.trial.design.Conditions
        Share of an exact reading, and session variation.
    """
    share = own_share(golfer, distances_ft, component, rules)
    return _own(golfer, component, share, f"a reading tells {share:.0%} of an exact one")


def _own(golfer, component, share, said):
    return Conditions(
        share=share,
        form_sd=float(golfer.draws(component, "form_sd").mean()),
        visit_means=True,
        source=f"{golfer.player}'s own spread, readings and visits; {said}",
    )


def own_share(golfer, distances_ft, component, rules):
    """Return what this golfer's readings tell relative to exact ones.

    Parameters
    ----------
    golfer, distances_ft, component, rules
        As in `conditions_of`.

    Returns
    -------
    float
        Mean over the lengths, less what the model needs for all else that it learns.

    Raises
    ------
    UsageError
        The player has no readings of the component.
    """
    rows = golfer.fit.designs[component].rows
    if not (rows["player"] == golfer.player).any():
        raise UsageError(f"{golfer.player} has no {component} readings in this log.")
    lengths = np.array(sorted({float(d) for d in distances_ft}))
    skill = golfer.skill(lengths, new_day=False)
    if component == "line":
        spread, unit = skill.line_sd_deg, np.ones(lengths.size)
        step, noise = rules.line_step_deg, rules.line_noise_deg
    else:
        spread, unit = skill.pace_sd_pct, 100 / lengths
        step, noise = rules.roll_step_ft, rules.roll_noise_ft
    mishits = golfer.draws(component, "mishit_share").mean()
    shares = [
        reading_share(sd, step=(step or 0) * u, noise=(noise or 0) * u, mishit_share=mishits)
        for sd, u in zip(spread.mean(axis=0), unit, strict=True)
    ]
    return float(np.mean(shares)) * FOR_THE_CHANGE


def golfer_at_large():
    """Return the skill of a golfer of whom nothing is known: the middle of the priors.

    Returns
    -------
    putlab.green.skill.Skill
        One draw.
    """
    return Skill.constant(*(PRIORS[name].sd_median for name in COMPONENTS))


def strokes_conditions(
    detect_pct,
    mix,
    *,
    golfer=None,
    distances_ft=(),
    rules=None,
    stimp_ft=STIMP_FT,
    past_ft=PAST_FT,
):
    """Return what a trial judged by strokes allows: cuts of both spreads, read together.

    The change of strokes a round is taken as straight in both log ratios and both changes
    of bias; its variance adds up what n putts an arm leave unknown of each.

    Parameters
    ----------
    detect_pct : float
        Cut of both spreads, percent.
    mix : putlab.rounds.first_putts.RoundMix
        First putts of a round.
    golfer : putlab.posterior.player.Golfer, optional
        One player's posterior; default: a golfer at large, read exactly.
    distances_ft : sequence of float
        Lengths of the trial, in feet, where a golfer is given.
    rules : putlab.log.package.ReadingRules
        How the readings are made, where a golfer is given.
    stimp_ft, past_ft : float
        Green speed, and how far past the hole the golfer aims.

    Returns
    -------
    putlab.trial.design.Conditions
        With the share that makes the one-component design that of strokes.
    """
    skill, shares = golfer_at_large(), dict.fromkeys(COMPONENTS, 1.0)
    if golfer is not None:
        skill = _typical(golfer, mix)
        shares = {name: own_share(golfer, distances_ft, name, rules) for name in COMPONENTS}
    cut = -np.log1p(-detect_pct / 100)
    saved, by_spread, by_bias = _slopes(skill, cut, mix, stimp_ft, past_ft)
    spreads = {"line": skill.line_sd_deg, "pace": skill.pace_sd_pct}
    variance = sum(
        by_spread[name] ** 2 / shares[name]
        + 2 * (by_bias[name] * np.exp(np.log(spreads[name]).mean())) ** 2
        for name in COMPONENTS
    )
    share = float(saved**2 / (cut**2 * variance))
    said = f"{detect_pct:g} % off both spreads saves {saved:.2f} strokes a round"
    if golfer is None:
        return Conditions(share=share, source=f"a golfer at large, read exactly; {said}")
    return _own(golfer, "line", share, said)


def _typical(golfer, mix):
    """Return the golfer's new-day skill at its posterior mean, as one draw."""
    at = np.unique([2.0, *mix.distance_ft, 60.0])
    skill = golfer.skill(at, new_day=True)
    names = ("line_sd_deg", "line_bias_deg", "pace_sd_pct", "pace_bias_pct")
    return Skill(at, *(getattr(skill, name).mean(axis=0) for name in names))


def _slopes(skill, cut, mix, stimp_ft, past_ft):
    """Return strokes saved by the cut, and slopes by log spread and by bias."""
    # log spread of line and pace, bias of line and pace: one changed at a time, both ways
    steps = np.diag([LOG_STEP, LOG_STEP, *BIAS_STEP.values()])
    changes = np.concatenate([[[0.0] * 4, [-cut, -cut, 0, 0]], steps, -steps])
    changed = Skill(
        skill.distance_ft,
        skill.line_sd_deg * np.exp(changes[:, [0]]),
        skill.line_bias_deg + changes[:, [2]],
        skill.pace_sd_pct * np.exp(changes[:, [1]]),
        skill.pace_bias_pct + changes[:, [3]],
    )
    putts = hole_out(changed, mix.distance_ft, stimp_ft=stimp_ft, past_ft=past_ft)
    strokes = mix.average(putts.average_putts)
    slopes = (strokes[2:6] - strokes[6:10]) / (2 * np.diag(steps))
    by_spread, by_bias = (
        dict(zip(COMPONENTS, part, strict=True)) for part in (slopes[:2], slopes[2:])
    )
    return float(strokes[0] - strokes[1]), by_spread, by_bias
