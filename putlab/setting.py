"""The round and the green for which strokes are counted, and what is at stake there."""

from dataclasses import dataclass

from putlab.cache import content_key, load_arrays, save_arrays
from putlab.holeout import thinned
from putlab.settings import PAST_FT, STIMP_FT
from putlab.stakes import Stakes, make_stakes

# Draws of the skill whose strokes are computed: they cost time.
DRAWS = 200


@dataclass(frozen=True)
class Setting:
    """The round and the green for which strokes are counted.

    Attributes
    ----------
    mix : putlab.rounds.RoundMix
        First putts of a round.
    green : tuple of float
        Spread that a real green adds: line in degrees, pace in percent.
    green_source : str
        Where that comes from.
    reference : putlab.skill.Skill
        One draw, on a green with its reading.
    reference_name, reference_source : str
        Who the reference is, and where it comes from.
    stimp_ft, past_ft : float
        Green speed, and how far past the hole the golfer aims.
    """

    mix: object
    green: tuple
    green_source: str
    reference: object
    reference_name: str
    reference_source: str
    stimp_ft: float
    past_ft: float


def make_setting(*, reference=None, mix=None, stimp_ft=STIMP_FT, past_ft=PAST_FT, green=None):
    """Return the round and green, published or assumed where nothing is given.

    Parameters
    ----------
    reference : putlab.strokes.Reference or putlab.skill.Skill, optional
        Average putts of who the golfer is compared with, or spreads on a green of one draw;
        default: the golfer fitted to the tour's published record.
    mix : putlab.rounds.RoundMix, optional
        First putts of a round; default: the shipped mix of `putlab.rounds.LEVEL`.
    stimp_ft, past_ft : float
        Green speed, and how far past the hole the golfer aims.
    green : tuple of float, optional
        Spread added by a real green, line in degrees and pace in percent; default:
        `putlab.published.green_spread`.

    Returns
    -------
    Setting
        Everything stated.
    """
    from putlab import published, rounds
    from putlab.reference import reference_skill

    skill, name, source = reference_skill(reference, stimp_ft=stimp_ft, past_ft=past_ft)
    source_of_green = "given"
    if green is None:
        green = published.green_spread()
        source_of_green = f"{published.KARLSEN_NILSSON}; for line the same share, assumed"
    mix = rounds.shipped_mix() if mix is None else mix
    return Setting(
        mix, tuple(green), source_of_green, skill, name, source, float(stimp_ft), float(past_ft)
    )


def stakes_of(skill, setting, *, draws=DRAWS, cache=True):
    """Return what is at stake for a skill in a setting, kept on disk.

    Parameters
    ----------
    skill : putlab.skill.Skill
        The golfer's own.
    setting : Setting
        Round and green.
    draws : int
        Draws of the skill to use, evenly taken.
    cache : bool
        Look on disk first, and keep the result there.

    Returns
    -------
    putlab.stakes.Stakes
        For those draws.
    """
    skill = thinned(skill, draws)
    arrays = [vars(part) for part in (skill, setting.reference)]
    rest = (setting.mix.distance_ft, setting.mix.first_putts, setting.green)
    key = content_key("stakes 2", arrays, rest, setting.stimp_ft, setting.past_ft)
    kept = load_arrays(key) if cache else None
    if kept is None:
        made = make_stakes(
            skill,
            setting.mix,
            green=setting.green,
            reference=setting.reference,
            stimp_ft=setting.stimp_ft,
            past_ft=setting.past_ft,
        )
        kept = dict(vars(made))
        if cache:
            save_arrays(key, kept)
    return Stakes(**kept)
