"""The split of minutes, against optimality, other splits and the full draws."""

import numpy as np
import pytest
from made_golfers import made_state
from scipy.optimize import check_grad, minimize

from putlab.base.errors import UsageError
from putlab.green.skill import Skill
from putlab.practice.case import make_case
from putlab.practice.learning import Learning
from putlab.practice.saving import OPTIONS, named
from putlab.practice.split import LEAST_MINUTES, SplitProblem, split_minutes

DRILLS = 45.0
N = len(OPTIONS)
GOLFERS = {
    "weak at 6 ft": {"line_sd_deg": [1.0, 2.0, 1.0, 1.0, 1.0, 1.0]},
    "short from far": {"pace_bias_pct": [2.0, 1.0, 0.0, -2.0, -5.0, -8.0], "line_sd_deg": 0.8},
    "even": {},
}


@pytest.fixture(scope="module", params=GOLFERS)
def case(request):
    return make_case(made_state(**GOLFERS[request.param]), reference=Skill.constant(1.4, 9.0))


@pytest.fixture(scope="module")
def problem(case):
    return SplitProblem(case, [0.0])


def value(problem, minutes):
    return problem.value_and_gradient(minutes)[0]


def slsqp(target, options, budget=DRILLS):
    """Return the best value a general solver finds, scaled to suit its tolerances."""
    start = np.full(options, budget / options)
    size = abs(target(start))
    found = minimize(
        lambda x: -target(x) / size,
        start,
        method="SLSQP",
        bounds=[(0, budget)] * options,
        constraints={"type": "ineq", "fun": lambda x: (budget - x.sum()) / budget},
        options={"maxiter": 200, "ftol": 1e-9},
    )
    return target(found.x)


def test_time_goes_where_the_next_minute_saves_most(problem):
    # Kuhn and Tucker: equal marginal savings wherever there is time, no more anywhere else.
    best = problem.optimum([DRILLS], np.ones((1, N), dtype=bool))
    assert best.sum() == pytest.approx(DRILLS, rel=1e-4)
    step = 1e-3 * np.eye(N)[:, None]
    marginal = np.array([value(problem, best + s) - value(problem, best) for s in step]) / 1e-3
    practised = best[0] > 0.01
    assert marginal[practised] == pytest.approx(marginal.max(), rel=2e-3)
    assert np.all(marginal <= marginal[practised].max() * (1 + 2e-3))


def test_no_split_made_at_random_or_in_small_slices_is_better(problem, rng):
    best = value(problem, problem.optimum([DRILLS], np.ones((1, N), dtype=bool)))
    tried = [value(problem, DRILLS * rng.dirichlet(np.full(N, 0.3))[None]) for _ in range(2000)]
    sliced = np.zeros((1, N))
    for _ in range(180):
        slices = 0.25 * np.eye(N)[:, None]
        sliced = sliced + max(slices, key=lambda s: value(problem, sliced + s))
    assert max(*tried, value(problem, sliced)) <= best * (1 + 1e-5)
    assert value(problem, sliced) == pytest.approx(best, rel=0.01)


def test_the_split_is_within_a_percent_of_the_best_for_all_draws(case, problem):
    ours = problem.saved(problem.solve([DRILLS])).mean()
    general = slsqp(lambda x: problem.saved(x[None]).mean(), N)
    assert ours >= 0.99 * general


def test_the_gradient_is_that_of_finite_differences(problem):
    minutes = np.linspace(1, 8, N)

    def gradient(x):
        return problem.value_and_gradient(x[None])[1][0]

    size = np.linalg.norm(gradient(minutes))
    assert (
        check_grad(lambda x: value(problem, x[None]), gradient, minutes, epsilon=1e-4) < 1e-4 * size
    )


def test_no_option_gets_too_little_to_be_worth_the_walk(problem):
    minutes = problem.solve([DRILLS])
    assert np.all((minutes < 1e-6) | (minutes >= LEAST_MINUTES - 1e-6))


def test_a_limit_on_each_option_is_kept_and_the_time_still_filled(problem):
    minutes = problem.solve([DRILLS], 10.0)
    assert minutes.max() <= 10.0 + 1e-6
    assert minutes.sum() == pytest.approx(DRILLS, abs=0.01)
    assert value(problem, minutes) < value(problem, problem.solve([DRILLS]))


def test_the_split_beats_equal_time_and_one_choice(case):
    split = split_minutes(case, 60)
    assert split.saved.mean() > split.saved_equal
    assert split.saved.mean() >= 0.995 * split.saved_single
    assert split.table["minutes"].sum() == pytest.approx(45, abs=0.1)


# Not the golfer who is long from near and short from far: where a bias helps, as it does over a
# hole that catches long putts, to correct it costs before it pays.
@pytest.mark.parametrize("golfer", [{}, GOLFERS["weak at 6 ft"], {"pace_bias_pct": -6.0}])
def test_returns_diminish(golfer):
    case = make_case(made_state(**golfer), reference=Skill.constant(1.4, 9.0))
    problem = SplitProblem(case, [0.0])
    hours = [value(problem, problem.optimum([60.0 * h], np.ones((1, N), bool))) for h in (1, 2, 3)]
    assert hours[1] - hours[0] > hours[2] - hours[1] > 0


def test_weeks_end_ahead_of_one_week_and_fill_every_week(case):
    month = split_minutes(case, 60, weeks=4)
    week = split_minutes(case, 60, weeks=1)
    assert month.saved.mean() > week.saved.mean()
    assert month.table.groupby("week")["minutes"].sum().to_numpy() == pytest.approx(90, abs=0.5)
    assert month.sessions == 8


def test_what_fades_saves_less():
    who = made_state()
    keep, lose = (
        make_case(who, reference=Skill.constant(1.4, 9.0), learning=Learning(half_life_days=days))
        for days in (1e6, 20.0)
    )
    saved = [split_minutes(case, 60, weeks=4).saved.mean() for case in (lose, keep)]
    assert saved[0] < saved[1]


def test_too_few_minutes_are_refused(case):
    with pytest.raises(UsageError, match="allow at least 18"):
        split_minutes(case, 12)


def test_no_weeks_are_refused(case):
    with pytest.raises(UsageError, match="1 or more"):
        split_minutes(case, 60, weeks=0)


def test_time_stays_among_the_options_allowed(case):
    among = [(1, "line"), (1, "pace"), (3, "pace")]
    found = split_minutes(case, 60, among=among)
    rows = found.table[["place", "component"]].itertuples(index=False, name=None)
    assert set(rows) <= set(among)
    assert found.table["minutes"].sum() == pytest.approx(45, abs=0.1)
    assert found.saved.mean() <= split_minutes(case, 60).saved.mean() + 1e-6


def test_the_words_give_minutes_gain_and_what_else_would_gain(case):
    split = split_minutes(case, 60)
    most = split.table.sort_values("minutes").iloc[-1]
    place = named((most["place"], most["component"]))
    assert split.sentence.startswith(f"{most['minutes']:.0f} minutes to {place}")
    assert f"equal time everywhere {split.saved_equal:.2f}" in split.sentence
    assert split.sentence in split._repr_html_()


def test_the_words_for_weeks_are_about_the_first():
    case = make_case(made_state(), reference=Skill.constant(1.4, 9.0))
    assert split_minutes(case, 60, weeks=4).sentence.startswith("In the first week: ")
