"""A chart: the figure, the words that stand for it, and the numbers it draws."""

import base64
import contextlib
import io
import warnings
from dataclasses import dataclass

import matplotlib
import pandas as pd
from matplotlib.figure import Figure

# Okabe and Ito's palette (2008), told apart with any colour vision; every use has a marker,
# a line style, hatching or a label of its own as well.
BLUE, VERMILION, GREEN, PURPLE = "#0072B2", "#C44E00", "#00795A", "#9A4C80"
ORANGE, SKY, GREY, INK = "#E69F00", "#56B4E9", "#767676", "#1A1A1A"

COLOUR = {"line": BLUE, "pace": VERMILION}
MARKER = {"line": "o", "pace": "s"}

# Wide enough for two side by side on paper, narrow enough that 9 pt stays legible when a
# phone shrinks it to its own width.
WIDTH_IN = 4.3

STYLE = {
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans", "Verdana", "Helvetica", "Arial", "sans-serif"],
    "font.size": 9,
    "axes.titlesize": 9.5,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "axes.grid": True,
    "axes.axisbelow": True,
    "grid.color": "#DDDDDD",
    "grid.linewidth": 0.6,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "legend.frameon": False,
    "legend.fontsize": 8.5,
    "hatch.linewidth": 0.6,
    "figure.constrained_layout.use": True,
    # A label from a log is a label, not a formula.
    "text.parse_math": False,
    # Text stays text, and the names inside do not change from run to run.
    "svg.fonttype": "none",
    "svg.hashsalt": "putlab",
}


@dataclass(frozen=True)
class Chart:
    """One chart.

    Attributes
    ----------
    name : str
        Short name, unlike any other of a report.
    title : str
        What it is about, in a few words.
    alt : str
        What it shows, in words: computed, not described beforehand.
    reading : str
        How to read it.
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
    def heading(self):
        """The title with a full stop, unless it is a question."""
        return self.title if self.title.endswith("?") else f"{self.title}."

    def svg(self):
        """Return the picture as SVG text, the same bytes each time."""
        return self._written("svg", metadata={"Date": None, "Creator": None}).decode("utf-8")

    def png(self, dpi=100):
        """Return the picture as PNG bytes.

        Parameters
        ----------
        dpi : int
            Dots per inch; the default keeps a notebook small.

        Returns
        -------
        bytes
            A PNG file.
        """
        return self._written("png", dpi=dpi, metadata={"Software": None})

    def _written(self, kind, **options):
        with _quiet(), matplotlib.rc_context(STYLE), io.BytesIO() as stream:
            self.figure.savefig(stream, format=kind, **options)
            return stream.getvalue()

    def source(self):
        """Return the picture as the source of an image, with nothing to fetch."""
        return "data:image/svg+xml;base64," + base64.b64encode(self.svg().encode()).decode()

    def _repr_mimebundle_(self, **kwargs):
        said = f"{self.heading} {self.alt}"
        metadata = {"image/png": {"alt": said}}
        return {"image/png": self.png(), "text/plain": said}, metadata


@contextlib.contextmanager
def _quiet():
    """Say nothing of glyphs missing from the bundled font: in SVG the reader's fonts serve."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        yield


@contextlib.contextmanager
def drawing(height_in, rows=1, columns=1, **options):
    """Make a figure in the kit's style.

    Parameters
    ----------
    height_in : float
        Height in inches; all charts are equally wide.
    rows, columns : int
        Panels.
    **options
        Passed to `matplotlib.figure.Figure.subplots`.

    Yields
    ------
    tuple
        The figure, and its axes as an array of shape (rows, columns).
    """
    with _quiet(), matplotlib.rc_context(STYLE):
        figure = Figure(figsize=(WIDTH_IN, height_in))
        axes = figure.subplots(rows, columns, squeeze=False, **options)
        yield figure, axes
        # Settle the layout now, so that the picture does not depend on how it is written; a
        # second pass sees the panels at the size that an equal scale leaves them.
        figure.draw_without_rendering()
        if any(axis.get_aspect() != "auto" for axis in axes.flat):
            figure.draw_without_rendering()
        figure.set_layout_engine("none")


# A label longer than this would push the panels aside.
LONGEST_LABEL = 34


def label_of(text):
    """Return a label of the log as a legend can show it.

    Parameters
    ----------
    text : str
        Label.

    Returns
    -------
    str
        Shortened where it is long; matplotlib hides labels that start with an underscore.
    """
    short = text if len(text) <= LONGEST_LABEL else text[: LONGEST_LABEL - 1] + "…"
    return " " + short if short.startswith("_") else short


# On a log scale more marks than so many would overprint one another, fewer where one is long
# (such as 46.2); side by side, more than so many would.
MOST_ON_LOG, MOST_LONG_ON_LOG, MOST_MARKS = 8, 6, 10


def length_axis(axis, distance_ft):
    """Mark the lengths under a panel on which they stand side by side, evenly.

    Parameters
    ----------
    axis : matplotlib.axes.Axes
        The panel.
    distance_ft : array_like
        Lengths in feet, the first at place 0.
    """
    every = -(-len(distance_ft) // MOST_MARKS)
    shown = list(enumerate(distance_ft))[::every]
    axis.set_xticks([place for place, _ in shown], [f"{value:g}" for _, value in shown])
    axis.grid(False, axis="x")


def distance_axis(axis, distance_ft):
    """Put a log scale of distances under a panel, marked at the lengths practised.

    Parameters
    ----------
    axis : matplotlib.axes.Axes
        The panel.
    distance_ft : array_like
        Lengths in feet, rising.
    """
    distance_ft = [float(value) for value in distance_ft]
    axis.set_xscale("log")
    shown = _apart(distance_ft)
    axis.set_xticks(shown, [f"{value:g}" for value in shown])
    axis.minorticks_off()
    axis.set_xlim(distance_ft[0] / 1.25, distance_ft[-1] * 1.25)


def _apart(distance_ft):
    """Return the lengths to mark on a log scale: all, or those that leave each other room."""
    long = any(len(f"{value:g}") > 2 for value in distance_ft)
    most = MOST_LONG_ON_LOG if long else MOST_ON_LOG
    closest = (distance_ft[-1] / distance_ft[0]) ** (1 / (most - 1))
    shown = distance_ft[:1]
    for value in distance_ft:
        if value >= closest * shown[-1] * (1 - 1e-9) and value > shown[-1]:
            shown.append(value)
    return shown


def interval_marks(axis, x, table, name, **options):
    """Draw means with their intervals.

    Parameters
    ----------
    axis : matplotlib.axes.Axes
        The panel.
    x : array_like
        Places on the horizontal axis.
    table : pandas.DataFrame
        With columns ``name``, ``name_lo`` and ``name_hi``.
    name : str
        Quantity to draw.
    **options
        Passed to `matplotlib.axes.Axes.errorbar`.
    """
    mean, low, high = (table[name + end].to_numpy(float) for end in ("", "_lo", "_hi"))
    axis.errorbar(x, mean, [mean - low, high - mean], **{"elinewidth": 1.2} | options)


def legend_below(figure, axis, columns=3):
    """Put one legend for all panels under them.

    Parameters
    ----------
    figure : matplotlib.figure.Figure
        The figure.
    axis : matplotlib.axes.Axes
        Panel whose marks the legend shows.
    columns : int
        Entries side by side.
    """
    handles, labels = axis.get_legend_handles_labels()
    figure.legend(
        handles, labels, loc="outside lower center", ncols=columns, columnspacing=1.2,
        handlelength=1.6, handletextpad=0.5,
    )  # fmt: skip
