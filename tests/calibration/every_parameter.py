"""Is every parameter of the spread model right on average?

``python tests/calibration/every_parameter.py 300`` draws three players from the priors, each
with two conditions shuffled within every visit and a counted game at its end, fits line and
pace as a report does, gates and all, and keeps a row a log in
``tests/results/every_parameter_<component>.csv``; a run that is stopped goes on where it was.
Two of them may run beside each other: ``… 300 line`` and ``… 300 pace``.

Ranks of the truth are to be uniform (simulation-based calibration: S. Talts and others, arXiv
1804.06788, 2018), intervals of 90 % to hold it in 87 to 93 % of logs.
"""

import sys
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.stats import chisquare

sys.path.insert(0, str(Path(__file__).parents[1] / "helpers"))

from made_logs import log_of  # noqa: E402
from record import RESULTS, record  # noqa: E402
from simulate import rounded, simulate_errors  # noqa: E402
from true_golfers import draw_component  # noqa: E402

from putlab.base.errors import FitError  # noqa: E402
from putlab.base.settings import interval_probabilities  # noqa: E402
from putlab.model.design import make_design, session_table  # noqa: E402
from putlab.model.priors import PRIORS  # noqa: E402
from putlab.model.readings import COMPONENTS, intervals, lengths_ft  # noqa: E402
from putlab.posterior.sampling import fit_design  # noqa: E402

PLAYERS = ["player 1", "player 2", "player 3"]
KINDS = ["distance_ft", "condition"]
LENGTHS_FT, CONDITIONS = [4.0, 9.0, 18.0, 30.0], ["A", "B"]
VISITS, EACH, GAME_HOLES = 8, 3, 9
BINS, KEPT_DRAWS = 10, 199


def schedule_of(rng):
    """Return visits of shuffled lengths and conditions, then nine putts that count."""
    blocks = []
    for visit in range(VISITS):
        for player in PLAYERS:
            kinds = pd.MultiIndex.from_product([LENGTHS_FT, CONDITIONS], names=KINDS).to_frame()
            practice = pd.concat([kinds] * EACH).sample(frac=1, random_state=rng)
            game = kinds.sample(GAME_HOLES, replace=True, random_state=rng).assign(drill="counted")
            both = pd.concat([practice.assign(drill="both"), game])
            blocks.append(both.assign(player=player, session=f"visit {visit:02d}"))
    return pd.concat(blocks, ignore_index=True)


def draw_log(component, seed):
    """Return a log whose one component was drawn from the priors, and the truth by name."""
    rng = np.random.default_rng([seed, COMPONENTS.index(component)])
    plan = schedule_of(rng)
    held = [(player, condition) for player in PLAYERS for condition in CONDITIONS]
    truth, population = draw_component(
        PRIORS[component], rng, players=len(PLAYERS), lengths_ft=LENGTHS_FT, conditions=held
    )
    errors = simulate_errors(plan, truth, rng, players=PLAYERS, lengths_ft=LENGTHS_FT)
    if component == "line":
        plan["line_deg"] = rounded(errors, 0.5)
    else:
        plan["roll_ft"] = rounded((plan["distance_ft"] * (1 + errors / 100)).clip(lower=0), 0.1)
    by_condition = {
        name: np.array([getattr(truth, name)[key] for key in held])
        for name in ("effect", "effect_slope", "shift")
    }
    true = vars(truth) | population | by_condition
    # One number for all players.
    return log_of(plan, line_step_deg=0.5), true | {"visit_form_sd": truth.visit_form_sd[0]}


def one_row(component, seed):
    """Fit one log; return the share of draws below the truth of every number."""
    log, truth = draw_log(component, seed)
    where = session_table(log.putts), lengths_ft(log.putts["distance_ft"]), PLAYERS
    design = make_design(intervals(log, component), *where, PRIORS[component])
    row = {"component": component, "seed": seed}
    try:
        tree = fit_design(design, component, seed=seed, cache=False, cores=1)[component]
    except FitError:
        return row | {"refused": True}
    for name, draws in tree["posterior"].dataset.data_vars.items():
        if name not in truth:
            continue  # what a visit shares is not a parameter
        flat = draws.values.reshape(-1, *draws.shape[2:])
        keep = np.linspace(0, len(flat) - 1, KEPT_DRAWS).astype(int)
        below = np.mean(flat[keep] < truth[name], axis=0)
        row |= {f"{name} {i}": rank for i, rank in enumerate(np.ravel(below))}
    return row | {"refused": False}


def main(logs, components):
    """Add rows until there are as many as asked for, then tell what they come to."""
    for component in components:
        path = RESULTS / f"every_parameter_{component}.csv"
        done = pd.read_csv(path)["seed"].tolist() if path.exists() else []
        for seed in range(logs):
            if seed not in done:
                row = pd.DataFrame([one_row(component, seed)])
                old = [pd.read_csv(path)] if path.exists() else []
                pd.concat([*old, row]).round(4).to_csv(path, index=False)
        summarise(component, pd.read_csv(path))


def summarise(component, rows):
    """Record, for each name, uniformity of its first rank and coverage of all of them."""
    ranks = rows.drop(columns=["component", "seed", "refused"]).dropna()
    low, high = interval_probabilities()
    figures = {"logs": len(rows), "refused": int(rows["refused"].sum())}
    names = dict.fromkeys(column.split()[0] for column in ranks)
    for name in names:
        own = ranks[[column for column in ranks if column.split()[0] == name]]
        # Ranks of one log share its luck: the first alone is tested.
        counts = np.histogram(own.iloc[:, 0], np.linspace(0, 1, BINS + 1))[0]
        covered = float(((own >= low) & (own <= high)).to_numpy().mean())
        figures[name] = {"uniform_p": chisquare(counts).pvalue, "covered": covered}
        print(f"{component} {name}: {covered:.3f}, p = {figures[name]['uniform_p']:.3f}")
    record(
        f"every_parameter_{component}",
        what="Three players, two conditions, 24 practice and 9 counted putts a visit, 8 visits: "
        "chi-square p of the rank of the truth over ten bins; coverage of 90 % intervals.",
        **figures,
    )


if __name__ == "__main__":
    main(int(sys.argv[1]), sys.argv[2:] or list(COMPONENTS))
