"""A putt on a flat green: how it slows, what the hole takes, and how putts scatter.

A putt is a normal direction and a normal roll-out. Directions fall into three ranges: left of
the hole, at it, right of it. For each direction the roll-outs that miss fall into ranges too.
Every range is integrated by Gauss-Legendre nodes whose weights are scaled to the range's
exact normal probability, so that only the *mean over* a range carries quadrature error.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.polynomial.legendre import leggauss
from numpy.typing import ArrayLike
from scipy.special import ndtr

from putlab.base.settings import STIMPMETER_FT_S
from putlab.green.published import CAPTURE_FT_S, HOLE_RADIUS_FT
from putlab.green.skill import Skill

# A ball is at least 1.68 in across (Equipment Rules, R&A and USGA).
BALL_RADIUS_FT = 1.68 / 2 / 12

# Standard normal beyond which a range holds no nodes (its probability is still counted, at
# the nodes inside): 1.3e-5 of the putts.
REACH = 4.36
# Edges are brought within this many spreads: the probability beyond is below 1e-32.
FAR = 12.0


def deceleration_ft_s2(stimp_ft: float) -> float:
    """Return the deceleration of a ball that leaves the Stimpmeter and rolls its reading."""
    return STIMPMETER_FT_S**2 / (2 * stimp_ft)


def capture_limit_ft_s(
    offset_ft: ArrayLike, *, slope_pct: float = 0.0, cos_heading: ArrayLike = 1.0
) -> np.ndarray:
    """Return the fastest ball that drops, passing the hole's centre so far away.

    On a slope the limit depends a little on the heading from downhill; see
    `putlab.green.capture`. It is 0 or less where the ball passes outside the rim.
    """
    tangent = slope_pct / 100
    reach = BALL_RADIUS_FT / (2 * HOLE_RADIUS_FT - BALL_RADIUS_FT)
    rim = (1 - tangent * np.asarray(cos_heading) * reach) / (1 + tangent**2) ** 0.25
    return CAPTURE_FT_S * (1 - (np.asarray(offset_ft) / HOLE_RADIUS_FT) ** 2) * rim


def past_limit_ft(offset_ft: ArrayLike, stimp_ft: float) -> np.ndarray:
    """Return how far past its closest approach the hardest putt that drops would have rolled."""
    return capture_limit_ft_s(offset_ft) ** 2 / (2 * deceleration_ft_s2(stimp_ft))


def rim_ft(offset_ft: ArrayLike) -> np.ndarray:
    """Return how far before the closest approach the near rim is: half the hole's chord."""
    return np.sqrt(np.maximum(HOLE_RADIUS_FT**2 - np.asarray(offset_ft) ** 2, 0.0))


@dataclass(frozen=True)
class FlatScatter:
    """Many putts to be struck: where they are, and how line and roll-out scatter.

    Every array has shape (putts,); edges are in spreads from the mean, shape (putts, 1).
    """

    distance_ft: np.ndarray
    line_rad: np.ndarray  # from the hole's centre, + right
    line_sd_rad: np.ndarray
    roll_ft: np.ndarray
    roll_sd_ft: np.ndarray  # a draw below 0 does not move the ball

    @classmethod
    def of(cls, skill: Skill, past_ft: float | np.ndarray) -> "FlatScatter":
        """Return a skill's ``draws * n`` putts at its own distances, which run fastest."""
        target_ft = skill.distance_ft + past_ft
        columns = np.broadcast_arrays(
            skill.distance_ft,
            np.deg2rad(skill.line_bias_deg),
            np.deg2rad(skill.line_sd_deg),
            target_ft * (1 + skill.pace_bias_pct / 100),
            target_ft * skill.pace_sd_pct / 100,
        )
        return cls(*(np.ravel(column) for column in columns))

    def __getitem__(self, rows: slice | np.ndarray) -> "FlatScatter":
        return FlatScatter(*(getattr(self, name)[rows] for name in self.__dataclass_fields__))

    def __len__(self) -> int:
        return self.distance_ft.size

    @property
    def resting_edge(self) -> np.ndarray:
        """A roll-out of 0 ft: of a putt below it the ball does not move."""
        return self.roll_edge(np.zeros((1, 1)))

    def passing_edges(self) -> tuple[np.ndarray, np.ndarray]:
        """Return the left and right directions that graze the hole; from inside it, none does."""
        return self._either_side(HOLE_RADIUS_FT / self.distance_ft)

    def steep_edges(self, stimp_ft: float) -> tuple[np.ndarray, np.ndarray]:
        """Return the directions inside the hole where a putt of mean pace just drops.

        The chance of dropping turns over there, in a width that shrinks with pace spread.
        """
        past = np.clip((self.roll_ft - self.distance_ft) / past_limit_ft(0.0, stimp_ft), 0, 1)
        return self._either_side(np.sqrt(1 - np.sqrt(past)) * HOLE_RADIUS_FT / self.distance_ft)

    def _either_side(self, sine: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        half_rad = np.arcsin(np.minimum(sine, 1.0))
        left, right = ((turn - self.line_rad) / self.line_sd_rad for turn in (-half_rad, half_rad))
        return left[:, None], right[:, None]

    def directions(self, low: np.ndarray, high: np.ndarray, nodes: int) -> tuple[np.ndarray, ...]:
        """Return distance to and offset of the closest approach (+ right), and probability.

        Each of shape (putts, ranges * nodes), for directions between edges (putts, ranges).
        """
        z, chance = (part.reshape(len(self), -1) for part in normal_nodes(low, high, nodes))
        angle = self.line_rad[:, None] + self.line_sd_rad[:, None] * z
        distance = self.distance_ft[:, None]
        return distance * np.cos(angle), distance * np.sin(angle), chance

    def roll_edge(self, roll_ft: np.ndarray) -> np.ndarray:
        """Return roll-outs (putts, directions), none below 0 ft, as spreads from the mean."""
        rolled = np.maximum(roll_ft, 0.0)
        return (rolled - self.roll_ft[:, None]) / self.roll_sd_ft[:, None]

    def roll(self, z: np.ndarray) -> np.ndarray:
        """Return roll-outs in feet, none below 0, for spreads (putts, directions, rolls)."""
        column = (slice(None), None, None)
        mean, spread = _single(self.roll_ft[column]), _single(self.roll_sd_ft[column])
        return np.maximum(mean + spread * z, np.float32(0))


def normal_nodes(low: ArrayLike, high: ArrayLike, nodes: int) -> tuple[np.ndarray, np.ndarray]:
    """Return nodes between edges of a standard normal, and the probability each stands for.

    Shape (..., nodes); probabilities add up to that of the range, none where high <= low.
    """
    # Single precision: seven digits are plenty for a mean, and twice as fast.
    x, w = _gauss_legendre(nodes)
    low, high = (np.clip(edge, -FAR, FAR)[..., None] for edge in (low, high))
    # A range wholly beyond the reach keeps its nodes at its near end.
    start = np.maximum(low, np.minimum(-REACH, high - 1))
    stop = np.minimum(high, np.maximum(REACH, low + 1))
    middle, half = _single((start + stop) / 2), _single((stop - start) / 2)
    z = middle + half * x
    raw = np.exp(-z * z / 2) * w
    mass = np.maximum(ndtr(high) - ndtr(low), 0.0)
    return z, raw * _single(mass / raw.sum(axis=-1, keepdims=True))


@lru_cache
def _gauss_legendre(nodes: int) -> tuple[np.ndarray, ...]:
    return tuple(_single(part) for part in leggauss(nodes))


def _single(values: np.ndarray) -> np.ndarray:
    return values.astype(np.float32)
