"""What putts made and missed on a green tell of a golfer, alone or beside practice readings.

`fit_made` fits the spread model and the outcomes on a green together. Its result is a
`putlab.posterior.player.SpreadFit`, so whatever takes one takes the other, and it knows besides how
much a green adds to the golfer's spread. `green_spread` gives that for any fit: estimated
where the log has such putts, taken from the published split of variance where it has none.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import pymc as pm
import pytensor.tensor as pt
import xarray as xr
from numpy.typing import ArrayLike

from putlab.base.errors import FitError
from putlab.base.settings import PAST_FT, SEED
from putlab.green.published import KARLSEN_NILSSON
from putlab.model.design import session_table
from putlab.model.green_model import (
    GREEN_PARAMETERS,
    JOINT_PARAMETERS,
    build_model,
    green_priors,
)
from putlab.model.green_putts import component_designs, green_putts, make_green_design, told
from putlab.model.green_putts import on_green as struck_on_green
from putlab.model.hole_chance import made_chance
from putlab.model.priors import PRIORS
from putlab.model.readings import COMPONENTS, cells, first_putts, lengths_ft, practice_putts
from putlab.model.spread import build_dims, named_quantities, tree_of
from putlab.posterior.player import (
    PASSED_ON,
    SpreadFit,
    checked,
    condition_shares,
    practised_table,
    summary,
)
from putlab.posterior.sampling import convergence, kept_or_sampled, with_data_of

if TYPE_CHECKING:
    from putlab.log.read import Log
    from putlab.model.green_putts import GreenDesign
    from putlab.model.hole_chance import PhysicalHole, PlainHole
    from putlab.posterior.player import Golfer

ESTIMATED, PUBLISHED = "estimated", "published"

# With fewer misses than this that tell where they stopped, the pace prior still weighs most
# (seen in simulated logs, `tests/test_holing.py`).
FEW_LEAVES = 20


@dataclass(frozen=True)
class GreenSpread:
    """What a green adds to one golfer's spread: reading it, and its surface."""

    line_sd_deg: np.ndarray
    pace_sd_pct: np.ndarray
    source: str
    sentence: str


@dataclass(frozen=True)
class GreenFit(SpreadFit):
    """The fit of practice readings and of putts made and missed on a green.

    Attributes
    ----------
    green : xarray.DataTree
        Posterior of ``green_line_sd_deg`` and ``green_pace_sd_pct`` of each player.
    told : pandas.DataFrame
        By player: ``putts, made, misses, leaves, followed`` on a green.
    """

    green: object = None
    told: pd.DataFrame = None

    def diagnostics(self) -> Any:
        """Return the convergence checks of both components and of the green.

        Returns
        -------
        dict of str to list of putlab.posterior.checks.Verdict
            By part.
        """
        return super().diagnostics() | {"green": convergence(self.green)}

    def sentences(self, player: str) -> Any:
        """Return what a report must say of one player's putts on a green.

        Parameters
        ----------
        player : str
            Label.

        Returns
        -------
        list of str
            Where the green's spread comes from; of a player who was on one, what tells line
            from pace.
        """
        said = [green_spread(self, player).sentence]
        if self.told.loc[player, "putts"]:
            said.append(pace_sentence(self, player))
        return said


def has_green_putts(log: Log) -> Any:
    """Tell whether a log has putts made or missed on a green."""
    return bool(struck_on_green(log.putts).any())


def fit_made(
    log: Log, *, seed: int = SEED, priors: dict | None = None, cache: bool = True, **options: Any
) -> Any:
    """Fit line, pace and green spread to putts made and missed, and to any readings."""
    green = green_putts(log.putts)
    if green.empty:
        raise FitError(
            "the log has no putts made or missed in visits without a reading; for readings "
            "use `putlab.posterior.player.fit_readings`, or add visits with holed and neither line_deg "
            "nor roll_ft."
        )
    putts = practice_putts(log.putts)
    visits = session_table(log.putts)
    lengths = lengths_ft(putts["distance_ft"])
    players = list(log.putts["player"].drop_duplicates())
    readings = {name: cells(log, name) for name in COMPONENTS}
    parts = component_designs(readings, green, visits, lengths, players, priors or PRIORS)
    design = make_green_design(green, parts, green_priors())
    trees = fit_joint(design, seed=seed, cache=cache, **options)
    fit = GreenFit(
        trees={name: trees[name] for name in COMPONENTS},
        designs=parts,
        visits=visits,
        practised=practised_table(putts, lengths),
        condition_now=condition_shares(first_putts(log.putts), visits),
        putts_total=log.putts.groupby("player", sort=False).size(),
        seed=seed,
        green=trees["green"],
        told=told(green).reindex(players, fill_value=0),
    )
    return checked(log, fit)


def green_spread(fit: SpreadFit, player: str) -> Any:
    """Return what a green adds to a player's spread, and where that comes from.

    Parameters
    ----------
    fit : putlab.posterior.player.SpreadFit
        Any fit; one of `fit_made` has it estimated for players with putts on a green.
    player : str
        Label.

    Returns
    -------
    GreenSpread
        As many draws as `putlab.posterior.player.Golfer.skill` has.
    """
    draws = len(fit.golfer(player).draws("line", "base"))
    if isinstance(fit, GreenFit) and fit.told.loc[player, "putts"]:
        values: Any = [_thinned(fit.green["posterior"][name], player) for name in GREEN_PARAMETERS]
        source = ESTIMATED
    else:
        rng = np.random.default_rng([fit.seed, *player.encode()])
        median, log_sd = green_priors().T[..., None]
        values = median * np.exp(log_sd * rng.standard_normal((2, draws)))
        source = PUBLISHED
    said = _green_sentence(fit, player, source, values)
    return GreenSpread(*(value[:, None] for value in values), source, said)


def green_setting(golfer: Golfer) -> dict:
    """Return the green's spread as a decision takes it, where this golfer's was estimated."""
    found = green_spread(golfer.fit, golfer.player)
    if found.source == PUBLISHED:
        return {}
    putts = int(golfer.fit.told.loc[golfer.player, "putts"])
    return {
        "green": (float(np.median(found.line_sd_deg)), float(np.median(found.pace_sd_pct))),
        "green_source": f"{ESTIMATED} from {putts:,} putts made or missed on a green",
    }


def on_green(
    golfer: Golfer, distance_ft: ArrayLike, *, new_day: bool = True, counted: bool = False
) -> Any:
    """Return a player's skill on a real green: with its reading and its surface."""
    skill = golfer.skill(distance_ft, new_day=new_day, counted=counted)
    green = green_spread(golfer.fit, golfer.player)
    return skill.wider(green.line_sd_deg, green.pace_sd_pct)


def _thinned(values: Any, player: str) -> Any:
    """Return at most `PASSED_ON` draws, the same ones as `putlab.posterior.player.Golfer.draws`."""
    flat = values.sel(player=player).values.ravel()
    return flat[np.linspace(0, flat.size - 1, min(PASSED_ON, flat.size)).astype(int)]


def _green_sentence(fit: Any, player: str, source: Any, values: Any) -> str:
    (line, line_low, line_high), (pace, pace_low, pace_high) = map(summary, values)
    much = (
        f"{line:.1f}° in line ({line_low:.1f} to {line_high:.1f}) and {pace:.0f} % in pace "
        f"({pace_low:.0f} to {pace_high:.0f})"
    )
    if source == ESTIMATED:
        putts = int(fit.told.loc[player, "putts"])
        return (
            f"The spread that a real green adds for {player} (reading it, its surface) was "
            f"estimated from {putts:,} putts made or missed: {much}."
        )
    return (
        f"The spread that a real green adds for {player} (reading it, its surface) was taken "
        f"from the published split of variance ({KARLSEN_NILSSON}), as no visit of theirs to "
        f"one (putts made or missed, nothing read) was fitted: {much}."
    )


def pace_sentence(fit: GreenFit, player: str) -> Any:
    """Return what tells a player's line from pace."""
    row = fit.told.loc[player]
    misses, leaves, followed = (int(row[name]) for name in ("misses", "leaves", "followed"))
    read = fit.designs["pace"].rows
    if (read["player"] == player).any():
        return f"Pace of {player} was read in practice; {_known(misses, leaves, followed)}"
    if leaves + followed == 0:
        return (
            f"Made or missed alone can't tell line from pace, and no miss of {player} says how "
            "far it was left or how many putts followed: the pace spread is what was believed "
            "beforehand, hardly what these putts show. Log leave_ft after a miss."
        )
    said = f"What tells the line of {player} from pace: {_known(misses, leaves, followed)}"
    if leaves + followed < FEW_LEAVES:
        said += " They are few, and the pace spread leans on what was believed beforehand."
    return said


def _known(misses: Any, leaves: Any, followed: Any) -> Any:
    said = f"of {misses:,} misses on a green {leaves:,} say how far they were left"
    if followed:
        said += f", and {followed:,} only how many putts followed"
    return said + "."


# Sampling the joint model of readings and outcomes: compiled once, checked, kept on disk.


def compiled_for(design: GreenDesign) -> Any:
    """Return a compiled joint model holding this design's data."""
    return with_data_of(design, build_model, JOINT_PARAMETERS)


def fit_joint(design: GreenDesign, *, seed: int = SEED, cache: bool = True, **options: Any) -> Any:
    """Sample, check and keep the joint posterior."""
    return kept_or_sampled(
        design, JOINT_PARAMETERS, compiled_for, lambda arrays: trees_of(arrays, design),
        what="made-and-missed", seed=seed,
        cache=cache, **options,
    )  # fmt: skip


def trees_of(arrays: dict, design: GreenDesign) -> Any:
    """Return draws as named quantities."""
    dims = build_dims()
    named = {}
    for component, part in design.components.items():
        raw = {
            name: (("chain", "draw", *dims[name]), arrays[f"{component}_{name}"]) for name in dims
        }
        named[component] = named_quantities(xr.Dataset(raw), part)
    players = design.components["line"].players
    green = {name: (("chain", "draw", "player"), arrays[name]) for name in GREEN_PARAMETERS}
    named["green"] = xr.Dataset(green, coords={"player": players})
    return {name: tree_of(part, arrays["diverging"]) for name, part in named.items()}


# A table of putts tried and made by distance, as one golfer of steady spread.


def build_table_model(
    table: pd.DataFrame,
    hole: PhysicalHole | PlainHole,
    *,
    past_ft: float = PAST_FT,
    pace_sd_pct: float | None = None,
    extra: bool = False,
) -> Any:
    """Return the unfitted model of a table of putts made."""
    tries, made = table["tries"].to_numpy(), table["made"].to_numpy()
    with pm.Model() as model:
        line_sd_deg = pm.HalfNormal("line_sd_deg", np.degrees(1.0))
        if pace_sd_pct is None:
            pace_sd_pct = pm.HalfNormal("pace_sd_pct", 100.0)
        distance_ft = table["distance_ft"].to_numpy(float)
        chance = made_chance(distance_ft, line_sd_deg, pace_sd_pct, hole=hole, past_ft=past_ft)
        if extra:
            extra_sd = pm.HalfNormal("extra_sd", 1.0)
            spread = pt.sqrt(chance * (1 - chance) / tries + extra_sd**2)
            pm.Normal("rate", chance, spread, observed=made / tries)
        else:
            pm.Binomial("made", tries, chance, observed=made)
    return model
