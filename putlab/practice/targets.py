"""What a display would show of this golfer on ordinary days, and the targets that follow.

Target bands come from the golfer's own spread, with the counts inside them that would be
news; and what one reading of a display tells of spread.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from putlab.base.settings import M_PER_FT
from putlab.base.words import SPOKEN, THIN, spoken
from putlab.log.read import Log
from putlab.log.rules import ReadingRules
from putlab.model.readings import COMPONENTS, practice_putts, with_errors
from putlab.model.spread import MISHIT_TIMES, cell_location, chance_and_slopes
from putlab.posterior.player import Golfer

# A band that most putts stay inside and some don't: a count of it can go either way.
USUAL_SHARE = 0.7

# A count that so few ordinary days reach is news, on each side.
NEWS = 0.05

# Fewer putts say too little for a count of them to be news: two good ones in a row are luck.
FEWEST = 5

# Bands are marked on the floor: in half feet, quarters for a short putt (10 and 5 cm where
# lengths are said in metres), and in half degrees, unless the display's own step is wider.
BAND_STEPS_FT = {"ft": (0.25, 0.5), "m": (0.05 / M_PER_FT, 0.1 / M_PER_FT)}
SHORT_FT, BAND_STEP_DEG = 12.0, 0.5


@dataclass(frozen=True)
class Band:
    """Readings within ``half_width`` of the mark, degrees or feet of roll-out, ends included."""

    distance_ft: float
    component: str
    half_width: float
    limit_ft: float  # a ball at the backstop would have gone further, so it is out

    @property
    def band(self) -> str:
        """The band in words."""
        if self.component == "line":
            return f"start within {self.half_width:g}° of the line"
        ends = (self.distance_ft - self.half_width, self.distance_ft + self.half_width)
        low, high = (f"{round(spoken(length_ft), 2):g}" for length_ft in ends)
        return f"roll {low} to {high}{THIN}{SPOKEN.get()}"

    def holds(self, errors: np.ndarray) -> np.ndarray:
        """Which errors as read, degrees or percent, lie inside."""
        if self.component == "line":
            return np.abs(errors) <= self.half_width + 1e-9
        off_ft = errors / 100 * self.distance_ft
        stopped = self.distance_ft + off_ft >= self.limit_ft - 1e-9
        return (np.abs(off_ft) <= self.half_width + 1e-9) & ~stopped


@dataclass(frozen=True)
class Target(Band):
    """What to aim for with some putts at one length, and the counts inside that would be news."""

    putts: int
    usual: int  # count inside on an ordinary day (median)
    news_high: int | None  # from so many on the day is news; None where no count is
    news_low: int | None  # down to so many
    start: str = ""  # what its first putts are for

    @property
    def sentence(self) -> str:
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


def usual_band(component: str, errors: np.ndarray, distance_ft: float, rules: ReadingRules) -> Band:
    """The band nearest to holding `USUAL_SHARE` of errors as read on ordinary days."""
    # In steps that can be marked, at least one, and clear of the backstop.
    wanted = float(np.quantile(np.abs(errors), USUAL_SHARE))
    limit_ft = rules.roll_limit_ft or np.inf
    if component == "line":
        step = max(BAND_STEP_DEG, rules.line_step_deg or 0.0)
        most = rules.line_limit_deg or np.inf
    else:
        step = BAND_STEPS_FT[SPOKEN.get()][int(distance_ft > SHORT_FT)]
        step = max(step, rules.roll_step_ft or 0.0)
        wanted, most = wanted / 100 * distance_ft, limit_ft - distance_ft
    widths = [k * step for k in range(1, int(wanted / step) + 3)]
    fitting = [width for width in widths if width < most] or widths[:1]
    bands = [Band(float(distance_ft), component, float(width), limit_ft) for width in fitting]
    return min(bands, key=lambda band: abs(band.holds(errors).mean() - USUAL_SHARE))


def news_counts(counts: np.ndarray, putts: int) -> tuple[int | None, int | None]:
    """Counts from which on, and down to which, a day is news; None where no count is."""
    if putts < FEWEST:
        return None, None
    chance = np.bincount(counts.astype(int), minlength=putts + 1) / len(counts)
    at_least, at_most = chance[::-1].cumsum()[::-1], chance.cumsum()
    high, low = np.flatnonzero(at_least <= NEWS), np.flatnonzero(at_most <= NEWS)
    return (int(high[0]) if high.size else None, int(low[-1]) if low.size else None)


def target(
    golfer: Golfer,
    rules: ReadingRules,
    distance_ft: float,
    component: str,
    putts: int,
    *,
    seed: int = 0,
) -> Target:
    """What to aim for with so many putts at a length: band, usual count and news."""
    days = ordinary_days(golfer, planned_putts(distance_ft, putts), rules, seed=seed)[component]
    band = usual_band(component, days, distance_ft, rules)
    counts = band.holds(days).sum(axis=1)
    high, low = news_counts(counts, putts)
    return Target(
        **vars(band), putts=int(putts), usual=int(np.median(counts)), news_high=high, news_low=low
    )


# An ordinary day: what this golfer's putts would show today, if nothing were different.


# Days drawn: a chance of 1 in 20 is then known to within a tenth of itself.
DAYS = 4000


def readings_of(log: Log, player: str, session: str) -> pd.DataFrame:
    """Practice putts of a visit: ``distance_ft, target_ft, warm_up``, errors ``line, pace``."""
    # Degrees and percent of the target, NaN where not read; games are left out.
    putts = practice_putts(log.putts)
    mine = (putts["player"] == player) & (putts["session"] == session) & ~putts["counted"]
    columns = ["distance_ft", "target_ft", "warm_up", *COMPONENTS]
    return with_errors(putts[mine])[columns].reset_index(drop=True)


def planned_putts(distance_ft: float, putts: int) -> pd.DataFrame:
    """Putts still to be struck at one length without a hole, as `ordinary_days` takes them."""
    row = {"distance_ft": float(distance_ft), "target_ft": float(distance_ft), "warm_up": False}
    return pd.DataFrame([row] * int(putts))


def ordinary_days(
    golfer: Golfer, putts: pd.DataFrame, rules: ReadingRules, *, days: int = DAYS, seed: int = 0
) -> dict[str, np.ndarray]:
    """What putts would show on ordinary days: errors as read, (days, putts), by component."""
    rng = np.random.default_rng([seed, 11])
    lengths, which = np.unique(putts["distance_ft"].to_numpy(float), return_inverse=True)
    warm_up = putts["warm_up"].to_numpy(bool)
    shown = {}
    for name in COMPONENTS:
        log_sd, bias = golfer.log_spread_and_bias(name, lengths)
        pick = rng.integers(len(log_sd), size=days)
        draw = {
            key: golfer.draws(name, key)[pick, None]
            for key in ("visit_bias_sd", "visit_form_sd", "warm_up", "mishit_share")
        }
        setup = draw["visit_bias_sd"] * rng.standard_normal((days, 1))
        form = draw["visit_form_sd"] * rng.standard_normal((days, 1))
        middle, log_sd = cell_location(
            {
                "level": log_sd[pick][:, which], "bias": bias[pick][:, which],
                "visit_form": form, "visit_bias": setup, "warm_up": draw["warm_up"],
            },
            {"warm_up": warm_up},
        )  # fmt: skip
        sd = np.exp(log_sd)
        wild = rng.random(sd.shape) < draw["mishit_share"]
        spread = sd * np.where(wild, MISHIT_TIMES, 1.0) * rng.standard_normal(sd.shape)
        shown[name] = as_read(name, middle + spread, putts["target_ft"].to_numpy(float), rules, rng)
    return shown


def as_read(
    component: str,
    error: np.ndarray,
    target_ft: np.ndarray,
    rules: ReadingRules,
    rng: np.random.Generator,
) -> np.ndarray:
    """True errors (days, putts), degrees or percent of the target, as the display shows them."""
    if component == "line":
        value = error + (rules.line_noise_deg or 0.0) * rng.standard_normal(error.shape)
        limit = rules.line_limit_deg or np.inf
        return stepped(np.clip(value, -limit, limit), rules.line_step_deg)
    roll = np.maximum(target_ft * (1 + error / 100), 0.0)
    roll = roll + (rules.roll_noise_ft or 0.0) * rng.standard_normal(error.shape)
    roll = stepped(np.clip(roll, 0.0, rules.roll_limit_ft or np.inf), rules.roll_step_ft)
    return 100 * (roll / target_ft - 1)


def stepped(values: np.ndarray, step: float | None) -> np.ndarray:
    """Values in the steps of a display; no step shows them as they are."""
    return np.round(values / step) * step if step else values


# What one reading tells about spread, as a share of what an exact one would.

# An exact reading tells 2 about log spread (Fisher information of a normal's log sd).
EXACT = 2.0

# Places of the true mean between two steps of the display, over which is averaged.
PLACES = 8


def reading_share(
    sd: float, *, step: float = 0.0, noise: float = 0.0, mishit_share: float = 0.0
) -> float:
    """What one reading tells about log spread, relative to an exact one without mishits."""
    # Fisher information in the model's own likelihood: intervals as wide as the display's step,
    # sensor noise in quadrature, and a share of mishits four times as wide.
    step = max(step, sd / 50)  # as good as exact
    centres = np.arange(-np.ceil(12 * MISHIT_TIMES * sd / step) - 1, 1)
    edges = np.concatenate([centres, -centres[-2::-1]]) * step
    places = edges - (np.arange(PLACES)[:, None] + 0.5) / PLACES * step
    chance, _, slope = chance_and_slopes(places[:, :-1], places[:, 1:], sd, noise, mishit_share)
    told = np.divide(slope**2, chance, out=np.zeros_like(chance), where=chance > 1e-300)
    return float(told.sum(axis=1).mean() / EXACT)
