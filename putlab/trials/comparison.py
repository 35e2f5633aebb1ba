"""Two conditions of one player, compared: the numbers and how they are told."""

from dataclasses import dataclass, field

import pandas as pd

from putlab.trials import cautions as say
from putlab.trials.arms import Arms


@dataclass(frozen=True)
class Comparison:
    """Two conditions of one player, compared.

    Attributes
    ----------
    arms : putlab.trials.arms.Arms
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
    classical : dict of str to putlab.trials.classical.Classical
        The textbook's results by component.
    cautions : list of str
        What to bear in mind, the gravest first.
    mix : str
        Whose mix of first putts the strokes are for.
    several : pandas.DataFrame or None
        All conditions of the player together, shrunk by
        `putlab.trials.several.change_table`, where
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
