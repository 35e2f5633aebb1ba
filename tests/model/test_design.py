"""The arrays a model reads."""

import numpy as np
import pandas as pd
import pytest
from designs import spread_design as design_of
from made_logs import simulated_log

from putlab.model.design import condition_table, length_correlation, session_table


def test_practice_is_counted_over_visits_and_centred(rng):
    visits = session_table(simulated_log(rng, sessions=3, each=2).putts)
    assert visits["putts_before"].tolist() == [0, 12, 24]
    assert np.average(visits["practised"], weights=visits["putts"]) == pytest.approx(0)
    struck = np.log1p(visits["putts_before"] / 100)
    assert np.ptp(visits["practised"] - struck) == pytest.approx(0)


def test_logs_of_like_size_share_a_padded_size(rng):
    nine, ten = (design_of(simulated_log(rng, sessions=n, each=2)) for n in (9, 10))
    assert nine.size == ten.size
    assert nine.data["visit_share"].shape == ten.data["visit_share"].shape


def test_whitening_undoes_colouring(rng):
    data = design_of(simulated_log(rng, each=1, sessions=1)).data
    assert np.allclose(data["cholesky"] @ data["cholesky_inverse"], np.eye(len(data["cholesky"])))


def test_weak_spots_fade_with_log_distance():
    x = np.log([10.0, 10.0 * np.e**0.35])
    assert length_correlation(x, x)[0, 1] == pytest.approx(np.exp(-1))


def test_conditions_matter_only_to_players_with_two(rng):
    rows = pd.DataFrame({"player": ["a", "a", "b"], "condition": ["old", "new", "old"]})
    assert condition_table(rows)["condition"].tolist() == ["new", "old"]


def test_more_putts_centre_a_parameter_more(rng):
    for name in ("centre_visit_bias", "centre_visit_form"):
        few, many = (design_of(simulated_log(rng, each=n)).data[name] for n in (1, 20))
        assert np.all(many[:10] > few[:10])
        assert np.all(many[10:] == 0)  # padding is not centred
