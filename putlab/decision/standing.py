"""Where a golfer stands before a decision: skill, putts struck, and the trend so far."""

from dataclasses import dataclass

import pandas as pd

from putlab.errors import FitError
from putlab.priors import SpreadPriors
from putlab.skill import Skill

COMPONENTS = ("line", "pace")


@dataclass(frozen=True)
class Standing:
    """What a decision needs to know of a golfer, from a full fit or any other.

    Attributes
    ----------
    player : str
        Label.
    skill : putlab.skill.Skill
        Posterior draws on a new day, without the reading of a green.
    practised : pandas.DataFrame
        ``distance_ft, putts``: lengths practised, rising, and putts struck at each.
    trend : dict of str to ndarray, shape (draws,)
        By component: change of log spread per unit of log(1 + putts / 100), posterior draws.
    trend_prior_sd : dict of str to float
        Sd of the prior, centred on nought, of those draws.
    """

    player: str
    skill: Skill
    practised: pd.DataFrame
    trend: dict
    trend_prior_sd: dict

    @property
    def lengths_ft(self):
        """Lengths practised, shape (lengths,)."""
        return self.practised["distance_ft"].to_numpy(float)


def standing(golfer):
    """Return where a fitted golfer stands.

    Parameters
    ----------
    golfer : putlab.golfer.Golfer
        One player's posterior.

    Returns
    -------
    Standing
        From the full fit.

    Raises
    ------
    FitError
        The player struck no putt that tells about practice.
    """
    from putlab.estimate import strokes_skill

    if golfer.practised.empty:
        raise FitError(
            f"{golfer.player} has only follow-up putts in the log, so nothing can be said of "
            "what to practise; add practice putts or the first putts of a game."
        )

    row = SpreadPriors.names().index("trend_sd")
    designs = golfer.fit.designs
    return Standing(
        player=golfer.player,
        skill=strokes_skill(golfer),
        practised=golfer.practised[["distance_ft", "putts"]],
        trend={name: golfer.draws(name, "trend") for name in COMPONENTS},
        trend_prior_sd={name: float(designs[name].data["priors"][row]) for name in COMPONENTS},
    )
