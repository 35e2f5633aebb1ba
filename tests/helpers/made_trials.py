"""Trials made in memory from known truth, for tests of the comparison."""

from dataclasses import replace

import numpy as np
from made_logs import log_of
from simulate import rounded, simulate_errors
from true_golfers import steady

from putlab.trial.design import design_trial


def trial_log(*, effect=0.0, trend=0.0, in_turn=False, pace=False, sessions=9, each=9, seed=1):
    """Return a trial of A and B at three lengths: 1.0 degrees in steps of a fifth."""
    design = replace(design_trial([5, 10, 20], 20, sessions=sessions), putts_each=each)
    plan = design.schedule(player="one", seed=seed)
    if in_turn:
        visits = plan["session"].unique()
        late = plan["session"].isin(visits[len(visits) // 2 :])
        plan["condition"] = np.where(late, "B", "A")
    rng = np.random.default_rng(seed)
    how = {"players": 1, "lengths": 3, "trend": trend, "visit_bias_sd": 0.2, "visit_form_sd": 0.05}
    at = {"players": ["one"], "lengths_ft": [5, 10, 20]}
    line = steady(0.0, 0.1, effect={("one", "B"): effect}, **how)
    plan["line_deg"] = rounded(simulate_errors(plan, line, rng, **at), 0.2)
    if pace:
        error = simulate_errors(plan, steady(np.log(8.0), **how), rng, **at)
        plan["roll_ft"] = rounded(plan["distance_ft"] * (1 + error / 100), 0.1)
    return log_of(plan, line_step_deg=0.2)
