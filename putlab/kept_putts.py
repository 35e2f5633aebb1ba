"""Hole-out kept on disk, for what is asked of the same golfer again and again."""

import inspect
from types import SimpleNamespace

from putlab import holeout
from putlab.cache import content_key, load_arrays, save_arrays
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
    arrays = load_arrays(key)
    if arrays is None:
        putts = holeout.hole_out(skill, distance_ft, **options)
        arrays = {name: getattr(putts, name) for name in STROKES}
        save_arrays(key, arrays)
    return SimpleNamespace(**arrays)
