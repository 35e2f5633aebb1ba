"""What a reading tells, against simulation and closed forms."""

import numpy as np
import pytest
from scipy.stats import norm

from putlab.model.spread import MISHIT_TIMES
from putlab.practice.targets import reading_share


def test_an_exact_reading_tells_everything():
    assert reading_share(0.7) == pytest.approx(1, abs=1e-3)


def test_sensor_noise_takes_its_share_of_the_variance_squared():
    # d log(total sd) / d log(sd) = sd² / total², and the information is its square.
    assert reading_share(1.0, noise=0.5) == pytest.approx((1 / 1.25) ** 2, abs=1e-3)


def test_only_sd_against_step_matters():
    assert reading_share(0.5, step=0.5) == pytest.approx(reading_share(1, step=1), rel=1e-9)


@pytest.mark.parametrize(("step", "share"), [(1.0, 0.0), (0.5, 0.03), (2.0, 0.05)])
def test_information_is_the_mean_square_of_the_score_of_simulated_readings(step, share):
    rng = np.random.default_rng(4)
    place = rng.uniform(-step / 2, step / 2, 400_000)
    wild = rng.random(place.size) < share
    value = place + rng.standard_normal(place.size) * np.where(wild, MISHIT_TIMES, 1)
    middle = np.round(value / step) * step

    def logp(log_sd):
        ends = ((middle + side * step / 2 - place) / np.exp(log_sd) for side in (1, -1))
        high, low = ends
        parts = [(1 - share, 1), (share, MISHIT_TIMES)]
        return np.log(sum(w * (norm.cdf(high / k) - norm.cdf(low / k)) for w, k in parts))

    score = (logp(1e-4) - logp(-1e-4)) / 2e-4
    expected = np.mean(score**2) / 2
    assert reading_share(1.0, step=step, mishit_share=share) == pytest.approx(expected, rel=0.02)
