"""Hole-out kept on disk, for what is asked of the same golfer again and again."""

import inspect
from types import SimpleNamespace

from putlab import holeout
from putlab.cache import content_key, kept_or_made
from putlab.fitting import versions
from putlab.flat_green import fan, flat, leaves, near_hole, strike

STROKES = ("one_putt", "three_putt", "average_putts")

# A change of their text makes what was kept another thing.
CODE = (holeout, fan, flat, leaves, near_hole, strike)


def kept_putts(skill, distance_ft, *, stimp_ft, past_ft):
    """Return the putts to hole out on a flat green, from disk where they are known.

    Parameters
    ----------
    skill : putlab.skill.Skill
        Posterior draws of spread and bias.
    distance_ft : array_like, shape (distances,)
        Lengths of the first putt in feet.
    stimp_ft, past_ft : float
        Green speed, and how far past the hole the golfer aims.

    Returns
    -------
    types.SimpleNamespace
        `STROKES` of `putlab.holeout.HoleOut`, each of shape (draws, distances).
    """
    options = {"stimp_ft": stimp_ft, "past_ft": past_ft}
    code = [inspect.getsource(module) for module in CODE]
    key = content_key("putts", vars(skill), distance_ft, options, code, versions())

    def solved():
        putts = holeout.hole_out(skill, distance_ft, **options)
        return {name: getattr(putts, name) for name in STROKES}

    return SimpleNamespace(**kept_or_made(key, solved))
