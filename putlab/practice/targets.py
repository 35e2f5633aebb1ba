"""Target bands from a golfer's own spread, and the counts inside them that would be news."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from putlab.base.words import THIN
from putlab.model.readings import COMPONENTS, practice_putts
from putlab.model.spread import MISHIT_TIMES
from putlab.posterior.player import summary

# A band that most putts stay inside and some don't: a count of it can go either way.
USUAL_SHARE = 0.7

# A count that so few ordinary days reach is news, on each side.
NEWS = 0.05

# Fewer putts say too little for a count of them to be news: two good ones in a row are luck.
FEWEST = 5

# Bands are marked on the floor: in half feet, quarters for a short putt, and in half degrees
# unless the display's own step is wider.
BAND_STEP_FT, SHORT_STEP_FT, SHORT_FT, BAND_STEP_DEG = 0.5, 0.25, 12.0, 0.5


@dataclass(frozen=True)
class Target:
    """What to aim for with some putts at one length.

    Attributes
    ----------
    distance_ft : float
        Length.
    component : {"line", "pace"}
        Component.
    putts : int
        How many.
    half_width : float
        Readings within this of the target are inside: degrees, or feet of roll-out.
    usual : int
        Count inside on an ordinary day (median).
    usual_share : float
        Mean share inside.
    news_high, news_low : int or None
        Counts from which on, and down to which, the day is news; None where no count is.
    """

    distance_ft: float
    component: str
    putts: int
    half_width: float
    usual: int
    usual_share: float
    news_high: int | None
    news_low: int | None

    @property
    def band(self):
        """The band in words."""
        if self.component == "line":
            return f"start within {self.half_width:g}° of the line"
        low, high = self.distance_ft - self.half_width, self.distance_ft + self.half_width
        return f"roll {low:g} to {high:g}{THIN}ft"

    @property
    def sentence(self):
        """What is usual and what would be news, in words."""
        said = f"{self.usual} of {self.putts} is your usual"
        news = []
        if self.news_high is not None:
            whole = self.news_high == self.putts
            news.append(f"all {self.putts}" if whole else f"{self.news_high} or more")
        if self.news_low is not None:
            news.append("none" if self.news_low == 0 else f"{self.news_low} or fewer")
        if not news:
            return f"{said}; with so few putts no count would be news"
        return f"{said}; {', or '.join(news)}{',' * (len(news) > 1)} would be news"


def half_width(component, errors, distance_ft, rules):
    """Return the half width of the band that is nearest to holding `USUAL_SHARE` of putts.

    Parameters
    ----------
    component : {"line", "pace"}
        Component.
    errors : ndarray, shape (days, putts)
        Errors as read on ordinary days, degrees or percent.
    distance_ft : float
        Length.
    rules : putlab.log.package.ReadingRules
        Steps and limits of the display.

    Returns
    -------
    float
        Degrees, or feet: steps that can be marked, at least one, clear of the backstop.
    """
    wanted = float(np.quantile(np.abs(errors), USUAL_SHARE))
    if component == "line":
        step = max(BAND_STEP_DEG, rules.line_step_deg or 0.0)
        most = rules.line_limit_deg or np.inf
    else:
        step = SHORT_STEP_FT if distance_ft <= SHORT_FT else BAND_STEP_FT
        step = max(step, rules.roll_step_ft or 0.0)
        wanted, most = wanted / 100 * distance_ft, (rules.roll_limit_ft or np.inf) - distance_ft
    widths = [k * step for k in range(1, int(wanted / step) + 3)]
    fitting = [width for width in widths if width < most] or widths[:1]
    shares = [inside(component, errors, w, distance_ft, rules).mean() for w in fitting]
    return fitting[int(np.argmin(np.abs(np.array(shares) - USUAL_SHARE)))]


def inside(component, errors, width, distance_ft, rules):
    """Return which readings lie inside a band.

    Parameters
    ----------
    component : {"line", "pace"}
        Component.
    errors : ndarray
        Errors as read, degrees or percent.
    width : float
        Half width, degrees or feet.
    distance_ft : float or ndarray
        Length.
    rules : putlab.log.package.ReadingRules
        Limits of the display: a ball at the backstop would have gone further, so it is out.

    Returns
    -------
    ndarray of bool
        The ends belong to the band.
    """
    if component == "line":
        return np.abs(errors) <= width + 1e-9
    off_ft = errors / 100 * distance_ft
    stopped = distance_ft + off_ft >= (rules.roll_limit_ft or np.inf) - 1e-9
    return (np.abs(off_ft) <= width + 1e-9) & ~stopped


def news_counts(counts, putts, news=NEWS):
    """Return the counts from which on, and down to which, a day is news.

    Parameters
    ----------
    counts : ndarray, shape (days,)
        Counts on ordinary days.
    putts : int
        Most there can be.
    news : float
        Chance of such a count or one beyond, on each side.

    Returns
    -------
    tuple of (int or None, int or None)
        High and low; None where even the last count is too ordinary, or putts are too few.
    """
    if putts < FEWEST:
        return None, None
    chance = np.bincount(counts.astype(int), minlength=putts + 1) / len(counts)
    at_least, at_most = chance[::-1].cumsum()[::-1], chance.cumsum()
    high, low = np.flatnonzero(at_least <= news), np.flatnonzero(at_most <= news)
    return (int(high[0]) if high.size else None, int(low[-1]) if low.size else None)


def target(golfer, rules, distance_ft, component, putts, *, seed=0):
    """Return what to aim for with so many putts at a length.

    Parameters
    ----------
    golfer : putlab.posterior.player.Golfer
        One player's posterior.
    rules : putlab.log.package.ReadingRules
        Steps and limits of the display.
    distance_ft : float
        Length.
    component : {"line", "pace"}
        Component.
    putts : int
        How many.
    seed : int
        Seed of the ordinary days.

    Returns
    -------
    Target
        Band, usual count and news.
    """
    days = ordinary_days(golfer, planned_putts(distance_ft, putts), rules, seed=seed)[component]
    width = half_width(component, days, distance_ft, rules)
    counts = inside(component, days, width, distance_ft, rules).sum(axis=1)
    high, low = news_counts(counts, putts)
    share = summary(counts / putts)[0]
    return Target(
        distance_ft=float(distance_ft),
        component=component,
        putts=int(putts),
        half_width=float(width),
        usual=int(np.median(counts)),
        usual_share=float(share),
        news_high=high,
        news_low=low,
    )


# An ordinary day: what this golfer's putts would show today, if nothing were different.


# Days drawn: a chance of 1 in 20 is then known to within a tenth of itself.
DAYS = 4000


def readings_of(log, player, session):
    """Return the practice putts of one visit with their readings as errors.

    Parameters
    ----------
    log : putlab.log.read.Log
        A log that has been read.
    player, session : str
        Whose visit.

    Returns
    -------
    pandas.DataFrame
        ``distance_ft, target_ft, early``, and ``line`` (degrees) and ``pace`` (percent of the
        target), NaN where it was not read; putts of counted games are left out.
    """
    putts = practice_putts(log.putts)
    mine = (putts["player"] == player) & (putts["session"] == session) & ~putts["counted"]
    putts = putts[mine]
    return pd.DataFrame(
        {
            "distance_ft": putts["distance_ft"],
            "target_ft": putts["target_ft"],
            "early": putts["early"],
            "line": putts["line_deg"],
            "pace": 100 * (putts["roll_ft"] / putts["target_ft"] - 1),
        }
    ).reset_index(drop=True)


def planned_putts(distance_ft, putts, *, target_ft=None):
    """Return putts still to be struck at one length, in the form `ordinary_days` takes.

    Parameters
    ----------
    distance_ft : float
        Length in feet.
    putts : int
        How many.
    target_ft : float, optional
        How far they are meant to roll; default: the length, as without a hole.

    Returns
    -------
    pandas.DataFrame
        ``distance_ft, target_ft, early``.
    """
    target_ft = distance_ft if target_ft is None else target_ft
    row = {"distance_ft": float(distance_ft), "target_ft": float(target_ft), "early": False}
    return pd.DataFrame([row] * int(putts))


def ordinary_days(golfer, putts, rules, *, days=DAYS, seed=0):
    """Draw what putts would show on ordinary days.

    Parameters
    ----------
    golfer : putlab.posterior.player.Golfer
        One player's posterior, from a log that does not hold the day in question.
    putts : pandas.DataFrame
        ``distance_ft, target_ft, early`` of each putt.
    rules : putlab.log.package.ReadingRules
        Steps and limits of the display.
    days : int
        How many days.
    seed : int
        Seed of the days.

    Returns
    -------
    dict of str to ndarray, shape (days, putts)
        By component: errors as read, degrees and percent of the target.
    """
    rng = np.random.default_rng([seed, 11])
    lengths, which = np.unique(putts["distance_ft"].to_numpy(float), return_inverse=True)
    early = putts["early"].to_numpy(bool)
    shown = {}
    for name in COMPONENTS:
        log_sd, bias = golfer.log_spread_and_bias(name, lengths)
        pick = rng.integers(len(log_sd), size=days)
        draw = {
            key: golfer.draws(name, key)[pick, None]
            for key in ("setup_sd", "form_sd", "early", "mishit_share")
        }
        setup = draw["setup_sd"] * rng.standard_normal((days, 1))
        form = draw["form_sd"] * rng.standard_normal((days, 1))
        sd = np.exp(log_sd[pick][:, which] + form + draw["early"] * early)
        wild = rng.random(sd.shape) < draw["mishit_share"]
        spread = sd * np.where(wild, MISHIT_TIMES, 1.0) * rng.standard_normal(sd.shape)
        error = bias[pick][:, which] + setup + spread
        shown[name] = as_read(name, error, putts["target_ft"].to_numpy(float), rules, rng)
    return shown


def as_read(component, error, target_ft, rules, rng):
    """Return errors as the display shows them.

    Parameters
    ----------
    component : {"line", "pace"}
        Component.
    error : ndarray, shape (days, putts)
        True errors, degrees or percent of the target.
    target_ft : ndarray, shape (putts,)
        How far each putt is meant to roll.
    rules : putlab.log.package.ReadingRules
        Steps, limits and noise of the display.
    rng : numpy.random.Generator
        Source of the sensor's noise.

    Returns
    -------
    ndarray, shape (days, putts)
        In the same units.
    """
    if component == "line":
        value = error + (rules.line_noise_deg or 0.0) * rng.standard_normal(error.shape)
        limit = rules.line_limit_deg or np.inf
        return stepped(np.clip(value, -limit, limit), rules.line_step_deg)
    roll = np.maximum(target_ft * (1 + error / 100), 0.0)
    roll = roll + (rules.roll_noise_ft or 0.0) * rng.standard_normal(error.shape)
    roll = stepped(np.clip(roll, 0.0, rules.roll_limit_ft or np.inf), rules.roll_step_ft)
    return 100 * (roll / target_ft - 1)


def stepped(values, step):
    """Return values in the steps of a display.

    Parameters
    ----------
    values : ndarray
        True values.
    step : float or None
        Step; None or 0 shows values as they are.

    Returns
    -------
    ndarray
        Multiples of the step.
    """
    return np.round(values / step) * step if step else values
