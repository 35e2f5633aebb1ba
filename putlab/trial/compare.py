"""Did the change help? Two conditions of one player compared, and one verdict.

A ratio below 1 means that the change narrowed the spread; fewer strokes are below 0. The
verdict is given on one metric, chosen before looking: line spread, unless said otherwise.
"""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from putlab.base.errors import UsageError
from putlab.base.settings import PAST_FT, SEED, STIMP_FT
from putlab.model.design import REFERENCE_FT
from putlab.model.readings import COMPONENTS
from putlab.posterior.player import SpreadFit, fit_log, summary
from putlab.practice.targets import reading_share
from putlab.rounds.first_putts import shipped_mix
from putlab.trial import cautions as say
from putlab.trial.boundary import (
    DETECT_PCT,
    REGION_PCT,
    REGION_STROKES,
    Bar,
    p_below,
    p_small,
    putts_to_verdict,
    verdict,
)
from putlab.trial.classical import classical
from putlab.trial.conditions import Arms, arm_table, choose_arms, putt_counts
from putlab.trial.contrast import (
    change_table,
    condition_index,
    conditions_in_order,
    contrast,
    strokes_at_stake,
    strokes_change,
    thinned,
)

METRICS = ("line", "pace", "strokes")


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
    fit_or_log : putlab.posterior.player.SpreadFit or putlab.log.read.Log
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
    mix : putlab.rounds.first_putts.RoundMix, optional
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
    change, sd_told, bar = _judged(chosen, contrasts, strokes, options)
    mean, sd = change.mean(), change.std(ddof=1)
    ruling = str(verdict(mean, sd, bar, sd_told=sd_told))
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
        p_needed=float(bar.p_needed(sd, sd_told=sd_told)),
        verdict=ruling,
        putts_still_needed=putts_to_verdict(
            mean,
            sd,
            bar,
            information_per_putt=_per_putt(chosen, bar, sd_told, fit, arms),
            seed=seed,
            sd_told=sd_told,
        ),
        mix=strokes.mix.level,
        classical={
            name: classical(_rows(fit, arms.player, name), arms.before, arms.after)
            for name in contrasts
        },
        several=_several(fit, arms, contrasts, chosen, options),
        **options,
    )
    return say.with_cautions(found)


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
    """Return the draws of the change that is judged, its sd as told, and the bar."""
    if metric == "strokes":
        sd_told, prior_sd = _strokes_sds(strokes.change, contrasts)
        size = strokes.at_stake(options["detect_pct"])
        return strokes.change, sd_told, Bar(options["region_strokes"], size, prior_sd)
    found = contrasts[metric]
    region = np.log1p(options["region_pct"] / 100)
    detect = -np.log1p(-options["detect_pct"] / 100)
    return found.log_ratio, found.sd_told, Bar(region, detect, found.prior_sd)


def _strokes_sds(change, contrasts):
    """Return the sd of the change of strokes as told by the fit, and that of its prior.

    Strokes follow the log ratios nearly straight; what is left is the change of biases.
    """
    found = list(contrasts.values())
    columns = np.stack([thinned(c.log_ratio, change.size) for c in found], axis=1)
    columns = np.column_stack([columns, np.ones(change.size)])
    slopes, *_ = np.linalg.lstsq(columns, change)
    left = (change - columns @ slopes).var()
    sds = [[c.sd_told, c.prior_sd] for c in found]
    return tuple(np.sqrt(np.square(slopes[:-1]) @ np.square(sds) + left).tolist())


def _several(fit, arms, contrasts, metric, options):
    """Return the table of all the player's conditions, where there are more than two."""
    component = metric if metric in contrasts else next(iter(contrasts))
    if len(conditions_in_order(fit, arms.player, component)) < 3:
        return None
    before, region = say.label(arms.before), options["region_pct"]
    return change_table(fit, before, player=arms.player, component=component, region_pct=region)


def _per_putt(metric, bar, sd_told, fit, arms):
    """Return what one more putt tells of the change, both arms shuffled within visits."""
    if metric == "strokes":
        return float(bar.information(sd_told)) / (arms.putts_before + arms.putts_after)
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


# Two conditions of one player, compared: the numbers and how they are told.


@dataclass(frozen=True)
class Comparison:
    """Two conditions of one player, compared.

    Attributes
    ----------
    arms : putlab.trial.conditions.Arms
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
    classical : dict of str to putlab.trial.classical.Classical
        The textbook's results by component.
    cautions : list of str
        What to bear in mind, the gravest first.
    mix : str
        Whose mix of first putts the strokes are for.
    several : pandas.DataFrame or None
        All conditions of the player together, shrunk by
        `putlab.trial.contrast.change_table`, where
        there are more than two.
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
    several: pd.DataFrame | None = None
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
            "by_distance": _records(self.by_distance),
            "several": None if self.several is None else _records(self.several),
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


def _records(table):
    """Return rows as plain values, a missing one being None as JSON has it."""
    return table.astype(object).where(table.notna(), None).to_dict("records")
