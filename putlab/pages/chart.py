"""A chart: the figure, the words that stand for it, and the numbers it draws."""

import contextlib
import io
import re
import warnings
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import singledispatch
from pathlib import Path
from typing import Any
from urllib.parse import quote

import matplotlib
import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import ArrayLike

from putlab.base.errors import UsageError
from putlab.base.words import length_number, listed, shortened, unit_name

# Okabe and Ito's palette (2008), told apart with any colour vision; every use has a marker,
# a line style, hatching or a label of its own as well.
BLUE, VERMILION, ORANGE, SKY = "#0072B2", "#C44E00", "#E69F00", "#56B4E9"
GREY = "#767676"

STYLE = matplotlib.rc_params_from_file(
    Path(__file__).with_name("charts.mplstyle"), use_default_template=False
)
INK = STYLE["text.color"]

LOOK: dict[str, dict[str, Any]] = {
    "line": {"color": BLUE, "marker": "o"},
    "pace": {"color": VERMILION, "marker": "s"},
}
SPREAD_COLUMN = {"line": "line_sd_deg", "pace": "pace_sd_pct"}

# Wide enough for two side by side on paper, narrow enough that 9 pt stays legible when a
# phone shrinks it to its own width.
WIDTH_IN = 4.3

# Fonts as an SVG says them.
FONT = f"font-family: {', '.join(map(repr, STYLE['font.sans-serif']))}, sans-serif; "


@dataclass(frozen=True)
class Chart:
    """One chart.

    Attributes
    ----------
    name, title : str
        Short name, unlike any other of a report; what it is about, in a few words.
    alt, reading : str
        What it shows, in words, computed and not described beforehand; how to read it.
    figure : matplotlib.figure.Figure
        The picture.
    table : pandas.DataFrame
        The numbers drawn.
    """

    name: str
    title: str
    alt: str
    reading: str
    figure: Figure
    table: pd.DataFrame

    @property
    def heading(self) -> str:
        """The title with a full stop, unless it is a question."""
        return self.title if self.title.endswith("?") else f"{self.title}."

    def svg(self) -> str:
        """Return the picture as SVG text, the same bytes each time."""
        metadata = {"Date": None, "Creator": None}
        text = self._written("svg", metadata=metadata, dpi=150).decode("utf-8")
        # A hundredth of a point is finer than any screen; what stands between tags stays.
        return re.sub(r"<[^>]*>", lambda tag: re.sub(r"(\.\d\d)\d+", r"\1", tag[0]), text)

    def png(self) -> bytes:
        """Return the picture as a PNG file, small enough for a notebook."""
        return self._written("png", dpi=100, metadata={"Software": None})

    def _written(self, kind: str, **options: Any) -> bytes:
        with _in_style(), io.BytesIO() as stream:
            self.figure.savefig(stream, format=kind, **options)
            return stream.getvalue()

    def source(self) -> str:
        """Return the picture as the source of an image, with nothing to fetch."""
        _, start, picture = self.svg().partition("<svg")
        plain = re.sub(r"\s+", " ", start + picture)
        # What says nothing goes: a turn by nought, names of groups, the font of every text.
        light = re.sub(r' transform="rotate\(-0 [^"]*"| id="[\w.]+_\d+"|xlink:(?=href)', "", plain)
        light = light.replace(FONT, "").replace("<svg ", f'<svg style="{FONT}" ', 1)
        # An apostrophe stands in an attribute as it is; a quotation mark takes three letters.
        light = re.sub(r"<[^>']*>", lambda tag: tag[0].replace('"', "'"), light)
        return "data:image/svg+xml," + quote(light, safe=" =/:;,()!?+*@$-'")

    def _repr_mimebundle_(self, **kwargs: Any) -> tuple[dict, dict]:
        said = f"{self.heading} {self.alt}"
        metadata = {"image/png": {"alt": said}}
        return {"image/png": self.png(), "text/plain": said}, metadata


@singledispatch
def chart_of(result: Any) -> Chart:
    """Return the chart in which people look for a result first.

    Parameters
    ----------
    result : putlab.base.result.Result or putlab.posterior.player.Golfer
        What the front door returned: advice, a comparison, estimates of one player, ...

    Returns
    -------
    Chart
        The one for this kind of result.

    Raises
    ------
    UsageError
        No chart is drawn of this kind of result.
    """
    known = listed(sorted(kind.__name__ for kind in chart_of.registry if kind is not object))
    raise UsageError(f"no chart is drawn of a {type(result).__name__}; there is one of {known}.")


@contextlib.contextmanager
def _in_style() -> Iterator[None]:
    # Nothing is said of glyphs missing from the bundled font: in SVG the reader's fonts serve.
    with warnings.catch_warnings(), matplotlib.rc_context(STYLE):
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        yield


@contextlib.contextmanager
def drawing(
    height_in: float, columns: int = 1, rows: int = 1, *, legend: int = 3, **options: Any
) -> Iterator[tuple[Figure, np.ndarray]]:
    """Make a figure in the kit's style; yields it and its panels, an array row by row.

    Under them stands one legend, of so many columns (0: none), with the marks of all.
    """
    with _in_style():
        figure = Figure(figsize=(WIDTH_IN, height_in), layout="constrained")
        axes = figure.subplots(rows, columns, squeeze=False, **options).ravel()
        yield figure, axes
        marks: dict[str, Any] = {}
        for axis in reversed(axes):
            handles, labels = axis.get_legend_handles_labels()
            marks |= dict(zip(labels, handles, strict=True))
        if marks and legend:
            figure.legend(
                marks.values(), marks.keys(), loc="outside lower center", ncols=legend,
                columnspacing=1.2, handlelength=1.6, handletextpad=0.5,
            )  # fmt: skip
        # Settle the layout now, once, so that the picture does not depend on how it is written.
        figure.get_layout_engine().execute(figure)  # type: ignore[union-attr]
        figure.set_layout_engine(None)


# A label longer than this would push the panels aside.
LONGEST_LABEL = 34


def label_of(text: str) -> str:
    """Return a label of the log as a legend can show it: not too long, never hidden."""
    short = shortened(text, LONGEST_LABEL)
    # matplotlib hides labels that start with an underscore.
    return " " + short if short.startswith("_") else short


# More marks than so many on a log scale, or on an even one, would overprint one another.
MOST_ON_LOG, MOST_MARKS = 6, 10


def distance_axis(axis: Axes, distance_ft: ArrayLike) -> None:
    """Put a log scale of rising distances under a panel, marked at the lengths practised."""
    lengths = np.asarray(distance_ft, dtype=float).tolist()
    ends = (lengths[0] / 1.25, lengths[-1] * 1.25)
    axis.set(xscale="log", xlim=ends, xlabel=f"Length, {unit_name()}")
    shown = _apart(lengths)
    axis.set_xticks(shown, [length_number(value) for value in shown])
    axis.minorticks_off()


def _apart(distance_ft: list[float]) -> list[float]:
    # The lengths to mark on a log scale: all, or those that leave each other room.
    closest = (distance_ft[-1] / distance_ft[0]) ** (1 / (MOST_ON_LOG - 1))
    shown = distance_ft[:1]
    for value in distance_ft:
        if value >= closest * shown[-1] * (1 - 1e-9) and value > shown[-1]:
            shown.append(value)
    return shown


def interval_marks(
    axis: Axes,
    place: ArrayLike,
    table: pd.DataFrame,
    name: str | Sequence[str],
    *,
    across: bool = False,
    **options: Any,
) -> None:
    """Draw the means ``name`` of a table with their intervals, ``name_lo`` and ``name_hi``."""
    ends = [name, f"{name}_lo", f"{name}_hi"] if isinstance(name, str) else name
    mean, low, high = table[list(ends)].to_numpy(float).T
    reach = {"xerr" if across else "yerr": [mean - low, high - mean]}
    x, y = (mean, place) if across else (place, mean)
    axis.errorbar(x, y, **{"elinewidth": 1.2} | reach | options)
