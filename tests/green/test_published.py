"""The kit against the published record; each figure beside its source."""

import numpy as np
import pytest
import statsmodels.api as sm
from scipy.optimize import minimize, minimize_scalar
from scipy.stats import binom, norm

from putlab.green.hole_out import hole_out
from putlab.green.published import (
    HOLE_RADIUS_FT,
    PACE_SD_DIFFERENT_PUTTS_PCT,
    PACE_SD_ONE_PUTT_REPEATED_PCT,
    PACE_SD_SURFACE_PCT,
    SOURCES,
    TOUR_LINE_SD_DEG,
    TOUR_PACE_SD_PCT,
    VARIANCE_SHARE,
    green_spread,
    table,
)
from putlab.green.skill import Skill
from putlab.model.priors import green_priors
from putlab.rounds.reference import reference_golfer, tour_golfer

BALL_RADIUS_FT = 1.68 / 24  # least ball diameter 1.68 in (Equipment Rules, R&A and USGA)


def angle_chance(distance_ft, sigma_rad):
    """Chance that the whole ball stays inside the hole's width (Gelman and Nolan 2002)."""
    room = np.arcsin((HOLE_RADIUS_FT - BALL_RADIUS_FT) / distance_ft)
    return 2 * norm.cdf(room / sigma_rad) - 1


@pytest.mark.parametrize("name", SOURCES)
def test_every_table_is_there_with_its_source(name):
    found = table(name)
    assert found.frame.iloc[:, 0].is_monotonic_increasing
    assert found.frame.notna().all(axis=None)
    assert len(found.source) > 20


def test_direction_only_model_of_the_berry_data():
    """Gelman and Nolan (2002), Gelman (2019): sigma = 1.53 degrees, 0.0266 rad."""
    berry = table("putts_made_berry_1995").frame

    def minus_log_likelihood(sigma):
        chance = angle_chance(berry["distance_ft"], sigma)
        return -binom.logpmf(berry["made"], berry["tries"], chance).sum()

    sigma = minimize_scalar(minus_log_likelihood, bounds=(0.005, 0.1), method="bounded").x
    assert np.degrees(sigma) == pytest.approx(1.53, abs=0.005)
    assert sigma == pytest.approx(0.0266, abs=0.0001)


def test_logistic_fit_of_the_berry_data():
    """Gelman (2019): a = 2.23 (se 0.06), b = -0.26 (se 0.01) per ft."""
    berry = table("putts_made_berry_1995").frame
    counts = np.column_stack([berry["made"], berry["tries"] - berry["made"]])
    fit = sm.GLM(counts, sm.add_constant(berry[["distance_ft"]]), sm.families.Binomial()).fit()
    assert fit.params.to_numpy() == pytest.approx([2.23, -0.26], abs=0.005)
    assert fit.bse.to_numpy() == pytest.approx([0.06, 0.01], abs=0.005)


def test_direction_and_distance_model_of_the_broadie_data():
    """Gelman (2019): 1.02 degrees, 0.080, extra error of proportions 0.003."""
    broadie = table("putts_made_broadie_2018").frame
    distance, tries = broadie["distance_ft"], broadie["tries"]
    rate = broadie["made"] / tries

    def minus_log_likelihood(log_parameters):
        line, pace, extra = np.exp(log_parameters)
        # Aim 1 ft past; holed if it would roll 0 to 3 ft past.
        spread = (distance + 1) * pace
        chance = angle_chance(distance, line) * (norm.cdf(2 / spread) - norm.cdf(-1 / spread))
        variance = chance * (1 - chance) / tries + extra**2
        return -norm.logpdf(rate, chance, np.sqrt(variance)).sum()

    start = np.log([0.02, 0.1, 0.01])
    fit = minimize(minus_log_likelihood, start, method="Nelder-Mead", options={"maxiter": 4000})
    line, pace, extra = np.exp(fit.x)
    assert np.degrees(line) == pytest.approx(1.02, abs=0.01)
    assert pace == pytest.approx(0.080, abs=0.001)
    assert extra == pytest.approx(0.003, abs=0.0005)


def test_one_golfer_putts_as_the_tour_does():
    """Within 0.02 of the published average putts from 3 to 50 ft; seen: 0.009."""
    golfer = tour_golfer()
    distance_ft = np.arange(3.0, 51)
    average = hole_out(golfer.skill, distance_ft, stimp_ft=golfer.stimp_ft).average_putts[0]
    published = table("tour_average_putts").frame.set_index("distance_ft")["average_putts"]
    off = average - published.loc[3:50].to_numpy()
    assert np.abs(off).max() < 0.02
    assert golfer.average_putts_off.abs().max() == pytest.approx(np.abs(off).max(), abs=1e-4)
    assert golfer.one_putt_off.abs().max() < 0.02


def test_tour_golfer_one_putt_rates_against_another_table():
    """Broadie (2014), whole percent, not fitted to: within 3 points.

    The worst is 4 ft, 2.9 points low: one spread for all distances misses the 2018 record
    there as well (by 1.8), as real golfers are a little steadier on short putts.
    """
    golfer = tour_golfer()
    rates = table("one_putt_rates_broadie_2014").frame.query("3 <= distance_ft <= 50")
    one_putt = hole_out(golfer.skill, rates["distance_ft"], stimp_ft=golfer.stimp_ft).one_putt
    assert 100 * one_putt[0] == pytest.approx(rates["tour_one_putt_pct"].to_numpy(), abs=3)


def test_tour_golfer_one_putts_half_at_eight_feet_and_two_putts_at_33():
    """Broadie (2014): one half at 8 ft; PGA TOUR / Broadie (2011): 2.0 putts at 33 ft."""
    golfer = tour_golfer()
    out = hole_out(golfer.skill, [8.0, 33.0], stimp_ft=golfer.stimp_ft)
    assert out.one_putt[0, 0] == pytest.approx(0.5, abs=0.02)
    assert out.average_putts[0] == pytest.approx([1.5, 2.0], abs=0.02)


def test_tour_golfer_pace_stands_below_that_of_good_amateurs():
    """Karlsen and Nilsson (2008): 10.6 % over different putts, mean handicap 2.8."""
    ratio = tour_golfer().pace_sd_pct / PACE_SD_DIFFERENT_PUTTS_PCT
    assert 0.75 < ratio < 1.0


def test_published_split_of_variance_agrees_with_itself():
    """Technique and surface from the split against the putts repeated (same paper)."""
    assert sum(VARIANCE_SHARE.values()) == pytest.approx(1)
    surface = np.sqrt(VARIANCE_SHARE["surface"]) * PACE_SD_DIFFERENT_PUTTS_PCT
    both = np.sqrt(1 - VARIANCE_SHARE["reading"]) * PACE_SD_DIFFERENT_PUTTS_PCT
    assert surface == pytest.approx(PACE_SD_SURFACE_PCT, abs=0.15)
    assert both == pytest.approx(PACE_SD_ONE_PUTT_REPEATED_PCT, abs=0.15)


def test_green_adds_what_technique_lacks():
    technique_deg = np.sqrt(VARIANCE_SHARE["technique"]) * tour_golfer().line_sd_deg
    on_green = Skill.constant(technique_deg, 1.0).wider(*green_spread(mixed=False))
    # The constant is written to four decimals.
    assert on_green.line_sd_deg[0, 0] == pytest.approx(TOUR_LINE_SD_DEG, abs=5e-5)
    technique_pct = np.sqrt(VARIANCE_SHARE["technique"]) * PACE_SD_DIFFERENT_PUTTS_PCT
    _, pace_sd_pct = green_spread(mixed=False)
    assert np.hypot(technique_pct, pace_sd_pct) == pytest.approx(PACE_SD_DIFFERENT_PUTTS_PCT)


def test_practice_of_mixed_lengths_leaves_less_of_pace_to_the_green():
    # By hand: half of 60 %, and 6 %, of 10.6 % squared.
    assert green_spread()[1] == pytest.approx(np.sqrt(0.36) * 10.6) == pytest.approx(6.36)
    assert green_spread()[0] == green_spread(mixed=False)[0]


def test_a_green_adds_to_line_what_causes_of_direction_errors_allow():
    """Reading the largest of three causes (Karlsen 2010), the stroke 0.39 degrees (2008)."""
    least, most = TOUR_LINE_SD_DEG / np.sqrt(3), np.sqrt(TOUR_LINE_SD_DEG**2 - 0.39**2)
    assert (least, most) == pytest.approx((0.8, 1.35), abs=0.02)
    assert least < green_spread()[0] < most
    added = np.log(1.35 / 0.8) / (2 * 1.645)
    line, pace = green_priors()[:, 1]
    assert line == pytest.approx(np.hypot(pace, added), abs=0.001)


def test_the_tours_technique_and_reading_give_back_its_pace():
    """8.9093 % in all: technique 34 % of its variance, reading and surface the rest (7.24 %)."""
    reading = reference_golfer("tour").green(mixed=False)[1]
    assert reading == pytest.approx(7.24, abs=0.005)
    assert np.hypot(np.sqrt(0.34) * 8.9093, reading) == pytest.approx(8.91, abs=0.005)


def test_the_written_down_tour_golfer_is_the_fitted_one():
    fitted = tour_golfer()
    assert fitted.line_sd_deg == pytest.approx(TOUR_LINE_SD_DEG, abs=5e-5)
    assert fitted.pace_sd_pct == pytest.approx(TOUR_PACE_SD_PCT, abs=5e-5)


def test_novices_narrow_over_fifty_putts_and_noise_taken_out_lowers_their_bias():
    """McKay and others (2021): a mean of ten carries a tenth of its variance as noise."""
    novices = table("novice_practice_mckay_2021").frame
    assert novices["putts_to"].tolist() == [10, 20, 30, 40, 50]
    assert (novices["golfers"] == 75).all()
    assert (novices["distance_sd_cm"].iloc[1:] < novices["distance_sd_cm"].iloc[0]).all()
    noise = novices["distance_bias_rms_cm"] ** 2 - novices["distance_bias_cm"] ** 2
    assert noise.to_numpy() == pytest.approx(novices["distance_sd_cm"] ** 2 / 10, rel=0.02)
