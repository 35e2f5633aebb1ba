"""First putts as a flat list, and the rules that integrate over where they go.

A putt is a normal direction and a normal roll-out. Directions fall into three ranges: left of
the hole, at it, right of it. For each direction the roll-outs that miss fall into ranges too.
Every range is integrated by Gauss-Legendre nodes whose weights are scaled to the range's
exact normal probability, so that only the *mean over* a range carries quadrature error.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.polynomial.legendre import leggauss
from scipy.special import ndtr

from putlab.base.settings import STIMPMETER_FT_S
from putlab.green.published import CAPTURE_FT_S, HOLE_RADIUS_FT

# Standard normal beyond which a range holds no nodes (its probability is still counted, at
# the nodes inside): 1.3e-5 of the putts.
REACH = 4.36
# Edges are brought within this many spreads: the probability beyond is below 1e-32.
FAR = 12.0


@dataclass(frozen=True)
class Strikes:
    """Many putts to be struck: where they are, and how line and roll-out scatter.

    Attributes
    ----------
    distance_ft : ndarray, shape (putts,)
        Distance to the hole's centre.
    line_rad, line_sd_rad : ndarray, shape (putts,)
        Mean and spread of the direction, radians from the hole's centre, + right.
    roll_ft, roll_sd_ft : ndarray, shape (putts,)
        Mean and spread of the roll-out; a draw below 0 does not move the ball.
    """

    distance_ft: np.ndarray
    line_rad: np.ndarray
    line_sd_rad: np.ndarray
    roll_ft: np.ndarray
    roll_sd_ft: np.ndarray

    @classmethod
    def of(cls, skill, past_ft):
        """Return the strikes of a skill at its own distances, draw by draw.

        Parameters
        ----------
        skill : Skill
            Spreads and biases at the distances of interest.
        past_ft : float or ndarray, shape (n,)
            How far past the hole the golfer aims to roll the ball, in feet.

        Returns
        -------
        Strikes
            ``draws * n`` putts, distances running fastest.
        """
        target_ft = skill.distance_ft + past_ft
        columns = np.broadcast_arrays(
            skill.distance_ft,
            np.deg2rad(skill.line_bias_deg),
            np.deg2rad(skill.line_sd_deg),
            target_ft * (1 + skill.pace_bias_pct / 100),
            target_ft * skill.pace_sd_pct / 100,
        )
        return cls(*(np.ravel(column) for column in columns))

    def __getitem__(self, rows):
        """Return some of the putts."""
        return Strikes(*(getattr(self, name)[rows] for name in self.__dataclass_fields__))

    def __len__(self):
        """Return the number of putts."""
        return self.distance_ft.size

    @property
    def resting_edge(self):
        """A roll-out of 0 ft in spreads from the mean, shape (putts, 1)."""
        return self.roll_edge(np.zeros((1, 1)))

    @property
    def stay_chance(self):
        """Chance that the ball does not move at all, shape (putts,)."""
        return ndtr(self.resting_edge).ravel()

    def hole_edges(self):
        """Return the directions, in spreads from the mean, where the hole begins and ends.

        Returns
        -------
        tuple of ndarray, each of shape (putts, 1)
            Left edge, right edge. From inside the hole's radius, any forward direction.
        """
        return self.passing_edges(HOLE_RADIUS_FT)

    def passing_edges(self, offset_ft):
        """Return the directions that pass the hole's centre so far away on either side.

        Parameters
        ----------
        offset_ft : float
            Feet; infinity is any direction at all.

        Returns
        -------
        tuple of ndarray, each of shape (putts, 1)
            Left edge, right edge, in spreads from the mean.
        """
        if np.isinf(offset_ft):
            endless = np.full((len(self), 1), np.inf)
            return -endless, endless
        half_rad = np.arcsin(np.minimum(offset_ft / self.distance_ft, 1.0))
        return self._turns(-half_rad), self._turns(half_rad)

    def steep_edges(self, stimp_ft):
        """Return the directions inside the hole where a putt of mean pace just drops.

        Parameters
        ----------
        stimp_ft : float
            Green speed in feet.

        Returns
        -------
        tuple of ndarray, each of shape (putts, 1)
            Left edge, right edge, in spreads from the mean. The chance of dropping turns
            over there, within a width that shrinks with the spread of pace.
        """
        past = np.clip((self.roll_ft - self.distance_ft) / past_limit_ft(0.0, stimp_ft), 0, 1)
        share = np.sqrt(1 - np.sqrt(past)) * HOLE_RADIUS_FT / self.distance_ft
        half_rad = np.arcsin(np.minimum(share, 1.0))
        return self._turns(-half_rad), self._turns(half_rad)

    def _turns(self, angle_rad):
        return ((angle_rad - self.line_rad) / self.line_sd_rad)[:, None]

    def directions(self, low, high, nodes):
        """Return directions between two edges, and their probabilities.

        Parameters
        ----------
        low, high : ndarray, shape (putts, ranges)
            Edges in spreads from the mean direction.
        nodes : int
            Directions in each range.

        Returns
        -------
        tuple of ndarray, each of shape (putts, ranges * nodes)
            Distance along the line to the closest approach, offset of the closest approach
            (+ right of the hole), probability.
        """
        z, chance = (part.reshape(len(self), -1) for part in normal_nodes(low, high, nodes))
        angle = self.line_rad[:, None] + self.line_sd_rad[:, None] * z
        distance = self.distance_ft[:, None]
        return distance * np.cos(angle), distance * np.sin(angle), chance

    def roll_edge(self, roll_ft):
        """Return roll-outs as spreads from the mean, none below 0 ft.

        Parameters
        ----------
        roll_ft : ndarray, shape (putts, directions)
            Roll-outs in feet.

        Returns
        -------
        ndarray, shape (putts, directions)
            Standard normal edges.
        """
        rolled = np.maximum(roll_ft, 0.0)
        return (rolled - self.roll_ft[:, None]) / self.roll_sd_ft[:, None]

    def roll(self, z):
        """Return roll-outs, none below 0 ft.

        Parameters
        ----------
        z : ndarray, shape (putts, directions, rolls)
            Spreads from the mean.

        Returns
        -------
        ndarray, same shape
            Feet.
        """
        column = (slice(None), None, None)
        mean, spread = _single(self.roll_ft[column]), _single(self.roll_sd_ft[column])
        return np.maximum(mean + spread * z, np.float32(0))


def normal_nodes(low, high, nodes):
    """Return nodes between two edges and the normal probability each stands for.

    Parameters
    ----------
    low, high : ndarray, shape (...)
        Edges of a standard normal; an edge may be infinite. Empty where ``high <= low``.
    nodes : int
        Gauss-Legendre nodes in each range.

    Returns
    -------
    tuple of ndarray, each of shape (..., nodes)
        Nodes, and probabilities that add up to that of the range, in single precision: seven
        digits are plenty for a mean, and twice as fast.
    """
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
def _gauss_legendre(nodes):
    return tuple(_single(part) for part in leggauss(nodes))


def _single(values):
    return values.astype(np.float32)


# A putt on a flat green: how it slows down, and which roll-outs the hole takes.


def deceleration_ft_s2(stimp_ft):
    """Return the constant deceleration of a rolling ball, in ft/s².

    Parameters
    ----------
    stimp_ft : float
        Green speed: how far the ball rolls from the Stimpmeter's 6.00 ft/s, in feet.

    Returns
    -------
    float
        v² / (2 · roll-out).
    """
    return STIMPMETER_FT_S**2 / (2 * stimp_ft)


def past_limit_ft(offset_ft, stimp_ft):
    """Return how far past the hole the hardest putt that still drops would have rolled.

    Parameters
    ----------
    offset_ft : array_like
        Closest approach of the ball's line to the hole's centre, in feet, inside the hole.
    stimp_ft : float
        Green speed in feet.

    Returns
    -------
    ndarray
        Feet beyond the closest approach, had there been no hole (Penner 2002).
    """
    limit_ft_s = CAPTURE_FT_S * (1 - (np.asarray(offset_ft) / HOLE_RADIUS_FT) ** 2)
    return limit_ft_s**2 / (2 * deceleration_ft_s2(stimp_ft))


def rim_ft(offset_ft):
    """Return how far before the closest approach the ball's centre meets the near rim.

    Parameters
    ----------
    offset_ft : array_like
        Closest approach of the ball's line to the hole's centre, in feet, inside the hole.

    Returns
    -------
    ndarray
        Half the chord of the hole at that offset, in feet.
    """
    return np.sqrt(np.maximum(HOLE_RADIUS_FT**2 - np.asarray(offset_ft) ** 2, 0.0))
