"""A player's counted games, judged by the golfer that the practice log shows."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from putlab.counted_games.game_scores import game_scores
from putlab.counted_games.when_it_counts import counted_ratio, node_chances
from putlab.errors import LogError
from putlab.estimate import strokes_skill
from putlab.games import played_holes
from putlab.settings import PAST_FT


@dataclass(frozen=True)
class Played:
    """What a player's counted games came to.

    Attributes
    ----------
    player : str
        Label.
    scores : pandas.DataFrame
        A row a game (`putlab.counted_games.game_scores.game_scores`).
    ratio : CountedRatio
        Spread in games over spread in practice, from all of them.
    notes : list of str
        Holes left out, and why.
    """

    player: str
    scores: pd.DataFrame
    ratio: object
    notes: list

    def table(self):
        """Return the scores with the ratio beside them.

        Returns
        -------
        pandas.DataFrame
            `scores` and ``counted_ratio, counted_ratio_lo, counted_ratio_hi, chance_wider``,
            the same in every row: one posterior from all games of the player.
        """
        low, high = self.ratio.interval
        return self.scores.assign(
            counted_ratio=self.ratio.median,
            counted_ratio_lo=low,
            counted_ratio_hi=high,
            chance_wider=self.ratio.chance_wider,
        )


def judge_games(fit, putts, player, *, reference=None, past_ft=PAST_FT, advance=None):
    """Judge every counted game of a player.

    Each game is expected of the golfer of that visit: as far practised, and in the condition
    (grip, putter, routine) of the game's own rows; on a new day, as the visit's own offset
    is not known beforehand.

    Parameters
    ----------
    fit : putlab.golfer.SpreadFit
        Fit of the log.
    putts : pandas.DataFrame
        The log's putts.
    player : str
        Label.
    reference : Reference, optional
        Whom to gain strokes on; default: the published tour average.
    past_ft : float
        How far past the hole the golfer aims to roll the ball.
    advance : callable, optional
        Called with games judged and games in all.

    Returns
    -------
    Played
        Scores, and how much wider the spread is when it counts.

    Raises
    ------
    LogError
        The player has no finished hole of a game.
    """
    mine = putts[putts["player"] == player]
    try:
        holes, notes = played_holes(mine)
    except LogError as error:
        raise LogError(f"{player}: {error}") from error
    games = list(holes.groupby(["session", "condition"], sort=False, dropna=False))
    parts = []
    for done, ((session, condition), part) in enumerate(games, start=1):
        skill = strokes_skill(golfer_then(fit, player, session, condition))
        parts.append(node_chances(skill, part, past_ft=past_ft))
        if advance:
            advance(done, len(games))
    holes = pd.concat([part for _, part in games], ignore_index=True)
    chances = np.concatenate(parts, axis=2)
    in_practice = chances[len(chances) // 2]
    return Played(
        player=player,
        scores=game_scores(holes, in_practice, reference=reference),
        ratio=counted_ratio(chances, holes["putts"]),
        notes=notes,
    )


def golfer_then(fit, player, session, condition):
    """Return a player as of one visit.

    Parameters
    ----------
    fit : putlab.golfer.SpreadFit
        Fit of the log.
    player, session : str
        Labels.
    condition : str or missing
        The condition played in.

    Returns
    -------
    putlab.golfer.Golfer
        The player with the practice struck before that visit, in that condition.
    """
    visits = fit.visits
    here = (visits["player"] == player) & (visits["session"] == session)
    before = visits.loc[here, "putts_before"].iloc[0]
    now = pd.DataFrame({"player": [player], "condition": [condition], "share": [1.0]})
    then = replace(
        fit,
        condition_now=now[now["condition"].notna()],
        putts_total=pd.Series({player: before}),
    )
    return then.golfer(player)
