"""Several changes at once, against brute force and a scenario of nothing."""

import numpy as np
import pytest

from putlab.base.errors import UsageError
from putlab.trial.contrast import change_table, shrink

SCALE = 0.2 / np.sqrt(2)


def posterior_draws(estimates, sd, rng, size=40_000):
    """Return draws of changes from the first of several independent estimates."""
    precision = 1 / sd**2 + 1 / SCALE**2
    draws = rng.normal(estimates / sd**2 / precision, precision**-0.5, (size, len(estimates)))
    return draws[:, 1:] - draws[:, :1]


def test_shrinkage_is_the_hierarchical_models_by_brute_force(rng):
    estimates, sd = np.array([0.0, -0.25, 0.05, 0.1]), 0.08
    found = shrink(posterior_draws(estimates, sd, rng), SCALE, seed=1)
    # Truths drawn from the model, weighted by how well they give the differences seen.
    scale = np.abs(rng.normal(0, SCALE, 1_500_000))
    truth = scale[:, None] * rng.standard_normal((scale.size, 4))
    gap = (truth[:, 1:] - truth[:, :1]) - (estimates[1:] - estimates[0])
    precision = np.linalg.inv(sd**2 * (np.eye(3) + 1))
    weight = np.exp(-0.5 * np.einsum("ni,ij,nj->n", gap, precision, gap))
    mean = np.average(truth[:, 1:] - truth[:, :1], axis=0, weights=weight)
    assert found.mean(axis=0) == pytest.approx(mean, abs=0.012)


def test_the_luckiest_of_eight_equals_is_drawn_back(rng):
    estimates = rng.normal(0, 0.08, 9)
    found = shrink(posterior_draws(estimates, 0.08, rng), SCALE, seed=1)
    alone = estimates[1:] - estimates[0]
    assert np.abs(found.mean(axis=0)).max() < 0.6 * np.abs(alone).max()
    assert (found < 0).mean(axis=0).max() < 0.95


def test_changes_that_differ_widely_keep_their_distance(rng):
    estimates = np.array([0.0, -0.5, 0.4])
    found = shrink(posterior_draws(estimates, 0.04, rng), SCALE, seed=1)
    assert found.mean(axis=0) == pytest.approx(estimates[1:], abs=0.05)


@pytest.mark.slow
def test_the_demos_conditions_make_a_table(demo_fit):
    table = change_table(demo_fit, player="birch")
    assert table["condition"].tolist() == ["usual routine", "new routine"]
    assert table["p_narrowest"].sum() == pytest.approx(1)
    assert table["ratio"].iloc[0] == 1
    swapped = change_table(demo_fit, "new routine", player="birch")
    assert swapped["ratio"].iloc[1] == pytest.approx(1 / table["ratio"].iloc[1], rel=0.05)


@pytest.mark.slow
def test_what_makes_no_table_is_refused(demo_fit):
    with pytest.raises(UsageError, match="fewer than two conditions"):
        change_table(demo_fit, player="alder")
    with pytest.raises(UsageError, match="Did you mean 'new routine'"):
        change_table(demo_fit, "new routin", player="birch")
