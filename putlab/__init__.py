"""Putting practice study kit: what a log of putts says about line, pace and strokes."""

__version__ = "0.1.0"
