"""A course is followed inside its steps as the circuit does it, and stays as it is elsewhere."""

from __future__ import annotations

import math

import numpy as np
import pytest

from analytics.core.electrostatics.charging import potential
from analytics.core.electrostatics.hazard import Course
from dashboard.figures.bends import filled_in

S = 1_000_000_000
FARAD = 1e-9


def course(step_s: list[float], current_A: list[float], ohm: list[float]) -> Course:
    """Return the exact course of 1 nF through some steps."""
    time = np.concatenate(([0], np.cumsum(np.array(step_s) * S))).astype(np.int64)
    volt = potential(step_s, current_A, ohm, FARAD)
    energy = FARAD * volt**2 / 2 * 1e3
    return Course(time, volt, FARAD * volt * 1e6, energy, np.array(ohm))


def filled(step_s: list[float], current_A: list[float], ohm: list[float]) -> Course:
    return filled_in(course(step_s, current_A, ohm), FARAD, 1.0)


def at(found: Course, second: float) -> tuple[float, float]:
    """Return potential and energy at a moment of the course."""
    (place,) = np.flatnonzero(found.time == round(second * S))
    return float(found.potential_V[place]), float(found.energy_mJ[place])


def test_charging_with_a_leak_is_followed() -> None:
    # 1 uA, 1e9 ohm, 1 nF: tau 1 s, 632.12 V after it (V = I R (1 - exp(-t/RC)), closed form).
    found = filled([60.0], [1e-6], [1e9])
    volt, energy = at(found, 1.0)
    assert volt == pytest.approx(632.12, abs=0.01)
    assert energy == pytest.approx(0.5 * FARAD * volt**2 * 1e3)


def test_each_point_is_that_of_a_finer_script() -> None:
    found = filled([10.0, 5.0, 20.0], [1e-6, 0.0, 4e-7], [1e9, 1e9, 3e9])
    again = course(
        (np.diff(found.time) / S).tolist(),
        np.array([1e-6, 0.0, 4e-7])[np.searchsorted([10 * S, 15 * S], found.time[:-1], "right")],
        np.array([1e9, 1e9, 3e9])[np.searchsorted([10 * S, 15 * S], found.time[:-1], "right")],
    )
    assert found.time.size > 15
    assert found.potential_V == pytest.approx(again.potential_V, rel=1e-7)
    assert found.energy_mJ == pytest.approx(again.energy_mJ, rel=1e-7)


@pytest.mark.parametrize("ohm", [0.0, 4.0])
def test_a_bond_that_comes_back_takes_no_second(ohm: float) -> None:
    found = filled([10.0, 1.0], [1e-6, 1e-6], [math.inf, ohm])
    at_once = found.time[(found.time > 10 * S) & (found.time < 11 * S)]
    assert at_once.size
    assert at_once.max() < 10 * S + 1_000_000
    assert found.potential_V[found.time == at_once.max()] < 0.01


@pytest.mark.parametrize(
    ("current", "ohm"),
    [
        pytest.param(1e-6, math.inf, id="without a leak it is straight"),
        pytest.param(1e-6, 1e12, id="with next to none as well"),
        pytest.param(1e-9, 4.0, id="next to nothing needs no points"),
        pytest.param(0.0, 1e9, id="nothing at all"),
    ],
)
def test_nothing_is_added_where_nothing_bends(current: float, ohm: float) -> None:
    exact = course([1.0, 1.0], [current] * 2, [ohm] * 2)
    assert filled_in(exact, FARAD, 1.0) is exact


def test_times_still_rise() -> None:
    found = filled([1e-9, 1e-9, 5.0, 1e-3], [1e-3, 1e-3, 1e-6, 1e-6], [1.0, 1e3, 1e9, 0.0])
    assert (np.diff(found.time) > 0).all()
