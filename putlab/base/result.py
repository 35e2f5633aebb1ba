"""What the front door returns: a table, a sentence, and a chart where people would look."""

from html import escape
from typing import TYPE_CHECKING, Any

from putlab.base.late import pd
from putlab.base.words import counted


class Result:
    """A small frozen answer; each kind documents the columns of its table."""

    def __init_subclass__(cls, **kwargs: Any) -> None:
        # A dataclass keeps a repr that is there before it; its own would print every draw.
        super().__init_subclass__(**kwargs)
        cls.__repr__ = Result.__repr__  # type: ignore[method-assign]

    def __repr__(self) -> str:
        return f"<{type(self).__name__}: {self.sentence or counted(len(self.table), 'row')}>"

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
    def shown(self) -> "pd.DataFrame":
        """The table as a person reads it."""
        return self.table.head(30).round(3)

    def _repr_html_(self) -> str:
        shown = self.shown.to_html(index=False, border=0, na_rep="")
        return f"<p>{escape(self.sentence)}</p>{shown}"
