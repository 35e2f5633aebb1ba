"""Putts from a lie on a slope: against step-by-step simulation and an optimiser."""

import numpy as np
import pytest
from scipy.optimize import minimize
from slope_simulation import normals, roll_out, struck

from putlab.green.lies import Lies, SlopeScatter
from putlab.green.roll import best_aim
from putlab.green.skill import Skill
from putlab.green.slope import Green, aim_past

# Green speed and slope, lie, spread (line sd, line bias, pace sd, pace bias).
SETTINGS = [
    ((10, 2), (12, 90), (1.4, 0.0, 9.0, 0.0)),
    ((12, 3), (25, 150), (1.0, 0.4, 7.0, 3.0)),
    ((9, 4), (6, 20), (2.2, -0.5, 14.0, -4.0)),
    ((11, 2.5), (40, 260), (1.6, 0.0, 11.0, 0.0)),
]


def scatter(aim, spread):
    """Return the scatter of one putt, the same from any distance."""
    return SlopeScatter.of(Skill(np.array([10.0]), *spread), np.array([10.0]), *aim)


@pytest.mark.parametrize(("green", "lie", "spread"), SETTINGS)
def test_one_putt_and_leaves_against_step_by_step_simulation(green, lie, spread):
    aim = aim_past(Green(*green), lie[0], 1.0, slope_to_deg=lie[1])
    line, roll = struck(*aim, spread, normals(2**15, seed=3))
    along, right, holed = roll_out(*green, lie[1], lie[0], line, roll)
    leave = np.hypot(along - lie[0], right)
    putt = scatter(aim, spread)
    lies = Lies.on(Green(*green), lie[0], lie[1], putt)
    # 32,768 even points: error about 0.0005 for a chance.
    assert lies.holed_chance(putt).item() == pytest.approx(holed.mean(), abs=0.0015)
    left, _, chance = lies.stopping_places(putt)
    assert np.sum(chance * left) == pytest.approx(np.sum(leave[~holed]) / 2**15, abs=0.01)
    assert np.sum(chance * (left > 3)) == pytest.approx(np.mean(~holed & (leave > 3)), abs=0.02)


@pytest.mark.parametrize("slope_to_deg", [0, 60, 135, 180])
def test_best_aim_is_what_an_optimiser_finds(slope_to_deg):
    """Nelder and Mead from the choice and from beside it find nothing better by 0.0002."""
    lies = Lies.on(Green(10, 3), 10, slope_to_deg)

    def missed(aim):
        return 1 - lies.holed_chance(scatter(aim, (1.2, 0.0, 8.0, 0.0))).item()

    chosen = np.array(best_aim(lies, Skill.constant(1.2, 8.0)))
    starts = chosen * [[1, 1], [1, 1.08], [1, 0.94]] + [[0, 0], [0.6, 0], [-0.6, 0]]
    least = min(minimize(missed, start, method="Nelder-Mead").fun for start in starts)
    assert missed(chosen) < least + 2e-4
