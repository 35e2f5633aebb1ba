"""The round and the green for which strokes are counted, and one golfer's case there."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from putlab.cache import content_key, load_arrays, save_arrays
from putlab.decision.narrowing import draw_narrowing
from putlab.decision.stakes import Stakes, make_stakes
from putlab.decision.standing import Standing, standing
from putlab.holeout import thinned
from putlab.holing import green_setting
from putlab.learning import Learning
from putlab.settings import PAST_FT, SEED, STIMP_FT

# Draws of the skill whose strokes are computed, which cost time, and of what practice does for
# each of them, which cost none. Together a probability is known to within 0.03.
DRAWS, REPEATS = 200, 5

# How far a golfer's own first putts may stray, in log at each length, from a mix that is an
# assumption about golfers at large (assumption: a third either way).
MIX_LOG_SD = 0.3


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
    mix_log_sd : float
        How far the golfer's own mix may stray from the one given, in log.
    """

    mix: object
    green: tuple
    green_source: str
    reference: object
    reference_name: str
    reference_source: str
    stimp_ft: float
    past_ft: float
    mix_log_sd: float


def make_setting(
    *,
    reference=None,
    mix=None,
    stimp_ft=STIMP_FT,
    past_ft=PAST_FT,
    green=None,
    green_source="given",
    mix_log_sd=None,
):
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
    green_source : str
        Where that comes from, if it is given.
    mix_log_sd : float, optional
        How far the golfer's own mix may stray from the one given; default: `MIX_LOG_SD`
        where its source says that it is an assumption, else 0.

    Returns
    -------
    Setting
        Everything stated.
    """
    from putlab import published, rounds
    from putlab.decision.reference import reference_skill

    skill, name, source = reference_skill(reference, stimp_ft=stimp_ft, past_ft=past_ft)
    if green is None:
        green = published.green_spread()
        green_source = f"{published.KARLSEN_NILSSON}; for line the same share, assumed"
    mix = rounds.shipped_mix() if mix is None else mix
    if mix_log_sd is None:
        mix_log_sd = MIX_LOG_SD if mix.source.startswith("assumption") else 0.0
    return Setting(
        mix=mix,
        green=tuple(green),
        green_source=green_source,
        reference=skill,
        reference_name=name,
        reference_source=source,
        stimp_ft=float(stimp_ft),
        past_ft=float(past_ft),
        mix_log_sd=float(mix_log_sd),
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
    putlab.decision.stakes.Stakes
        For those draws.
    """
    skill = thinned(skill, draws)
    arrays = [vars(part) for part in (skill, setting.reference)]
    rest = (setting.mix.distance_ft, setting.mix.first_putts, setting.green)
    numbers = (setting.stimp_ft, setting.past_ft, setting.mix_log_sd)
    key = content_key("stakes 4", arrays, rest, numbers)
    kept = load_arrays(key) if cache else None
    if kept is None:
        made = make_stakes(
            skill,
            setting.mix,
            green=setting.green,
            reference=setting.reference,
            stimp_ft=setting.stimp_ft,
            past_ft=setting.past_ft,
            mix_log_sd=setting.mix_log_sd,
        )
        kept = dict(vars(made))
        if cache:
            save_arrays(key, kept)
    return Stakes(**kept)


@dataclass(frozen=True)
class Case:
    """All that a decision about one golfer's time rests on.

    Attributes
    ----------
    who : putlab.decision.standing.Standing
        The golfer.
    learning : putlab.learning.Learning
        What practice does.
    setting : Setting
        Round and green.
    stakes : putlab.decision.stakes.Stakes
        What is at stake, for draws evenly taken from the golfer's.
    seed : int
        Seed of the learning draws.
    """

    who: Standing
    learning: Learning
    setting: Setting
    stakes: Stakes
    seed: int

    @cached_property
    def practices(self):
        """What practice does: `REPEATS` lists of draws, one for every draw of the skill."""
        draws = len(self.stakes.visits)
        rows = np.linspace(0, len(self.who.trend["line"]) - 1, draws).round().astype(int)
        rng = np.random.default_rng([self.seed, 5])
        nodes = self.stakes.distance_ft
        return [
            draw_narrowing(self.who, self.learning, nodes, rows, rng) for _ in range(REPEATS)
        ]


def make_case(golfer, *, learning=None, seed=SEED, draws=DRAWS, cache=True, **setting):
    """Return one golfer's case.

    Parameters
    ----------
    golfer : putlab.golfer.Golfer or putlab.decision.standing.Standing
        One player's posterior.
    learning : putlab.learning.Learning, optional
        What practice does.
    seed : int
        Seed of the learning draws.
    draws : int
        Draws of the skill to use.
    cache : bool
        Keep what is at stake on disk.
    **setting
        See `make_setting`; unless given, the green is this golfer's own where the log told of
        it.

    Returns
    -------
    Case
        Ready for a decision.
    """
    who = golfer
    if not isinstance(golfer, Standing):
        who = standing(golfer)
        if setting.get("green") is None:
            setting |= green_setting(golfer)
    made = make_setting(**setting)
    stakes = stakes_of(who.skill, made, draws=draws, cache=cache)
    return Case(who, Learning() if learning is None else learning, made, stakes, seed)
