"""The directions a putt may start in, and for each the roll-outs that drop or miss."""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from putlab.flat_green.flat import past_limit_ft, rim_ft
from putlab.flat_green.strike import Strikes, normal_nodes


@dataclass(frozen=True)
class Fan:
    """Some directions of each putt, with the softest and hardest roll-out that drop.

    Attributes
    ----------
    strikes : Strikes
        The putts.
    along_ft, offset_ft : ndarray, shape (putts, directions)
        Distance along the line to its closest approach to the hole's centre; how far that
        passes the centre, + right.
    chance : ndarray, shape (putts, directions)
        Probability that each direction stands for.
    near, far : ndarray, shape (putts, directions)
        Roll-outs between these drop, in spreads from the mean. Equal beside the hole, where
        they part the putts that stop before it from those that go by.
    """

    strikes: Strikes
    along_ft: np.ndarray
    offset_ft: np.ndarray
    chance: np.ndarray
    near: np.ndarray
    far: np.ndarray

    @classmethod
    def at_hole(cls, strikes, stimp_ft, nodes):
        """Return directions at the hole, in three ranges parted where the chance is steep.

        Parameters
        ----------
        strikes : Strikes
            The putts.
        stimp_ft : float
            Green speed in feet.
        nodes : int
            Directions in each of the three ranges.

        Returns
        -------
        Fan
            ``3 * nodes`` directions a putt.
        """
        low, high = strikes.hole_edges()
        inner = strikes.steep_edges(stimp_ft)
        edges = np.hstack([low, *inner]), np.hstack([*inner, high])
        along, offset, chance = strikes.directions(*edges, nodes)
        rim = rim_ft(offset)
        # From inside the hole's radius a ball that does not move is in the hole.
        near = np.where(along <= rim, -np.inf, strikes.roll_edge(along - rim))
        far = strikes.roll_edge(along + past_limit_ft(offset, stimp_ft))
        return cls(strikes, along, offset, chance, near, far)

    @classmethod
    def beside(cls, strikes, side, nodes, *, within_ft=np.inf):
        """Return directions that pass the hole by.

        Parameters
        ----------
        strikes : Strikes
            The putts.
        side : {0, 1}
            Left or right.
        nodes : int
            Directions a putt.
        within_ft : float
            Leave out directions that pass the hole farther away than this.

        Returns
        -------
        Fan
            ``nodes`` directions a putt.
        """
        edge = strikes.hole_edges()[side]
        outer = strikes.passing_edges(within_ft)[side]
        edges = (edge, outer) if side else (outer, edge)
        along, offset, chance = strikes.directions(*edges, nodes)
        level = strikes.roll_edge(along)
        return cls(strikes, along, offset, chance, level, level)

    def chances(self):
        """Return the chances of not moving, of too soft, of dropping and of too hard.

        Returns
        -------
        tuple of ndarray, each of shape (putts,)
            They add up to the chance of the fan's directions. From inside the hole's radius
            a ball that does not move has dropped.
        """
        near, far = ndtr(self.near), ndtr(self.far)
        stay = np.minimum(self.strikes.stay_chance[:, None], near)
        kinds = stay, near - stay, far - near, 1 - far
        return tuple(np.sum(self.chance * kind, axis=1) for kind in kinds)

    def soft_rests(self, rolls):
        """Return where the balls that stop before `near` come to rest.

        Parameters
        ----------
        rolls : int
            Roll-outs for each direction.

        Returns
        -------
        tuple of ndarray, each of shape (putts, directions * rolls)
            Squared distance left in ft², and probability.
        """
        return self._rests(*normal_nodes(self.strikes.resting_edge, self.near, rolls))

    def hard_rests(self, rolls):
        """Return where the balls struck harder than `far` come to rest.

        Parameters
        ----------
        rolls : int
            Roll-outs for each direction.

        Returns
        -------
        tuple of ndarray, each of shape (putts, directions * rolls)
            Squared distance left in ft², and probability.
        """
        return self._rests(*normal_nodes(self.far, np.full_like(self.far, np.inf), rolls))

    def all_rests(self, rolls):
        """Return where the balls come to rest whatever their pace.

        Parameters
        ----------
        rolls : int
            Roll-outs short of the hole, and again as many past it, for each direction.

        Returns
        -------
        tuple of ndarray, each of shape (putts, directions * 2 * rolls)
            Squared distance left in ft², and probability.
        """
        strikes = self.strikes
        rest, level = strikes.resting_edge, strikes.roll_edge(strikes.distance_ft[:, None])
        endless = np.full_like(rest, np.inf)
        # What a leave costs turns over at the hole: parted there, each side is smooth.
        z, share = normal_nodes(
            np.hstack([-endless, level]), np.hstack([level, endless]), rolls
        )
        rows = (len(strikes), 1, -1)
        return self._rests(z.reshape(rows), share.reshape(rows))

    def _rests(self, z, share):
        along, aside, chance = (
            part[..., None].astype(z.dtype)
            for part in (self.along_ft, self.offset_ft**2, self.chance)
        )
        squared = (self.strikes.roll(z) - along) ** 2 + aside
        rows = len(self.strikes)
        return squared.reshape(rows, -1), (chance * share).reshape(rows, -1)
