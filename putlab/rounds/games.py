"""Counted games: holes of par two on the practice green, nothing conceded.

A game is read from the log's rows with `hole_no` and `putt_no`: a hole begins at putt 1, and
its putts are those taken until it was holed, written a row each or counted in `putts_taken`. A
new game begins where a hole's number comes again within a visit. A game with a hole that nobody
finished has no score: those finished early are the good ones.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from putlab.base.cache import kept_or_made, result_key
from putlab.base.errors import LogError, expect
from putlab.base.result import Result
from putlab.base.settings import PAST_FT, interval_probabilities
from putlab.base.words import length_words, listed, sure
from putlab.log.schema import COLUMNS
from putlab.rounds import expected
from putlab.rounds.expected import RATIOS_SOLVED, hole_chances, new_day_skill
from putlab.rounds.first_putts import RoundMix
from putlab.rounds.reference import Reference, tour_reference

if TYPE_CHECKING:
    from putlab.posterior.fit import Fit
    from putlab.posterior.player import Golfer

# Common practice: every hole of a counted game is a par of two.
PAR = 2

HOLE_COLUMNS = ["player", "session", "game", "condition", "hole_no", "distance_ft"]
HOLE_COLUMNS += ["stimp_ft", "slope_pct", "slope_to_deg", "putts"]


def finished_holes(putts: pd.DataFrame) -> tuple[pd.DataFrame, list[str]]:
    """Return a log's finished holes of counted games (`HOLE_COLUMNS`), and notes of the others."""
    # The game counts a player's games; length and slope are the first putt's.
    rows = putts[putts["hole_no"].notna() & putts["putt_no"].notna()]
    if rows.empty:
        raise LogError(
            "the log has no counted game: no row has both hole_no and putt_no. "
            "`deal_game` deals one to play."
        )
    groups = rows.groupby(["player", "session"], sort=False, dropna=False)
    visits = [_holes_of_visit(visit) for _, visit in groups]
    holes = pd.concat([holes for holes, _ in visits], ignore_index=True)
    notes = [note for _, found in visits for note in found]
    if holes.empty:
        raise LogError("the log has no finished counted game. " + " ".join(notes[:3]))
    games = holes["session"] + "/" + holes["game"].astype(str)
    numbered = games.groupby(holes["player"], sort=False)
    holes["game"] = numbered.transform(lambda labels: pd.factorize(labels)[0] + 1)
    return holes[HOLE_COLUMNS], notes


def _holes_of_visit(visit: pd.DataFrame) -> tuple[pd.DataFrame, list[str]]:
    starts = (visit["putt_no"] == 1) | (visit["hole_no"] != visit["hole_no"].shift())
    found, notes, seen, game = list[dict](), list[str](), set[float](), 1
    place = f"{visit['player'].iloc[0]}, {visit['session'].iloc[0]}"
    for _, rows in visit.groupby(starts.cumsum(), sort=False):
        first = rows.iloc[0]
        if first["hole_no"] in seen:
            seen, game = set(), game + 1
        seen.add(first["hole_no"])
        counted = first["putts_taken"] > 0
        taken = first["putts_taken"] if counted else len(rows)
        if trouble := _trouble(rows, taken):
            notes.append(f"{place}, hole {first['hole_no']:g}: {trouble}, so the hole is left out.")
            continue
        # Nothing is conceded: where holed is not written down, the last putt dropped.
        finished = bool(counted or rows["holed"].fillna(True).iloc[-1])
        found.append({**first, "game": game, "putts": int(taken), "finished": finished})
    holes = pd.DataFrame(found, columns=[*HOLE_COLUMNS, "finished"])
    unfinished = holes[~holes["finished"].astype(bool)]
    notes += [
        f"{place}: {listed([f'hole {number:g}' for number in left])} not finished, so this game "
        "has no score. Write putts_taken, or a row for each further putt."
        for _, left in unfinished.groupby("game")["hole_no"]
    ]
    return holes.loc[~holes["game"].isin(unfinished["game"]), HOLE_COLUMNS], notes


def _trouble(rows: pd.DataFrame, taken: float) -> str:
    """Say why a hole's rows cannot be a hole, or return an empty text."""
    numbers = rows["putt_no"].to_numpy()
    if not np.array_equal(numbers, np.arange(1, len(rows) + 1)):
        return f"putts {', '.join(f'{n:g}' for n in numbers)} are not 1, 2, 3 and so on"
    if rows["holed"].iloc[:-1].fillna(False).any():
        return "a putt follows one that was holed"
    if taken != len(rows) > 1:
        return f"putts_taken says {taken:g}, but {len(rows)} are written"
    return ""


# A player's counted games, judged by the golfer that the practice log shows.


@dataclass(frozen=True)
class JudgedGames(Result):
    """What a player's counted games came to.

    Attributes
    ----------
    player : str
        Label.
    scores : pandas.DataFrame
        A row a game; gained on the reference is NaN where it is silent on a hole.
    ratio : putlab.rounds.expected.CountedRatio
        Spread in games over spread in practice, from all of them.
    notes : list of str
        Holes left out, and why.
    """

    player: str
    scores: pd.DataFrame
    ratio: expected.CountedRatio
    notes: list[str]

    @property
    def table(self) -> pd.DataFrame:
        """`scores` and ``counted_ratio, _lo, _hi, chance_wider``: one posterior of all games."""
        low, high = self.ratio.interval
        return self.scores.assign(
            counted_ratio=self.ratio.median,
            counted_ratio_lo=low,
            counted_ratio_hi=high,
            chance_wider=self.ratio.chance_wider,
        )

    @property
    def sentence(self) -> str:
        """How much wider the spread is when it counts."""
        low, high = self.ratio.interval
        return (
            f"{self.player}: when it counts, spread is {self.ratio.median:.2f} times that in "
            f"practice (90 % interval {low:.2f} to {high:.2f}; wider with probability "
            f"{sure(self.ratio.chance_wider)}), from {self.ratio.holes} holes."
        )


def judge_games(
    fit: "Fit",
    putts: pd.DataFrame,
    player: str,
    *,
    reference: Reference | None = None,
    past_ft: float = PAST_FT,
) -> JudgedGames:
    """Judge every counted game of a player.

    Each game is expected of the golfer of that visit: as far practised, and in the condition
    (grip, putter, routine) of the game's own rows; on a new day, as the visit's own offset
    is not known beforehand.

    Parameters
    ----------
    fit : Fit
        Fit of the log.
    putts : pandas.DataFrame
        The log's putts.
    player : str
        Label.
    reference : Reference, optional
        Whom to gain strokes on; default: the published tour average.
    past_ft : float
        How far past the hole the golfer aims to roll the ball.

    Returns
    -------
    JudgedGames
        Scores, and how much wider the spread is when it counts.

    Raises
    ------
    LogError
        The player has no finished hole of a game.
    """
    holes, chances, notes = _chances(fit, putts, player, RATIOS_SOLVED, past_ft)
    in_practice = chances[len(chances) // 2]
    return JudgedGames(
        player=player,
        scores=game_scores(holes, in_practice, reference or tour_reference()),
        ratio=expected.counted_ratio(chances, holes["putts"]),
        notes=notes,
    )


def usual_games(fit: "Fit", putts: pd.DataFrame, player: str) -> pd.DataFrame | None:
    """Return the scores of `judge_games` alone, which take a seventh of its time; None: no game."""
    try:
        holes, chances, _ = _chances(fit, putts, player, (1.0,))
    except LogError:
        return None
    return game_scores(holes, chances[0], tour_reference())


def _chances(
    fit: "Fit", putts: pd.DataFrame, player: str, ratios: ArrayLike, past_ft: float = PAST_FT
) -> tuple[pd.DataFrame, np.ndarray, list[str]]:
    """Finished holes, `hole_chances` of each, and notes; chances are kept on disk."""
    try:
        holes, notes = finished_holes(putts[putts["player"] == player])
    except LogError as error:
        raise LogError(f"{player}: {error}") from error
    games = list(holes.groupby(["session", "condition"], sort=False, dropna=False))
    parts = [
        _kept_chances(golfer_at_visit(fit, player, *visit), part, ratios, past_ft)
        for visit, part in games
    ]
    holes = pd.concat([part for _, part in games], ignore_index=True)
    return holes, np.concatenate(parts, axis=2), notes


def _kept_chances(
    golfer: "Golfer", holes: pd.DataFrame, ratios: ArrayLike, past_ft: float
) -> np.ndarray:
    """`hole_chances` of a golfer on a new day, kept on disk."""
    skill = new_day_skill(golfer)
    lies = holes[["distance_ft", "stimp_ft", "slope_pct", "slope_to_deg"]].to_numpy(float)
    key = result_key("rounds", "games", vars(skill), lies, np.asarray(ratios), past_ft)
    solved = partial(hole_chances, skill, holes, ratios=ratios, past_ft=past_ft)
    return kept_or_made(key, lambda: {"chances": solved()})["chances"]


def golfer_at_visit(fit: "Fit", player: str, session: str, condition: str | None) -> "Golfer":
    """Return a player with the practice struck before one visit, in the condition played in."""
    visits = fit.visits
    here = (visits["player"] == player) & (visits["session"] == session)
    before = visits.loc[here, "putts_before"].iloc[0]
    held = {condition: 1.0} if isinstance(condition, str) else {}
    return replace(fit.golfer(player), struck=before, held=held)


def score_chances(chances: np.ndarray) -> np.ndarray:
    """Return the chance of every total from 0, given chances (draws, holes, 10) of each hole."""
    # By convolution hole after hole within a draw, as holes share their golfer; then averaged.
    total = np.ones((len(chances), 1))
    for hole in np.moveaxis(chances, 1, 0):
        both = zip(total, np.pad(hole, ((0, 0), (1, 0))), strict=True)
        total = np.array([np.convolve(before, here) for before, here in both])
    return total.mean(axis=0)


def game_scores(holes: pd.DataFrame, chances: np.ndarray, reference: Reference) -> pd.DataFrame:
    """Return each game's score beside what this golfer is expected to make on its holes."""
    rows = []
    games = holes.reset_index(drop=True).groupby(["player", "session", "game"], sort=False)
    for (player, session, game), part in games:
        score = int(part["putts"].sum())
        usual = _usual(score_chances(chances[:, part.index]), score)
        row = {"player": player, "session": session, "game": game}
        row |= {"holes": len(part), "par": PAR * len(part), "score": score, **usual}
        gained = reference.gained(part["distance_ft"], part["putts"]).sum()
        row |= {"gained_on_self": usual["expected_score"] - score, "gained_on_reference": gained}
        rows.append(row)
    return pd.DataFrame(rows)


def _usual(chance: np.ndarray, score: int) -> dict[str, float]:
    totals, below = np.arange(chance.size), np.cumsum(chance)
    mean = chance @ totals
    low, high = (int(np.searchsorted(below, p - 1e-9)) for p in interval_probabilities())
    return {
        "expected_score": mean,
        "expected_sd": np.sqrt(chance @ (totals - mean) ** 2),
        "expected_lo": low,
        "expected_hi": high,
        "chance_as_low": min(below[score], 1.0),
    }


# A game dealt to play: holes whose lengths are a round's, on sloping ground.

# Slopes that holes are cut on: mostly 1 to 3 % (common practice).
SLOPES_PCT = (1.0, 2.0, 3.0)

# Downhill as seen from the ball, clockwise from the putt's own direction.
RIGHT = ("downhill", "downhill, falls right", "falls right", "uphill, falls right")
LEFT = ("uphill", "uphill, falls left", "falls left", "downhill, falls left")
DIRECTIONS = dict(zip(range(0, 360, 45), RIGHT + LEFT, strict=True))

SHORTEST_FT, MOST_HOLES = 2.0, 18
# A mix of so few lengths comes from marks on a mat or strip: deal those, not between them.
MARKS = 8


def deal_game(
    mix: RoundMix,
    holes: int,
    *,
    seed: int,
    session: str | None,
    slopes_pct: Sequence[float] = SLOPES_PCT,
    longest_ft: float = np.inf,
    step_ft: float = 1.0,
) -> pd.DataFrame:
    """Deal a card of holes to play.

    Lengths are taken evenly from the mix, one from each share of it, so that every game is
    about as long as a round; slopes and directions are dealt as evenly. The order is random.

    Parameters
    ----------
    mix : RoundMix
        First putts of a round.
    holes : int
        1 to 18; nine or eighteen is common practice.
    seed : int
        The same seed deals the same game.
    session : str or None
        Label or ISO date of the visit, written on the card.
    slopes_pct : sequence of float
        Steepnesses to deal from; ``(0,)`` for a level mat.
    longest_ft : float
        What there is room for: longer first putts are played from there.
    step_ft : float
        What lengths are rounded to, where they are not the mix's own few.

    Returns
    -------
    pandas.DataFrame
        A row a hole, every column of the log: ``drill`` is counted, ``putt_no`` 1, and the
        boxes for readings are empty, to be filled in.

    Raises
    ------
    UsageError
        The number of holes is not 1 to 18, or a slope is out of range.
    """
    expect(1 <= holes <= MOST_HOLES, "holes", holes, f"1 to {MOST_HOLES} holes")
    slopes = np.asarray(slopes_pct, dtype=float)
    good = bool(slopes.size and np.all((slopes >= 0) & (slopes <= 5)))
    expect(good, "slopes", list(slopes_pct), "0 to 5 %")
    rng = np.random.default_rng(seed)
    slope = _evenly(slopes, holes, rng)
    to_deg = np.where(slope > 0, _evenly(np.array(list(DIRECTIONS), dtype=float), holes, rng), 0)
    card = pd.DataFrame({column.name: None for column in COLUMNS}, index=range(holes))
    return card.assign(
        session=session,
        putt=np.nan,
        distance_ft=_lengths(mix, holes, longest_ft, step_ft, rng),
        slope_pct=slope,
        slope_to_deg=to_deg,
        drill="counted",
        hole_no=np.arange(1, holes + 1),
        putt_no=1,
    )


def card_in_words(card: pd.DataFrame) -> pd.DataFrame:
    """Return a card as a golfer reads it: ``Hole, Length, Slope``."""
    slopes = map(slope_words, card["slope_pct"], card["slope_to_deg"])
    lengths = card["distance_ft"].map(length_words)
    return pd.DataFrame({"Hole": card["hole_no"], "Length": lengths, "Slope": list(slopes)})


def slope_words(slope_pct: float, to_deg: float) -> str:
    """Return a dealt slope as a golfer says it."""
    return f"{slope_pct:g} %, {DIRECTIONS[int(to_deg)]}" if slope_pct else "level"


def _lengths(
    mix: RoundMix, holes: int, longest_ft: float, step_ft: float, rng: np.random.Generator
) -> np.ndarray:
    """Return one length from each equal share of the mix, in whole steps or marks, shuffled."""
    share = np.cumsum(mix.first_putts) / mix.first_putts.sum()
    start = share - mix.first_putts / mix.first_putts.sum()
    wanted = (np.arange(holes) + rng.random(holes)) / holes
    if mix.distance_ft.size <= MARKS:
        marks = mix.distance_ft[np.searchsorted(share, wanted)]
        return rng.permutation(np.minimum(marks, longest_ft))
    # Each length of the mix stands for a stretch of lengths around it.
    log_length = np.interp(wanted, (start + share) / 2, np.log(mix.distance_ft))
    steps = np.round(np.maximum(np.exp(log_length), SHORTEST_FT) / step_ft)
    return rng.permutation(np.minimum(steps, np.floor(longest_ft / step_ft + 1e-9)) * step_ft)


def _evenly(values: np.ndarray, count: int, rng: np.random.Generator) -> np.ndarray:
    """Return so many values, each as often as any other, in random order."""
    times = -(-count // values.size)
    pool = np.concatenate([rng.permutation(values) for _ in range(times)])[:count]
    return rng.permutation(pool)
