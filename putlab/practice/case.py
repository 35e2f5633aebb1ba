"""The round and the green for which strokes are counted, and one golfer's case there."""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd

from putlab.base.cache import load_arrays, result_key, save_arrays
from putlab.base.errors import FitError
from putlab.base.settings import PAST_FT, SEED, STIMP_FT
from putlab.green.hole_out import thinned
from putlab.green.skill import Skill
from putlab.model.priors import SpreadPriors
from putlab.posterior.green import green_setting
from putlab.practice.learning import Learning
from putlab.practice.stakes import COMPONENTS, Stakes, make_stakes

# Where a golfer stands before a decision: skill, putts struck, and the trend so far.


@dataclass(frozen=True)
class Standing:
    """What a decision needs to know of a golfer, from a full fit or any other.

    Attributes
    ----------
    player : str
        Label.
    skill : putlab.green.skill.Skill
        Posterior draws on a new day, without the reading of a green.
    practised : pandas.DataFrame
        ``distance_ft, putts``: lengths practised, rising, and putts struck at each.
    trend : dict of str to ndarray, shape (draws,)
        By component: change of log spread per unit of log(1 + putts / 100), posterior draws.
    trend_prior_sd : dict of str to float
        Sd of the prior, centred on nought, of those draws.
    """

    player: str
    skill: Skill
    practised: pd.DataFrame
    trend: dict
    trend_prior_sd: dict

    @property
    def lengths_ft(self):
        """Lengths practised, shape (lengths,)."""
        return self.practised["distance_ft"].to_numpy(float)


def standing(golfer):
    """Return where a fitted golfer stands.

    Parameters
    ----------
    golfer : putlab.posterior.player.Golfer
        One player's posterior.

    Returns
    -------
    Standing
        From the full fit.

    Raises
    ------
    FitError
        The player struck no putt that tells about practice.
    """
    from putlab.rounds.estimate import strokes_skill

    if golfer.practised.empty:
        raise FitError(
            f"{golfer.player} has only follow-up putts in the log, so nothing can be said of "
            "what to practise; add practice putts or the first putts of a game."
        )

    row = SpreadPriors.names().index("trend_sd")
    designs = golfer.fit.designs
    return Standing(
        player=golfer.player,
        skill=strokes_skill(golfer),
        practised=golfer.practised[["distance_ft", "putts"]],
        trend={name: golfer.draws(name, "trend") for name in COMPONENTS},
        trend_prior_sd={name: float(designs[name].data["priors"][row]) for name in COMPONENTS},
    )


# How far spread narrows at every distance: draws of what practice does for one golfer.


def hats(lengths_ft, nodes_ft):
    """Return the share of each node that belongs to each length, adding up to 1.

    Parameters
    ----------
    lengths_ft, nodes_ft : ndarray, shapes (lengths,) and (n,)
        Lengths and nodes in feet.

    Returns
    -------
    ndarray, shape (lengths, n)
        Straight in log distance between lengths; beyond them all goes to the last.
    """
    known, wanted = np.log(lengths_ft), np.log(nodes_ft)
    return np.stack([np.interp(wanted, known, row) for row in np.eye(known.size)])


@dataclass(frozen=True)
class Narrowing:
    """What practice does for one golfer, draw by draw.

    Attributes
    ----------
    who : putlab.practice.case.Standing
        The golfer.
    learning : putlab.practice.learning.Learning
        What practice does.
    nodes_ft : ndarray, shape (n,)
        Distances.
    rates : dict of str to ndarray, shape (draws,)
        By component: fall of log spread per unit of log experience.
    yields : dict of str to ndarray, shape (draws, lengths)
        By component: what a putt of practice is worth at each length practised so far.
    bias_putts : dict of str to ndarray, shape (draws,)
        By component: putts that halve a bias.
    carry_range : ndarray, shape (draws,)
        Log distance over which carry-over falls to 1/e.
    """

    who: Standing
    learning: Learning
    nodes_ft: np.ndarray
    rates: dict
    yields: dict
    bias_putts: dict
    carry_range: np.ndarray

    def rolled(self, by):
        """Return the draws paired with other draws of the skill.

        Parameters
        ----------
        by : int
            How many draws further.

        Returns
        -------
        Narrowing
            The same draws in another order.
        """
        tables = {
            name: {c: np.roll(values, by, axis=0) for c, values in getattr(self, name).items()}
            for name in ("rates", "yields", "bias_putts")
        }
        return replace(self, **tables, carry_range=np.roll(self.carry_range, by))

    @cached_property
    def experience(self):
        """Putts that count at every node so far, shape (draws, n)."""
        practised = self.who.practised
        return self.counting(practised["distance_ft"], practised["putts"])

    def counting(self, distance_ft, putts):
        """Return the putts that count at every node.

        Parameters
        ----------
        distance_ft : array_like, shape (m,)
            Lengths practised.
        putts : array_like, shape (m,) or (draws, m)
            Putts at each.

        Returns
        -------
        ndarray, shape (draws, n)
            Those struck there, and a share of those struck elsewhere.
        """
        share = self.learning.carry(distance_ft, self.nodes_ft, self.carry_range)
        return (np.asarray(putts, dtype=float)[..., None, :] @ share)[..., 0, :]

    def changes(self, distance_ft, putts):
        """Return the factors on spread and bias that putts at some lengths bring.

        Parameters
        ----------
        distance_ft : array_like, shape (m,)
            Lengths practised.
        putts : dict of str to array_like, shape (m,)
            By component: putts struck for it at each length.

        Returns
        -------
        dict of str to tuple of ndarray, shape (draws, n)
            By component: factor on spread, factor on bias.
        """
        putts = {name: np.asarray(values, dtype=float) for name, values in putts.items()}
        found = {}
        for name in COMPONENTS:
            other = COMPONENTS[1 - COMPONENTS.index(name)]
            struck = putts[name] + self.learning.other_share * putts[other]
            taught = struck * (self.yields[name] @ hats(self.who.lengths_ft, distance_ft))
            counting = self.counting(distance_ft, taught)
            growth = self.learning.growth(self.experience, counting)
            left = 0.5 ** (counting / self.bias_putts[name][:, None])
            found[name] = np.exp(-self.rates[name][:, None] * growth), left
        return found


def draw_narrowing(who, learning, nodes_ft, rows, rng):
    """Draw what practice does for one golfer.

    Parameters
    ----------
    who : putlab.practice.case.Standing
        The golfer.
    learning : putlab.practice.learning.Learning
        What practice does.
    nodes_ft : ndarray, shape (n,)
        Distances in feet.
    rows : ndarray, shape (draws,)
        Draws of the golfer's trend to use.
    rng : numpy.random.Generator
        Draws what differs between lengths, and the carry-over.

    Returns
    -------
    Narrowing
        As many draws as rows.
    """

    def lognormal(median, log_sd, *size):
        return median * np.exp(log_sd * rng.standard_normal((rows.size, *size)))

    own = {name: learning.rates(who.trend[name], who.trend_prior_sd[name]) for name in COMPONENTS}
    lengths = who.lengths_ft.size
    return Narrowing(
        who=who,
        learning=learning,
        nodes_ft=nodes_ft,
        rates={name: rates[rows] for name, rates in own.items()},
        yields={c: lognormal(1.0, learning.yield_log_sd, lengths) for c in COMPONENTS},
        bias_putts={c: lognormal(learning.bias_putts, learning.bias_log_sd) for c in own},
        carry_range=lognormal(learning.carry_range, learning.carry_log_sd),
    )


# The round and the green for which strokes are counted.

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
    mix : putlab.rounds.first_putts.RoundMix
        First putts of a round.
    green : tuple of float
        Spread that a real green adds: line in degrees, pace in percent.
    green_source : str
        Where that comes from.
    reference : putlab.green.skill.Skill
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
    reference : putlab.rounds.reference.Reference or putlab.green.skill.Skill, optional
        Average putts of who the golfer is compared with, or spreads on a green of one draw;
        default: the golfer fitted to the tour's published record.
    mix : putlab.rounds.first_putts.RoundMix, optional
        First putts of a round; default: the shipped mix of `putlab.rounds.first_putts.LEVEL`.
    stimp_ft, past_ft : float
        Green speed, and how far past the hole the golfer aims.
    green : tuple of float, optional
        Spread added by a real green, line in degrees and pace in percent; default:
        `putlab.green.published.green_spread`.
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
    from putlab.green import published
    from putlab.rounds import first_putts as rounds
    from putlab.rounds.reference import reference_skill

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
    skill : putlab.green.skill.Skill
        The golfer's own.
    setting : Setting
        Round and green.
    draws : int
        Draws of the skill to use, evenly taken.
    cache : bool
        Look on disk first, and keep the result there.

    Returns
    -------
    putlab.practice.stakes.Stakes
        For those draws.
    """
    skill = thinned(skill, draws)
    arrays = [vars(part) for part in (skill, setting.reference)]
    rest = (setting.mix.distance_ft, setting.mix.first_putts, setting.green)
    numbers = (setting.stimp_ft, setting.past_ft, setting.mix_log_sd)
    key = result_key("practice", "stakes", arrays, rest, numbers)
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
    who : putlab.practice.case.Standing
        The golfer.
    learning : putlab.practice.learning.Learning
        What practice does.
    setting : Setting
        Round and green.
    stakes : putlab.practice.stakes.Stakes
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
        return [draw_narrowing(self.who, self.learning, nodes, rows, rng) for _ in range(REPEATS)]


def make_case(golfer, *, learning=None, seed=SEED, draws=DRAWS, cache=True, **setting):
    """Return one golfer's case.

    Parameters
    ----------
    golfer : putlab.posterior.player.Golfer or putlab.practice.case.Standing
        One player's posterior.
    learning : putlab.practice.learning.Learning, optional
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
