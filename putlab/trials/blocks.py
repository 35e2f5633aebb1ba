"""The order of a trial: shuffled blocks in which every visit holds both arms alike."""

import numpy as np
import pandas as pd

# Columns of the sheet that the player fills in.
READINGS = ("line_deg", "roll_ft")

# Putts in a row with one arm, at most: five to ten go to one length (common practice), and
# shorter blocks spread both arms better over a visit.
BLOCK = 5


def schedule(design, *, before="A", after="B", player="player", seed=None):
    """Lay out a designed trial putt by putt.

    Each length is struck in turns of two blocks, A B and later B A or the other way round,
    so that warming up and tiring fall on both arms alike. Which arm goes first is dealt
    evenly over visits and lengths, in shuffled order.

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
    lengths, each = np.array(design.distances_ft), design.putts_each
    pairs = int(np.ceil(each / (2 * BLOCK)))
    first = _dealt((design.sessions, pairs, lengths.size), rng)
    sizes = [len(part) for part in np.array_split(np.arange(each), 2 * pairs)]
    width = len(str(design.sessions))
    visits = [
        _visit(lengths, first[s], sizes, rng).assign(session=f"visit {s + 1:0{width}d}")
        for s in range(design.sessions)
    ]
    table = pd.concat(visits, ignore_index=True)
    table["condition"] = np.where(table.pop("arm") == 0, before, after)
    table["putt"] = table.groupby("session").cumcount() + 1
    drill = {"line": "line", "pace": "pace"}.get(design.metric, "both")
    table = table.assign(player=player, drill=drill, **dict.fromkeys(READINGS, np.nan))
    return table[["player", "session", "putt", "distance_ft", "condition", "drill", *READINGS]]


def _dealt(shape, rng):
    """Deal which arm goes first: as often the one as the other in all, shuffled."""
    deck = np.arange(np.prod(shape)) % 2
    rng.shuffle(deck)
    return deck.reshape(shape)


def _visit(lengths, first, sizes, rng):
    """Return one visit: each length in turns, every second one the reverse of the last."""
    blocks = []
    for turn, size in enumerate(sizes):
        for place in rng.permutation(lengths.size):
            arm = (first[turn // 2, place] + turn) % 2
            for this in (arm, 1 - arm):
                blocks.append(
                    pd.DataFrame({"distance_ft": [lengths[place]] * size, "arm": this})
                )
    return pd.concat(blocks, ignore_index=True)
