"""Did the change help? Two conditions of one player compared, and one verdict.

A ratio below 1 means that the change narrowed the spread; fewer strokes are below 0. The
verdict is given on one metric, chosen before looking: line spread, unless said otherwise.
"""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from putlab import cautions as say
from putlab.arms import Arms, choose_arms
from putlab.classical import classical
from putlab.contrast import (
    arm_table,
    condition_index,
    contrast,
    strokes_at_stake,
    strokes_change,
)
from putlab.design import REFERENCE_FT
from putlab.errors import UsageError
from putlab.golfer import SpreadFit, fit_log, summary
from putlab.looking import Bar, p_below, p_small, putts_to_verdict, verdict
from putlab.precision import reading_share
from putlab.readings import COMPONENTS, practice_putts
from putlab.rounds import shipped_mix
from putlab.settings import PAST_FT, SEED, STIMP_FT

METRICS = ("line", "pace", "strokes")

# Too small to matter: 5 % of spread, and a fifth of a stroke a round, which is about what
# 5 % off both spreads saves a golfer of handicap 10 (assumption; both can be changed).
REGION_PCT = 5.0
REGION_STROKES = 0.2

# Size of change that a trial is meant to see, where nothing is said: `putlab trial` designs
# for the same, and the two should agree.
DETECT_PCT = 20.0


@dataclass(frozen=True)
class Comparison:
    """Two conditions of one player, compared.

    Attributes
    ----------
    arms : putlab.arms.Arms
        Putts of each condition and how they lie in time.
    metric : str
        What the verdict is on: ``line``, ``pace`` or ``strokes``.
    line_sd_ratio, pace_sd_ratio : dict or None
        ``mean, lo, hi, p_improved`` of the ratio of spreads; None where not read.
    by_distance : pandas.DataFrame
        The same ratios at each length both arms share.
    line_bias_change_deg, pace_bias_change_pct : dict or None
        ``mean, lo, hi`` of the change of bias.
    strokes_per_round_change : dict or None
        ``mean, lo, hi, p_improved``; None where line or pace was never read.
    p_too_small_to_matter, p_needed : float
        Chance that the change of the metric lies within the region; probability of
        improvement that saying ``helped`` asks for at this size of trial.
    verdict : str
        ``helped``, ``hurt``, ``no difference that matters`` or ``cannot tell yet``.
    putts_still_needed : int
        Further putts, both arms together and shuffled, until a verdict is likely.
    region_pct, region_strokes, detect_pct : float
        What counts as too small, and what the trial is meant to see.
    classical : dict of str to putlab.classical.Classical
        The textbook's results by component.
    cautions : list of str
        What to bear in mind, the gravest first.
    mix : str
        Whose mix of first putts the strokes are for.
    """

    arms: Arms
    metric: str
    line_sd_ratio: dict | None
    pace_sd_ratio: dict | None
    by_distance: pd.DataFrame
    line_bias_change_deg: dict | None
    pace_bias_change_pct: dict | None
    strokes_per_round_change: dict | None
    p_too_small_to_matter: float
    p_needed: float
    verdict: str
    putts_still_needed: int
    region_pct: float
    region_strokes: float
    detect_pct: float
    mix: str
    classical: dict
    cautions: list = field(default_factory=list)

    @property
    def sentence(self):
        """The answer in plain words; a plain before-and-after is named first."""
        return say.answer(self)

    def to_dict(self):
        """Return the comparison as plain values.

        Returns
        -------
        dict
            Ready to be written as JSON.
        """
        arms = self.arms
        names = ("line_sd_ratio", "pace_sd_ratio", "line_bias_change_deg")
        names += ("pace_bias_change_pct", "strokes_per_round_change", "p_too_small_to_matter")
        names += ("verdict", "putts_still_needed", "cautions", "metric", "p_needed")
        names += ("region_pct", "region_strokes", "detect_pct", "mix", "sentence")
        return {
            "player": arms.player,
            "before": say.label(arms.before),
            "after": say.label(arms.after),
            "putts_before": arms.putts_before,
            "putts_after": arms.putts_after,
            "sessions": arms.sessions,
            "sessions_shared": arms.sessions_shared,
            "design": arms.design,
            **{name: getattr(self, name) for name in names},
            "by_distance": self.by_distance.to_dict("records"),
            "classical": {name: vars(twin) for name, twin in self.classical.items() if twin},
        }

    def table(self):
        """Return the changes as a table.

        Returns
        -------
        pandas.DataFrame
            ``change, mean, lo, hi, p_improved``; a row a quantity.
        """
        return say.rows(self)

    def _repr_html_(self):
        return say.page(self)


def compare(
    fit_or_log,
    before,
    after,
    *,
    player=None,
    metric=None,
    region_pct=REGION_PCT,
    region_strokes=REGION_STROKES,
    detect_pct=DETECT_PCT,
    mix=None,
    stimp_ft=STIMP_FT,
    past_ft=PAST_FT,
    seed=SEED,
):
    """Compare two conditions of one player and say whether the change helped.

    Parameters
    ----------
    fit_or_log : putlab.golfer.SpreadFit or putlab.log.Log
        A fitted log, or a log, which is then fitted.
    before, after : str
        Labels of the conditions; ``none`` is the putts without a label.
    player : str, optional
        Label; may be left out where only one player has both conditions.
    metric : {"line", "pace", "strokes"}, optional
        What the verdict is on; default: line spread, or pace where line was not read.
        Choose before looking: the best of three looks is no single look.
    region_pct, region_strokes : float
        A change of spread of less than this percent, or of less than this many strokes a
        round, is too small to matter.
    detect_pct : float
        Change of spread in percent that the trial was designed to see (`putlab trial`).
        It fixes when a look is an early one, and early looks ask for more.
    mix : putlab.rounds.RoundMix, optional
        First putts of a round; default: the kit's.
    stimp_ft, past_ft : float
        Green speed, and how far past the hole the golfer aims, for strokes.
    seed : int
        Seed of the fit, and of the forecast of putts still needed.

    Returns
    -------
    Comparison
        Ratios, changes, probabilities and the verdict.

    Raises
    ------
    UsageError
        An unknown label, player or metric, or a condition without putts.
    FitError
        The fit did not converge.
    """
    options = _checked(metric, region_pct, region_strokes, detect_pct)
    arms = choose_arms(putt_counts(fit_or_log), before, after, player)
    fit = fit_or_log
    if not isinstance(fit, SpreadFit):
        fit = fit_log(fit, seed=seed)
    contrasts = {
        name: contrast(fit, arms.player, name, arms.before, arms.after)
        for name in COMPONENTS
        if _both_read(fit.designs[name], arms)
    }
    chosen = _metric(metric, contrasts, fit, arms)
    strokes = _Strokes(fit, arms, contrasts, mix or shipped_mix(), stimp_ft, past_ft)
    change, bar = _judged(chosen, contrasts, strokes, options)
    mean, sd = change.mean(), change.std(ddof=1)
    ruling = str(verdict(mean, sd, bar))
    found = Comparison(
        arms=arms,
        metric=chosen,
        line_sd_ratio=_ratio(contrasts.get("line")),
        pace_sd_ratio=_ratio(contrasts.get("pace")),
        by_distance=_by_distance(fit, arms, contrasts),
        line_bias_change_deg=_shift(contrasts.get("line")),
        pace_bias_change_pct=_shift(contrasts.get("pace")),
        strokes_per_round_change=_summary(strokes.change, p=strokes.change),
        p_too_small_to_matter=float(p_small(mean, sd, bar.region)),
        p_needed=float(bar.p_needed(sd)),
        verdict=ruling,
        putts_still_needed=putts_to_verdict(
            mean, sd, bar, information_per_putt=_per_putt(chosen, bar, sd, fit, arms), seed=seed
        ),
        mix=strokes.mix.level,
        classical={
            name: classical(_rows(fit, arms.player, name), arms.before, arms.after)
            for name in contrasts
        },
        **options,
    )
    return say.with_cautions(found)


def putt_counts(fit_or_log):
    """Return how many putts each player struck under each condition in each visit.

    Parameters
    ----------
    fit_or_log : putlab.golfer.SpreadFit or putlab.log.Log
        A fitted log, or a log.

    Returns
    -------
    pandas.DataFrame
        ``player, condition, session, putts``, in the order of the log.
    """
    if not isinstance(fit_or_log, SpreadFit):
        putts = practice_putts(fit_or_log.putts)
        putts = putts[putts[["line_deg", "roll_ft"]].notna().any(axis=1)]
        groups = putts.groupby(["player", "condition", "session"], sort=False)
        return groups.size().rename("putts").reset_index()
    tables = [
        arm_table(fit_or_log, player).assign(player=player) for player in fit_or_log.players
    ]
    keys = ["player", "condition", "session"]
    read = pd.concat(tables).groupby([*keys, "component"])["putts"].sum()
    most = read.groupby(keys).max().reset_index()
    visits = fit_or_log.visits[["player", "session"]]
    return visits.merge(most, on=["player", "session"])


def _checked(metric, region_pct, region_strokes, detect_pct):
    if metric is not None and metric not in METRICS:
        raise UsageError(f"--metric {metric}: expected one of {', '.join(METRICS)}.")
    if not 0 < detect_pct < 100:
        raise UsageError(f"--detect {detect_pct:g}: expected percent above 0 and below 100.")
    for name, value in (("--region", region_pct), ("--region-strokes", region_strokes)):
        if not 0 <= value < 100:
            raise UsageError(f"{name} {value:g}: expected 0 or more, and below 100.")
    return {
        "region_pct": float(region_pct),
        "region_strokes": float(region_strokes),
        "detect_pct": float(detect_pct),
    }


def _both_read(design, arms):
    places = [condition_index(design, arms.player, c) for c in (arms.before, arms.after)]
    return None not in places


def _metric(wanted, contrasts, fit, arms):
    """Return the metric of the verdict, or say why it can't be judged."""
    if not contrasts:
        raise UsageError(
            f"{arms.player}: no component was read under both {say.label(arms.before)!r} and "
            f"{say.label(arms.after)!r}, so there is nothing to compare."
        )
    if wanted is None:
        return next(iter(contrasts))
    if wanted != "strokes" and wanted not in contrasts:
        raise UsageError(f"--metric {wanted}: {wanted} was not read under both conditions.")
    if wanted == "strokes" and not _all_read(fit, arms.player):
        raise UsageError("--metric strokes: both line and roll-out must have been read.")
    return wanted


def _all_read(fit, player):
    return all((fit.designs[name].rows["player"] == player).any() for name in COMPONENTS)


class _Strokes:
    """Change of strokes a round, and what the trial's size of change would save."""

    def __init__(self, fit, arms, contrasts, mix, stimp_ft, past_ft):
        self.fit, self.arms, self.mix = fit, arms, mix
        self.green = {"stimp_ft": stimp_ft, "past_ft": past_ft}
        self.change = None
        if _all_read(fit, arms.player):
            moved = {name: found.moved for name, found in contrasts.items()}
            labels = (arms.player, arms.before, arms.after)
            self.change = strokes_change(fit, *labels, moved, mix, **self.green)

    def at_stake(self, detect_pct):
        """Return strokes a round that this percent off both spreads would save."""
        labels = (self.arms.player, self.arms.before)
        return strokes_at_stake(self.fit, *labels, detect_pct, self.mix, **self.green)


def _judged(metric, contrasts, strokes, options):
    """Return the draws of the change that is judged, and the bar it has to pass."""
    if metric == "strokes":
        size = strokes.at_stake(options["detect_pct"])
        return strokes.change, Bar(options["region_strokes"], size)
    found = contrasts[metric]
    region = np.log1p(options["region_pct"] / 100)
    detect = -np.log1p(-options["detect_pct"] / 100)
    return found.log_ratio, Bar(region, detect, found.prior_sd)


def _per_putt(metric, bar, sd, fit, arms):
    """Return what one more putt tells of the change, both arms shuffled within visits."""
    if metric == "strokes":
        return float(bar.information(sd)) / (arms.putts_before + arms.putts_after)
    skill = fit.golfer(arms.player).skill([REFERENCE_FT], new_day=False)
    spread = (skill.line_sd_deg if metric == "line" else skill.pace_sd_pct).mean()
    rows = _rows(fit, arms.player, metric)
    width = (rows["hi"] - rows["lo"]).replace(np.inf, np.nan).median()
    mishits = fit.golfer(arms.player).draws(metric, "mishit_share").mean()
    noise = rows["noise"].median()
    # Two arms of n putts tell n/2 between them of a difference, so a putt tells a half.
    return 0.5 * reading_share(spread, step=width, noise=noise, mishit_share=mishits)


def _rows(fit, player, component):
    rows = fit.designs[component].rows
    return rows[rows["player"] == player]


def _summary(draws, **p):
    """Return mean, interval and, where asked, the chance that the change is for the better."""
    if draws is None:
        return None
    mean, low, high = summary(draws)
    found = {"mean": float(mean), "lo": float(low), "hi": float(high)}
    for log in p.values():
        found["p_improved"] = float(p_below(log.mean(), log.std(ddof=1)))
    return found


def _ratio(found):
    return found and _summary(np.exp(found.log_ratio), p=found.log_ratio)


def _shift(found):
    return found and _summary(found.shift)


def _by_distance(fit, arms, contrasts):
    """Return ratios length by length; a component that was not read has no columns."""
    table = arm_table(fit, arms.player)
    tables = []
    for name, found in contrasts.items():
        mine = table[table["component"] == name]
        mine = mine.assign(distance_ft=fit.designs[name].lengths_ft[mine["length"]])
        struck = mine.groupby(["distance_ft", "condition"])["putts"].sum().unstack(fill_value=0)
        ratios = [_ratio_at(found, i) for i in range(found.distance_ft.size)]
        frame = pd.DataFrame(ratios, index=found.distance_ft).add_prefix(f"{name}_sd_ratio_")
        for arm, condition in (("before", arms.before), ("after", arms.after)):
            frame[f"{name}_putts_{arm}"] = struck[condition].reindex(frame.index)
        tables.append(frame)
    return pd.concat(tables, axis=1).rename_axis("distance_ft").reset_index()


def _ratio_at(found, place):
    log = found.log_ratio_at[:, place]
    return _summary(np.exp(log), p=log)
