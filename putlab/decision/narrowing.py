"""How far spread narrows at every distance: draws of what practice does for one golfer."""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from putlab.decision.stakes import COMPONENTS
from putlab.decision.standing import Standing
from putlab.learning import Learning


def hats(lengths_ft, nodes_ft):
    """Return the share of each node that belongs to each length, adding up to 1.

    Parameters
    ----------
    lengths_ft, nodes_ft : ndarray, shapes (lengths,) and (n,)
        Lengths and nodes in feet.

    Returns
    -------
    ndarray, shape (lengths, n)
        Straight in log distance between lengths; beyond them all goes to the last.
    """
    known, wanted = np.log(lengths_ft), np.log(nodes_ft)
    return np.stack([np.interp(wanted, known, row) for row in np.eye(known.size)])


@dataclass(frozen=True)
class Narrowing:
    """What practice does for one golfer, draw by draw.

    Attributes
    ----------
    who : putlab.decision.standing.Standing
        The golfer.
    learning : putlab.learning.Learning
        What practice does.
    nodes_ft : ndarray, shape (n,)
        Distances.
    rates : dict of str to ndarray, shape (draws,)
        By component: fall of log spread per unit of log experience.
    yields : dict of str to ndarray, shape (draws, lengths)
        By component: what a putt of practice is worth at each length practised so far.
    bias_putts : dict of str to ndarray, shape (draws,)
        By component: putts that halve a bias.
    carry_range : ndarray, shape (draws,)
        Log distance over which carry-over falls to 1/e.
    """

    who: Standing
    learning: Learning
    nodes_ft: np.ndarray
    rates: dict
    yields: dict
    bias_putts: dict
    carry_range: np.ndarray

    def rolled(self, by):
        """Return the draws paired with other draws of the skill.

        Parameters
        ----------
        by : int
            How many draws further.

        Returns
        -------
        Narrowing
            The same draws in another order.
        """
        tables = {
            name: {c: np.roll(values, by, axis=0) for c, values in getattr(self, name).items()}
            for name in ("rates", "yields", "bias_putts")
        }
        return replace(self, **tables, carry_range=np.roll(self.carry_range, by))

    @cached_property
    def experience(self):
        """Putts that count at every node so far, shape (draws, n)."""
        practised = self.who.practised
        return self.counting(practised["distance_ft"], practised["putts"])

    def counting(self, distance_ft, putts):
        """Return the putts that count at every node.

        Parameters
        ----------
        distance_ft : array_like, shape (m,)
            Lengths practised.
        putts : array_like, shape (m,) or (draws, m)
            Putts at each.

        Returns
        -------
        ndarray, shape (draws, n)
            Those struck there, and a share of those struck elsewhere.
        """
        share = self.learning.carry(distance_ft, self.nodes_ft, self.carry_range)
        return (np.asarray(putts, dtype=float)[..., None, :] @ share)[..., 0, :]

    def changes(self, distance_ft, putts):
        """Return the factors on spread and bias that putts at some lengths bring.

        Parameters
        ----------
        distance_ft : array_like, shape (m,)
            Lengths practised.
        putts : dict of str to array_like, shape (m,)
            By component: putts struck for it at each length.

        Returns
        -------
        dict of str to tuple of ndarray, shape (draws, n)
            By component: factor on spread, factor on bias.
        """
        putts = {name: np.asarray(values, dtype=float) for name, values in putts.items()}
        found = {}
        for name in COMPONENTS:
            other = COMPONENTS[1 - COMPONENTS.index(name)]
            struck = putts[name] + self.learning.other_share * putts[other]
            taught = struck * (self.yields[name] @ hats(self.who.lengths_ft, distance_ft))
            counting = self.counting(distance_ft, taught)
            growth = self.learning.growth(self.experience, counting)
            left = 0.5 ** (counting / self.bias_putts[name][:, None])
            found[name] = np.exp(-self.rates[name][:, None] * growth), left
        return found


def draw_narrowing(who, learning, nodes_ft, rows, rng):
    """Draw what practice does for one golfer.

    Parameters
    ----------
    who : putlab.decision.standing.Standing
        The golfer.
    learning : putlab.learning.Learning
        What practice does.
    nodes_ft : ndarray, shape (n,)
        Distances in feet.
    rows : ndarray, shape (draws,)
        Draws of the golfer's trend to use.
    rng : numpy.random.Generator
        Draws what differs between lengths, and the carry-over.

    Returns
    -------
    Narrowing
        As many draws as rows.
    """

    def lognormal(median, log_sd, *size):
        return median * np.exp(log_sd * rng.standard_normal((rows.size, *size)))

    own = {
        name: learning.rates(who.trend[name], who.trend_prior_sd[name]) for name in COMPONENTS
    }
    lengths = who.lengths_ft.size
    return Narrowing(
        who=who,
        learning=learning,
        nodes_ft=nodes_ft,
        rates={name: rates[rows] for name, rates in own.items()},
        yields={c: lognormal(1.0, learning.yield_log_sd, lengths) for c in COMPONENTS},
        bias_putts={c: lognormal(learning.bias_putts, learning.bias_log_sd) for c in own},
        carry_range=lognormal(learning.carry_range, learning.carry_log_sd),
    )
