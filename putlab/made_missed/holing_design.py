"""From outcomes on a green to the arrays the made-and-missed model reads."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from putlab.design import REFERENCE_FT, bump_correlation, make_design
from putlab.made_missed.holing_data import ALIKE
from putlab.made_missed.strips import PhysicalHole, Strips, leave_strips, made_strips
from putlab.readings import COMPONENTS
from putlab.settings import PAST_FT

EVENT = [*ALIKE, "low_ft", "high_ft"]

# Where a miss may come to rest, and the lengths from which the next putt is then struck, for
# misses of which only the number of putts that followed is known: a little inside the middle
# of a band, for leaves thin out. Chances of three putts are within 0.001 of `hole_out`'s.
REST_BANDS_FT = np.array([0, 0.8, 1.4, 2, 2.5, 3, 3.5, 4, 5, 6, 7.5, 9.5, 12, 16, 22, 30, 150])
NEXT_FT = np.append(0.52 * REST_BANDS_FT[:-2] + 0.48 * REST_BANDS_FT[1:-1], 36.0)

# Where in a design's data counts of outcomes stand: name to rows.
COUNTS = {"made": slice(1, 3), "leave": slice(1, 2), "followed": slice(None)}


@dataclass(frozen=True)
class GreenDesign:
    """Arrays of the made-and-missed model.

    Attributes
    ----------
    components : dict of str to putlab.design.Design
        The spread model's design of ``line`` and ``pace``, of one size, with every condition.
    events : pandas.DataFrame
        What can happen, one a row: `putlab.made_missed.holing_data.ALIKE`, and
        ``low_ft, high_ft`` of a leave, both 0 where the putt drops.
    data : dict of str to ndarray
        Arrays of the model's data containers:

        - ``event_index`` (player, position, condition), ``event_value`` (practised, counted,
          target), for each event;
        - ``positions``: weights of the practised lengths in each event's length, and its log;
        - ``range_event``, ``range_edge``, ``node`` (direction, weight, roll-outs): strips;
        - ``made`` (event, made, missed), ``leave`` (event, count), ``followed_event``
          (drops; leaves in each band; next putts that drop), ``followed`` (one putt followed,
          more did): the counted outcomes;
        - ``green_priors``: median and log sd of the green's extra spread, line and pace.
    """

    components: dict
    events: pd.DataFrame
    data: dict

    @property
    def size(self):
        """Players and padded sizes, which with the code determine the compiled model."""
        return self.components["line"].size

    @property
    def containers(self):
        """The model's data containers: the components' with their prefix, the outcomes'."""
        named = {
            f"{component}_{name}": value
            for component, design in self.components.items()
            for name, value in design.containers.items()
        }
        return named | self.data

    @property
    def putts(self):
        """Number of readings of the component that has more, and of outcomes."""
        outcomes = sum(self.data[name][rows].sum() for name, rows in COUNTS.items())
        return max(part.putts for part in self.components.values()) + float(outcomes)

    def counted_as(self, putts):
        """Return the same design with its readings and outcomes counted as so many.

        Parameters
        ----------
        putts : float
            What `putts` is to be.

        Returns
        -------
        GreenDesign
            For a first look: its answer is too wide, and otherwise alike.
        """
        share = putts / self.putts
        parts = {
            name: part.counted_as(share * part.putts) if part.putts else part
            for name, part in self.components.items()
        }
        data = {name: self.data[name].copy() for name in COUNTS}
        for name, rows in COUNTS.items():
            data[name][rows] *= share
        return replace(self, components=parts, data=self.data | data)


def component_designs(readings, green, visits, lengths, players, priors):
    """Return the spread model's designs of both components, alike in size.

    Parameters
    ----------
    readings : dict of str to pandas.DataFrame
        Counted cells of ``line`` and ``pace``, from `putlab.readings.cells`.
    green : pandas.DataFrame
        From `putlab.made_missed.holing_data.green_putts`.
    visits : pandas.DataFrame
        From `putlab.design.session_table`.
    lengths : ndarray
        Lengths in feet that readings point into.
    players : list of str
        Every player.
    priors : dict of str to putlab.priors.SpreadPriors
        Priors of ``line`` and ``pace``.

    Returns
    -------
    dict of str to putlab.design.Design
        By component, each with all conditions, and with every visit that has a reading of
        either, or is a player's first.
    """
    first = visits.groupby("player", sort=False).head(1)[["player", "session"]]
    known = pd.concat([first, *(rows[["player", "session"]] for rows in readings.values())])
    visits = visits.merge(known.drop_duplicates())
    seen = pd.concat([*readings.values(), green])[["player", "condition"]].drop_duplicates()
    blank = _nothing_read(seen.merge(first, on="player"))
    designs = {}
    for name in COMPONENTS:
        rows = pd.concat([readings[name], blank], ignore_index=True)
        design = make_design(rows, visits, lengths, players, priors[name])
        designs[name] = replace(design, rows=readings[name])
    return designs


def _nothing_read(groups):
    """Return rows that say nothing, so that a design knows of every condition."""
    return groups.assign(
        length=0, early=False, counted=False, distance_ft=0.0, lo=-np.inf, hi=np.inf, noise=0.0,
        count=0,
    )  # fmt: skip


def make_green_design(green, components, priors):
    """Arrange outcomes on a green for the model.

    Parameters
    ----------
    green : pandas.DataFrame
        From `putlab.made_missed.holing_data.green_putts`.
    components : dict of str to putlab.design.Design
        From `component_designs`.
    priors : array_like, shape (2, 2)
        Median and log sd of the green's extra spread, of line (degrees) and pace (percent).

    Returns
    -------
    GreenDesign
        Events, strips and counts.
    """
    made, leave, followed = _counted(green)
    follow_events = [_dropping(followed), *_resting(followed), *_next(followed)]
    frames = [_dropping(made), leave[EVENT], *follow_events]
    events = pd.concat(frames).drop_duplicates().reset_index(drop=True)
    index = pd.MultiIndex.from_frame(events)
    place = [index.get_indexer(pd.MultiIndex.from_frame(frame)) for frame in frames]
    data = {
        "made": np.stack([place[0], made["made"], made["missed"]]),
        "leave": np.stack([place[1], leave["count"]]),
        "followed_event": np.stack(place[2:]),
        "followed": followed[["one", "more"]].to_numpy(float).T,
        "green_priors": np.asarray(priors, dtype=float),
    }
    data |= _event_data(events, components["line"]) | _strip_data(events)
    return GreenDesign(components, events, data)


def _counted(green):
    """Count what is known of putts that are alike: dropped or not, leaves, what followed."""
    left, followed = green["high_ft"].notna(), green["followed"].notna()

    def count(rows, keys=ALIKE, **columns):
        return rows.assign(**columns)[[*keys, *columns]].groupby(keys, sort=True).sum()

    plain = green[~left & ~followed]
    tables = [
        count(plain, made=plain["made"], missed=~plain["made"]),
        count(green[left], EVENT, count=1),
        count(green[followed], one=green["followed"] == 1, more=green["followed"] == 2),
    ]
    return [table.astype(float).reset_index() for table in tables]


def _dropping(kinds):
    return kinds[ALIKE].assign(low_ft=0.0, high_ft=0.0)


def _resting(kinds):
    bands = zip(REST_BANDS_FT[:-1], REST_BANDS_FT[1:], strict=True)
    return [kinds[ALIKE].assign(low_ft=float(low), high_ft=float(high)) for low, high in bands]


def _next(kinds):
    return [_dropping(kinds.assign(distance_ft=left)) for left in NEXT_FT]


def _event_data(events, design):
    """Return indices and values of each event, and where its length lies among the known."""
    distance_ft, position = np.unique(events["distance_ft"], return_inverse=True)
    player = pd.Index(design.players).get_indexer(events["player"])
    keys = ["player", "condition"]
    known = pd.MultiIndex.from_frame(design.conditions[keys])
    condition = known.get_indexer(pd.MultiIndex.from_frame(events[keys])) + 1
    columns = [events[name] for name in ("practised", "counted")]
    x, at = np.log(design.lengths_ft / REFERENCE_FT), np.log(distance_ft / REFERENCE_FT)
    weights = np.zeros((design.size[2] + 1, at.size))
    weights[: x.size] = np.linalg.solve(bump_correlation(x, x), bump_correlation(x, at))
    weights[-1] = at
    return {
        "event_index": np.stack([player, position, condition]),
        "event_value": np.stack([*columns, events["distance_ft"] + PAST_FT]).astype(float),
        "positions": weights,
    }


def _strip_data(events):
    """Return the strips of all events, stacked."""
    drops = (events["high_ft"] == 0).to_numpy()
    made, left = events[drops], events[~drops]
    lengths = [left[name].to_numpy() for name in ("distance_ft", "low_ft", "high_ft")]
    holes = [PhysicalHole(part["stimp_ft"].to_numpy()) for part in (made, left)]
    strips = Strips.join(
        [
            made_strips(made["distance_ft"].to_numpy(), holes[0]),
            leave_strips(*lengths, holes[1], first_event=len(made)),
        ]
    )
    number = np.concatenate([np.flatnonzero(drops), np.flatnonzero(~drops)])
    return {
        "range_event": number[strips.event],
        "range_edge": strips.edge_rad,
        "node": np.stack([strips.line_rad, strips.weight, *np.moveaxis(strips.roll_ft, -1, 0)]),
    }
