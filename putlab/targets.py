"""Target bands from a golfer's own spread, and the counts inside them that would be news."""

from dataclasses import dataclass

import numpy as np

from putlab.golfer import summary
from putlab.ordinary import ordinary_days, planned_putts
from putlab.pages.wording import THIN

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
    rules : putlab.rules.ReadingRules
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
    rules : putlab.rules.ReadingRules
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
    golfer : putlab.golfer.Golfer
        One player's posterior.
    rules : putlab.rules.ReadingRules
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
