"""A check's answer: pass, note or fail, with its table and one sentence."""

from dataclasses import dataclass, field

import pandas as pd

PASS, NOTE, FAIL = "pass", "note", "fail"


@dataclass(frozen=True)
class Verdict:
    """What one check found.

    Attributes
    ----------
    name : str
        What was checked.
    result : {"pass", "note", "fail"}
        A fail keeps the fit out of a report; a note is told with it.
    sentence : str
        The finding in plain words.
    table : pandas.DataFrame
        The numbers behind it.
    """

    name: str
    result: str
    sentence: str
    table: pd.DataFrame = field(default_factory=pd.DataFrame, repr=False)


def verdict_table(verdicts):
    """Return verdicts as a table, one a row.

    Parameters
    ----------
    verdicts : list of Verdict
        Checks of a fit.

    Returns
    -------
    pandas.DataFrame
        ``check, result, sentence``.
    """
    rows = [{"check": v.name, "result": v.result, "sentence": v.sentence} for v in verdicts]
    return pd.DataFrame(rows, columns=["check", "result", "sentence"])


def failures(verdicts):
    """Return the verdicts that failed.

    Parameters
    ----------
    verdicts : list of Verdict
        Checks of a fit.

    Returns
    -------
    list of Verdict
        Those whose result is ``fail``.
    """
    return [v for v in verdicts if v.result == FAIL]
