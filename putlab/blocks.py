"""The order of a trial: shuffled blocks in which every visit holds both arms alike."""

import numpy as np
import pandas as pd

# Columns of the sheet that the player fills in.
READINGS = ("line_deg", "roll_ft")


def schedule(design, *, before="A", after="B", player="player", seed=None):
    """Lay out a designed trial putt by putt.

    Each length is struck in two turns a visit, A B and later B A or the other way round, so
    that warming up and tiring fall on both arms alike. Which arm goes first is dealt evenly
    over visits and lengths, in shuffled order.

    Parameters
    ----------
    design : putlab.trial.TrialDesign
        The trial.
    before, after : str
        Labels of the two conditions.
    player : str
        Label of the player.
    seed : int, optional
        Seed of the shuffling; default: the design's.

    Returns
    -------
    pandas.DataFrame
        A log without readings: ``player, session, putt, distance_ft, condition, drill``
        and empty `READINGS`.
    """
    rng = np.random.default_rng(design.seed if seed is None else seed)
    lengths = np.array(design.distances_ft)
    first = _dealt(design.sessions, lengths.size, rng)
    width = len(str(design.sessions))
    visits = [
        _visit(lengths, first[s], design.putts_each, rng).assign(
            session=f"visit {s + 1:0{width}d}"
        )
        for s in range(design.sessions)
    ]
    table = pd.concat(visits, ignore_index=True)
    table["condition"] = np.where(table.pop("arm") == 0, before, after)
    table["putt"] = table.groupby("session").cumcount() + 1
    drill = {"line": "line", "pace": "pace"}.get(design.metric, "both")
    table = table.assign(player=player, drill=drill, **dict.fromkeys(READINGS, np.nan))
    return table[["player", "session", "putt", "distance_ft", "condition", "drill", *READINGS]]


def _dealt(visits, lengths, rng):
    """Deal which arm goes first, shape (visits, lengths): even in all, shuffled."""
    total = visits * lengths
    deck = np.arange(total) % 2
    rng.shuffle(deck)
    return deck.reshape(visits, lengths)


def _visit(lengths, first, each, rng):
    """Return one visit: every length in two turns, the second in the reverse order of arms."""
    sizes = (each - each // 2, each // 2)
    blocks = []
    for turn, size in enumerate(sizes):
        for place in rng.permutation(lengths.size):
            arms = (first[place], 1 - first[place])
            for arm in arms if turn == 0 else arms[::-1]:
                blocks.append(
                    pd.DataFrame({"distance_ft": [lengths[place]] * size, "arm": arm})
                )
    return pd.concat(blocks, ignore_index=True)
