"""Putts that were made or missed on a green, from a log to counted outcomes and a model's arrays.

A visit in which nothing was read but whether putts dropped is taken as one to a real green;
a putt without a reading among others that have one was missed by the sensor.
A miss tells more where the log has how far it was left (itself, or as the length of the next
putt on that hole), and a little more where it has only how many putts followed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from putlab.base.settings import PAST_FT, STIMP_FT
from putlab.log.checks import on_green
from putlab.log.rules import ROLL_STEPS_FT, common_step
from putlab.model.design import (
    Design,
    length_weights,
    log_distance,
    make_design,
    places,
    session_table,
)
from putlab.model.hole_chance import Hole, Strips, leave_strips, made_strips
from putlab.model.priors import SpreadPriors, green_priors
from putlab.model.readings import conditions_held, in_game

# Leaves are told apart this finely, feet. Ends lie between the tenths that a tape shows, and
# bands stay narrow against the scatter of roll-outs.
LEAVE_BANDS_FT = np.array(
    [0, 0.55, 1.05, 1.55, 2.05, 2.55, 3.05, 3.55, 4.05, 5.05, 6.05, 7.05, 8.55, 10.05, 12.05,
     14.05, 17.05, 20.05, 25.05, 32.05, 45.05, 150]
)  # fmt: skip

# Lengths within this, in log distance, are struck at as one: the chance of holing differs by
# under 0.01 across it, and the mean is taken.
SAME_DISTANCE = 0.03

# Practice before a putt, on the model's log scale, to the nearest of this: a trend of 0.1
# would move spread by 5 % at most, and as often up as down.
SAME_PRACTICE = 1.0

# Green speeds to the nearest half foot: greens are not even to less.
SAME_STIMP_FT = 0.5

# What putts are alike in. The first few putts of a practice visit may scatter wider; those of
# a round, after a warm-up and holes apart, are as any.
ALIKE = ["player", "distance_ft", "past_ft", "stimp_ft", "condition", "counted", "practised"]


def green_putts(putts: pd.DataFrame) -> pd.DataFrame:
    """Return the putts of visits to a green: known is whether they dropped, nothing was read."""
    visits = session_table(putts)
    practised = visits["practised"].to_numpy()[places(putts, visits, ["player", "session"])]
    putts = _in_holes(putts).assign(
        counted=in_game(putts),
        condition=conditions_held(putts),
        past_ft=putts["aim_past_ft"].fillna(PAST_FT),
        stimp_ft=_nearest(putts["stimp_ft"].fillna(STIMP_FT), SAME_STIMP_FT),
        practised=_nearest(practised, SAME_PRACTICE),
    )
    putts = putts[on_green(putts)]
    putts = putts.assign(made=putts["holed"].astype(bool), **_left(putts))
    near = np.round(np.log(putts["distance_ft"].astype(float)) / SAME_DISTANCE)
    putts["distance_ft"] = putts["distance_ft"].astype(float).groupby(near).transform("mean")
    return putts[[*ALIKE, "made", "low_ft", "high_ft", "followed"]].reset_index(drop=True)


def outcome_counts(putts: pd.DataFrame) -> pd.DataFrame:
    """Return what each player's `green_putts` tell, a row a player."""
    missed = ~putts["made"]
    told = putts.assign(
        putts=1, misses=missed, leaves=missed & putts["high_ft"].notna(),
        followed=missed & putts["followed"].notna(),
    )  # fmt: skip
    counts = ["putts", "made", "misses", "leaves", "followed"]
    return told[counts].astype(int).groupby(putts["player"], sort=False).sum()


def _in_holes(putts: pd.DataFrame) -> pd.DataFrame:
    """Number the putts on each hole, and look ahead to what followed."""
    putts = putts.copy()
    visit = [putts["player"], putts["session"]]
    before = putts.groupby(visit)[["hole_no", "putt_no"]].shift()
    # The same number again, from putt 1, is the hole of another game.
    starts = (putts["hole_no"] != before["hole_no"]) | (putts["putt_no"] <= before["putt_no"])
    hole = putts.groupby([*visit, starts.groupby(visit).cumsum()])
    number = putts["putt_no"].fillna(hole.cumcount() + 1).where(putts["hole_no"].notna())
    putts["putt_no"] = number
    following = hole["putt_no"].shift(-1) == number + 1
    putts["next_ft"] = hole["distance_ft"].shift(-1).where(following)
    taken = hole["putts_taken"].transform("max")
    putts["last_no"] = taken.fillna(hole["putt_no"].transform("max"))
    putts["finished"] = hole["holed"].transform("last").mask(taken.notna(), True)
    return putts


def _left(putts: pd.DataFrame) -> dict[str, ArrayLike]:
    """Return bounds of the leave of each miss, or how many putts followed it."""
    missed = ~putts["holed"].astype(bool)
    leave = putts["leave_ft"].fillna(putts["next_ft"]).where(missed).to_numpy(float)
    low, high = leave_bounds(leave, common_step(leave, ROLL_STEPS_FT))
    followed = (putts["last_no"] - putts["putt_no"]).clip(upper=2)
    finished = putts["finished"].fillna(False).astype(bool)
    told = missed & np.isnan(leave) & finished & (followed > 0)
    return {"low_ft": low, "high_ft": high, "followed": followed.where(told)}


def leave_bounds(leave_ft: np.ndarray, step_ft: float) -> tuple[np.ndarray, np.ndarray]:
    """Return what each leave lay between."""
    bands = LEAVE_BANDS_FT
    place = np.clip(np.searchsorted(bands, leave_ft, side="right"), 1, bands.size - 1)
    low, high = bands[place - 1], bands[place]
    if step_ft >= 0.25:
        low = np.maximum(leave_ft - step_ft / 2, 0.0)
        high = np.maximum(leave_ft + step_ft / 2, bands[1])
    unknown = np.where(np.isnan(leave_ft), np.nan, 0.0)
    return np.where(low < bands[1], 0.0, low) + unknown, high + unknown


def _nearest(values: ArrayLike, step: float) -> np.ndarray:
    return np.round(np.asarray(values, dtype=float) / step) * step


# From outcomes on a green to the arrays the made-and-missed model reads.


LEAVE = ["low_ft", "high_ft"]
EVENT = [*ALIKE, *LEAVE]

# Where a miss may come to rest, and the lengths from which the next putt is then struck, for
# misses of which only the number of putts that followed is known: a little inside the middle
# of a band, for leaves thin out. Chances of three putts are within 0.001 of `hole_out`'s.
REST_BANDS_FT = np.array([0, 0.8, 1.4, 2, 2.5, 3, 3.5, 4, 5, 6, 7.5, 9.5, 12, 16, 22, 30, 150])
NEXT_FT = np.append(0.52 * REST_BANDS_FT[:-2] + 0.48 * REST_BANDS_FT[1:-1], 36.0)

# Where in a design's data counts of outcomes stand: name to rows.
COUNTS = {"made": slice(1, 3), "leave": slice(1, 2), "followed": slice(None)}


@dataclass(frozen=True)
class GreenDesign:
    """Arrays of the made-and-missed model."""

    components: dict[str, Design]
    events: pd.DataFrame
    data: dict[str, np.ndarray]

    @property
    def size(self) -> tuple[int, ...]:
        """Players and padded sizes, which with the code determine the compiled model."""
        return self.components["line"].size

    @property
    def containers(self) -> dict[str, np.ndarray]:
        """The model's data containers: the components' with their prefix, the outcomes'."""
        named = {
            f"{component}_{name}": value
            for component, design in self.components.items()
            for name, value in design.containers.items()
        }
        return named | self.data

    @property
    def putts(self) -> float:
        """Number of readings of the component that has more, and of outcomes."""
        outcomes = sum(self.data[name][rows].sum() for name, rows in COUNTS.items())
        return max(part.putts for part in self.components.values()) + float(outcomes)

    @property
    def outcomes(self) -> pd.DataFrame:
        """What was counted, ``kind, count, player``, in the order of the likelihood."""
        (drops, made, missed), (leave, left), (one, more) = (self.data[name] for name in COUNTS)
        bands = self.events.loc[leave, LEAVE].itertuples(index=False)
        names = [f"left {low:g} to {high:g} ft" for low, high in bands]
        kinds = np.repeat(["made", "missed"], drops.size).tolist() + names
        kinds += np.repeat(["one putt followed", "more putts followed"], one.size).tolist()
        first = self.data["followed_event"][0]
        event = np.concatenate([drops, drops, leave, first, first]).astype(int)
        count = np.concatenate([made, missed, left, one, more])
        return pd.DataFrame({"kind": kinds, "count": count, "player": self.events["player"][event]})

    def counted_as(self, putts: float) -> GreenDesign:
        """Return the same design with its readings and outcomes counted as so many."""
        share = putts / self.putts
        parts = {
            name: part.counted_as(share * part.putts) if part.putts else part
            for name, part in self.components.items()
        }
        data = {name: self.data[name].copy() for name in COUNTS}
        for name, rows in COUNTS.items():
            data[name][rows] *= share
        return replace(self, components=parts, data=self.data | data)


def make_green_design(
    readings: dict[str, pd.DataFrame],
    green: pd.DataFrame,
    visits: pd.DataFrame,
    lengths: np.ndarray,
    players: list[str],
    priors: dict[str, SpreadPriors],
) -> GreenDesign:
    """Arrange readings of both components and outcomes on a green for the model."""
    visits, blank = _known_places(readings, green, visits)
    components = {}
    for name, rows in readings.items():
        design = make_design(pd.concat([rows, blank]), visits, lengths, players, priors[name])
        components[name] = replace(design, rows=rows)
    made, leave, followed = _counted(green)
    bands = zip(REST_BANDS_FT[:-1], REST_BANDS_FT[1:], strict=True)
    frames = [
        dropping(made),
        leave[EVENT],
        dropping(followed),
        *(followed[ALIKE].assign(low_ft=float(low), high_ft=float(high)) for low, high in bands),
        *(dropping(followed.assign(distance_ft=left)) for left in NEXT_FT),
    ]
    events = pd.concat(frames).drop_duplicates().reset_index(drop=True)
    place = [places(frame, events, EVENT) for frame in frames]
    data = {
        "made": np.stack([place[0], made["made"], made["missed"]]),
        "leave": np.stack([place[1], leave["count"]]),
        "followed_event": np.stack(place[2:]),
        "followed": followed[["one", "more"]].to_numpy(float).T,
        "green_priors": green_priors(),
    }
    data |= event_data(events, components["line"])
    return GreenDesign(components, events, data)


def _known_places(
    readings: dict[str, pd.DataFrame], green: pd.DataFrame, visits: pd.DataFrame
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return the visits that both components' designs know, and rows of every condition."""
    first = visits.groupby("player", sort=False).head(1)[["player", "session"]]
    known = pd.concat([first, *(rows[["player", "session"]] for rows in readings.values())])
    visits = visits.merge(known.drop_duplicates())
    seen = pd.concat([*readings.values(), green])[["player", "condition"]].drop_duplicates()
    # Rows that say nothing, so that a design knows of every condition.
    blank = seen.merge(first, on="player").assign(
        length=0, warm_up=False, counted=False, distance_ft=0.0, lo=-np.inf, hi=np.inf, noise=0.0,
        count=0,
    )  # fmt: skip
    return visits, blank


def _counted(green: pd.DataFrame) -> list[pd.DataFrame]:
    """Count what is known of putts that are alike: dropped or not, leaves, what followed."""
    left, followed = green["high_ft"].notna(), green["followed"].notna()

    def count(rows: pd.DataFrame, keys: list[str], **columns: pd.Series | int) -> pd.DataFrame:
        counted = rows.assign(**columns)[[*keys, *columns]].groupby(keys, sort=True).sum()
        return counted.astype(float).reset_index()

    plain, number = green[~left & ~followed], green["followed"]
    return [
        count(plain, ALIKE, made=plain["made"], missed=~plain["made"]),
        count(green[left], EVENT, count=1),
        count(green[followed], ALIKE, one=number == 1, more=number == 2),
    ]


def dropping(kinds: pd.DataFrame) -> pd.DataFrame:
    """Return the events that putts of such kinds drop."""
    return kinds[ALIKE].assign(low_ft=0.0, high_ft=0.0)


def event_data(events: pd.DataFrame, design: Design) -> dict[str, np.ndarray]:
    """Return indices, values and strips of each event, and where its length lies."""
    distance_ft, position = np.unique(events["distance_ft"], return_inverse=True)
    player = pd.Index(design.players).get_indexer(events["player"])
    condition = places(events, design.conditions, ["player", "condition"]) + 1
    values = events["practised"], events["counted"], events["distance_ft"] + events["past_ft"]
    x, at = log_distance(design.lengths_ft), log_distance(distance_ft)
    weights = np.zeros((design.size[2] + 1, at.size))
    weights[: x.size] = length_weights(x, at)
    weights[-1] = at
    return {
        "event_index": np.stack([player, position, condition]),
        "event_value": np.stack(values).astype(float),
        "positions": weights,
    } | _strip_data(events)


def _strip_data(events: pd.DataFrame) -> dict[str, np.ndarray]:
    """Return the strips of all events, stacked."""
    drops = (events["high_ft"] == 0).to_numpy()
    columns = ["distance_ft", "low_ft", "high_ft", "stimp_ft"]
    made, left = (events.loc[rows, columns].to_numpy(float).T for rows in (drops, ~drops))
    parts = (
        made_strips(made[0], Hole(made[3])),
        leave_strips(left[0], left[1], left[2], Hole(left[3])),
    )
    events_of = np.flatnonzero(drops), np.flatnonzero(~drops)
    strips = Strips.join(
        [replace(part, event=of[part.event]) for part, of in zip(parts, events_of, strict=True)]
    )
    return {
        "range_event": strips.event,
        "range_edge": strips.edge_rad,
        "node": np.stack([strips.line_rad, strips.weight, *np.moveaxis(strips.roll_ft, -1, 0)]),
    }
