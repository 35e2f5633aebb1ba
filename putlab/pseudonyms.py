"""Labels in place of names, the same ones every time a log is read."""

from dataclasses import replace


def with_pseudonyms(log):
    """Return the log with players called ``player 1``, ``player 2`` and so on.

    The number is the order in which a player first strikes a putt, so a log that grows visit
    by visit keeps its labels. Names typed into a rejected row's player column are blanked.

    Parameters
    ----------
    log : putlab.log.Log
        A log that has been read.

    Returns
    -------
    putlab.log.Log
        The same putts under labels.
    """
    names = log.putts["player"].drop_duplicates()
    labels = {name: f"player {number}" for number, name in enumerate(names, start=1)}
    rejects = log.rejects.copy()
    rejects.loc[rejects["column"] == "player", "value"] = "(hidden)"
    putts = log.putts.assign(player=log.putts["player"].map(labels))
    return replace(
        log,
        putts=putts,
        rejects=rejects,
        warnings=[_without(text, labels) for text in log.warnings],
        notes=[_without(text, labels) for text in log.notes],
    )


def _without(text, labels):
    # Longest first, so that a name inside another is not replaced in part.
    for name in sorted(labels, key=len, reverse=True):
        text = text.replace(name, labels[name])
    return text
