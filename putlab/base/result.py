"""What the front door returns: a table, a sentence, and a chart where people would look."""

from html import escape
from typing import TYPE_CHECKING, Any

import pandas as pd


class Result:
    """A small frozen answer; each kind documents the columns of its table."""

    if TYPE_CHECKING:

        @property
        def table(self) -> pd.DataFrame:
            """The answer as a tidy table, kept or made when it is asked for."""

    @property
    def sentence(self) -> str:
        """The answer in words."""
        return ""

    def chart(self) -> Any:
        """Return the figure in which people look for this answer first."""
        # The figures stand at the end of the line, behind the front door.
        import putlab

        return putlab.charts.chart_of(self)

    @property
    def shown(self) -> pd.DataFrame:
        """The table as a person reads it."""
        return self.table.head(30).round(3)

    def _repr_html_(self) -> str:
        shown = self.shown.to_html(index=False, border=0, na_rep="")
        return f"<p>{escape(self.sentence)}</p>{shown}"
