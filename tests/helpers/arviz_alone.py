"""What somebody with ArviZ and a file, but without the kit, does with a posterior."""

import arviz as az
import numpy as np

GROUPS = {
    "posterior", "prior", "log_likelihood", "log_prior", "posterior_predictive",
    "prior_predictive", "observed_data", "constant_data", "sample_stats",
}  # fmt: skip


def opened(path, *, likelihoods=("line", "pace")):
    """Open a file and make every call; a warning is an error here. Return the tree."""
    tree = az.from_netcdf(path)
    assert set(tree.children) == GROUPS
    table = az.summary(tree, var_names=["line_base", "pace_base"])
    assert len(table) == 2 * tree["posterior"].sizes["player"]
    for name in likelihoods:
        loo = az.loo(tree, var_name=name)
        # What is predicted without a reading is less likely than what was fitted to it.
        whole = tree["log_likelihood"][name].mean(("chain", "draw")).sum().item()
        assert np.isfinite(loo.elpd)
        assert loo.elpd < whole
    sensitivity = az.psense_summary(tree, var_names=["line_base", "line_trend"])
    assert np.isfinite(sensitivity[["prior", "likelihood"]].astype(float)).all(axis=None)
    assert az.bfmi(tree)["energy"].min() > 0.3
    az.plot_energy(tree)
    # Readings, and shares holed, a picture each.
    pictures = [["line", "pace"], ["holed"]] if "green" in likelihoods else [["line", "pace"]]
    for names in pictures:
        az.plot_ppc_dist(tree, var_names=names, num_samples=20)
    az.plot_prior_posterior(tree, var_names=["line_base", "pace_base"])
    az.plot_trace_dist(tree, var_names=["line_base"])
    az.plot_rank(tree, var_names=["line_level"])
    az.plot_forest(tree, var_names=["line_level"], combined=True)
    return tree
