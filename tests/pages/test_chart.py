"""The look of charts: told apart without colour, labels safe and never overprinted."""

import numpy as np
import pytest

from putlab.pages import chart as look


def luminance(colour):
    """Return relative luminance (W3C, Web Content Accessibility Guidelines 2.2)."""
    shares = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    linear = np.where(shares <= 0.04045, shares / 12.92, ((shares + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


@pytest.mark.parametrize("colour", [look.BLUE, look.VERMILION, look.GREY, look.INK])
def test_marks_stand_out_from_white(colour):
    # WCAG 2.2, 1.4.11: graphical objects have a contrast of at least 3 to 1.
    assert 1.05 / (luminance(colour) + 0.05) >= 3


def test_line_and_pace_differ_in_more_than_colour():
    assert look.LOOK["line"]["marker"] != look.LOOK["pace"]["marker"]


LENGTHS = [np.arange(3, 27), np.geomspace(3, 60, 24).round(1), [6, 6.5, 7], [10]]


@pytest.mark.parametrize("lengths", LENGTHS)
def test_labels_on_a_log_scale_never_overprint(lengths):
    with look.drawing(2.0, columns=2) as (figure, axes):
        look.distance_axis(axes[0], lengths)
    figure.draw_without_rendering()
    labels = axes[0].get_xticklabels()
    boxes = [label.get_window_extent() for label in labels]
    assert labels[0].get_text() == f"{lengths[0]:g}"
    assert all(a.x1 < b.x0 for a, b in zip(boxes, boxes[1:], strict=False))
