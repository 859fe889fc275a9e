"""How fast charge leaves a liquid, against published and hand-worked values."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants

from analytics.core.electrostatics.relaxation import (
    EFFECTIVE_AT_LEAST_PS_M,
    SLOWER_BEHIND_FILTER,
    VACUUM_PERMITTIVITY_F_M,
    fastest_relaxation_time,
    relaxation_time,
    remaining_fraction,
    remaining_fraction_hyperbolic,
    time_to_fraction,
)

CONDUCTIVITIES = st.floats(1e-4, 1e9)
PERMITTIVITIES = st.floats(1, 100)
TIMES = st.floats(1e-9, 1e6)


def test_permittivity_of_vacuum() -> None:
    # CODATA, by scipy.
    assert abs(VACUUM_PERMITTIVITY_F_M / constants.epsilon_0 - 1) < 1e-9


@pytest.mark.parametrize(
    ("conductivity", "permittivity", "expected", "tolerance"),
    [
        # AIChE CCPS, Process Safety Glossary, "Effective Conductivity": jet fuel of 0.01 pS/m
        # takes "about 30 min". It gives no permittivity: 2 is our assumption.
        pytest.param(0.01, 2, 1800, 60, id="jet-fuel"),
        # The rule "18 / conductivity" and 21 s for toluene are of NFPA 77, from memory.
        pytest.param(1, 2, 18, 0.5, id="rule-of-18"),
        pytest.param(1, 2.38, 21, 0.5, id="toluene-rounded"),
        # Hand-worked with epsilon_0 of scipy.
        pytest.param(1, 2, 17.708, 5e-4, id="1"),
        pytest.param(3, 2, 5.9028, 5e-5, id="naphtha-of-the-tank-fire"),
        pytest.param(50, 2, 0.35417, 5e-6, id="50"),
        pytest.param(1, 2.38, 21.073, 5e-4, id="toluene"),
        # The nozzle of Crowl and Louvar, Chemical Process Safety (inputs from memory): 1e-6 S/m.
        pytest.param(1e6, 25.7, 2.27553e-4, 5e-10, id="nozzle"),
    ],
)
def test_relaxation_time(
    conductivity: float, permittivity: float, expected: float, tolerance: float
) -> None:
    assert relaxation_time(conductivity, permittivity) == pytest.approx(expected, abs=tolerance)


@pytest.mark.parametrize(
    ("conductivity", "expected"),
    [
        # AIChE CCPS glossary, "Effective Conductivity", from memory: below about 2 pS/m charge goes
        # much faster than by Ohm's law. By hand: eps_0 x 2 / 2 pS/m is 8.8542 s.
        pytest.param(1e-4, 8.8542, id="hardly-any"),
        pytest.param(1.999, 8.8542, id="just-below"),
        pytest.param(2, 8.8542, id="on-it"),
        pytest.param(3, 5.9028, id="above"),
        pytest.param(math.nan, math.nan, id="not-known"),
    ],
)
def test_the_fastest_relaxation_time_takes_no_liquid_for_a_worse_conductor_than_two(
    conductivity: float, expected: float
) -> None:
    found = fastest_relaxation_time(conductivity, 2)
    assert found == pytest.approx(expected, abs=5e-5, nan_ok=True)


def test_what_the_glossary_says_of_effective_conductivity() -> None:
    # AIChE CCPS glossary, "Effective Conductivity", from memory: 2 pS/m, and 3 to 4 times slower.
    assert EFFECTIVE_AT_LEAST_PS_M == 2
    assert 3 <= SLOWER_BEHIND_FILTER <= 4


@pytest.mark.parametrize(
    ("conductivity", "permittivity", "expected"),
    [
        # Conductivity of Lange's and permittivity of the CRC handbook, and the times, by the open
        # library thermo 0.6.1.
        pytest.param(1, 2.3866, 21.13, id="toluene"),
        pytest.param(4.4e7, 33.43, 6.73e-6, id="methanol"),
        pytest.param(6e6, 21.06, 3.11e-5, id="acetone"),
        pytest.param(1e7, 18.60, 1.65e-5, id="methyl-ethyl-ketone"),
        pytest.param(1.35e5, 25.45, 1.67e-3, id="ethanol"),
        pytest.param(3.5e8, 20.07, 5.08e-7, id="isopropanol"),
        pytest.param(7.8e-4, 2.614, 29675, id="carbon-disulfide"),
        pytest.param(40, 4.303, 0.952, id="diethyl-ether"),
        pytest.param(1e5, 6.091, 5.39e-4, id="ethyl-acetate"),
    ],
)
def test_relaxation_time_of_liquids(
    conductivity: float, permittivity: float, expected: float
) -> None:
    assert relaxation_time(conductivity, permittivity) == pytest.approx(expected, rel=2e-3)


@given(CONDUCTIVITIES, PERMITTIVITIES)
def test_time_is_what_conductivity_and_permittivity_make_it(kappa: float, eps_r: float) -> None:
    tau = relaxation_time(kappa, eps_r)
    assert tau * kappa / eps_r == pytest.approx(constants.epsilon_0 * 1e12, rel=1e-9)
    assert relaxation_time(2 * kappa, 2 * eps_r) == pytest.approx(tau)


def test_next_to_no_conductivity_takes_for_ever() -> None:
    assert relaxation_time(1e-320, 2) == math.inf
    assert relaxation_time(1e300, 2) < 1e-290


@pytest.mark.parametrize(
    ("elapsed", "tau", "expected"),
    [
        # Hand-worked: NFPA 77's 30 s behind a filter (from memory) at 18 s, and at 3 pS/m.
        pytest.param(30, 18, 0.18888, id="filter-at-18-s"),
        pytest.param(30, relaxation_time(3, 2), 0.006205, id="filter-at-3-pS/m"),
        pytest.param(0, 18, 1, id="at-once"),
        pytest.param(18, 18, math.exp(-1), id="one-relaxation-time"),
        pytest.param(1e9, 1e-6, 0, id="long-gone"),
        pytest.param(1e9, math.inf, 1, id="never"),
    ],
)
def test_remaining_fraction(elapsed: float, tau: float, expected: float) -> None:
    assert remaining_fraction(elapsed, tau) == pytest.approx(expected, abs=5e-6)


@pytest.mark.parametrize(
    ("fraction", "tau", "expected"),
    [
        # Hand-worked.
        pytest.param(0.001, 1, 6.9078, id="a-thousandth"),
        pytest.param(0.01, relaxation_time(1, 2), 81.550, id="a-hundredth-at-1-pS/m"),
        pytest.param(1, 18, 0, id="all-of-it"),
        pytest.param(1, math.inf, 0, id="all-of-it-for-ever"),
        pytest.param(0.5, math.inf, math.inf, id="never"),
    ],
)
def test_time_to_fraction(fraction: float, tau: float, expected: float) -> None:
    assert time_to_fraction(fraction, tau) == pytest.approx(expected, abs=5e-4)


@given(st.floats(1e-9, 1), TIMES)
def test_time_to_a_fraction_leaves_that_fraction(fraction: float, tau: float) -> None:
    elapsed = time_to_fraction(fraction, tau)
    assert remaining_fraction(elapsed, tau) == pytest.approx(fraction, rel=1e-9)


@given(st.floats(0, 1e6), st.floats(0, 1e6), TIMES)
def test_two_waits_leave_what_one_of_both_would(first: float, second: float, tau: float) -> None:
    both = remaining_fraction(first, tau) * remaining_fraction(second, tau)
    assert both == pytest.approx(remaining_fraction(first + second, tau), rel=1e-6, abs=1e-300)


def test_hyperbolic_law() -> None:
    # Hand-worked: 30 uC/m3, permittivity 2, 60 s; law and mobility of Bustin (1964), from memory.
    assert remaining_fraction_hyperbolic(60, 30, 2) == pytest.approx(0.495917, abs=5e-7)


@given(TIMES, st.floats(0, 1e4), PERMITTIVITIES)
def test_hyperbolic_law_decays_by_the_charge_that_is_left(
    elapsed: float, density: float, eps_r: float
) -> None:
    # What is left after one wait is what the next starts from.
    once = float(remaining_fraction_hyperbolic(elapsed, density, eps_r))
    again = remaining_fraction_hyperbolic(elapsed, density * once, eps_r)
    assert 0 < once <= 1
    assert once * again == pytest.approx(remaining_fraction_hyperbolic(2 * elapsed, density, eps_r))


def test_hyperbolic_law_starts_like_ohms_with_the_conductivity_of_its_charge() -> None:
    # For a start conductivity is mobility times charge density: 1e-8 m2/(V s) x 30 uC/m3.
    tau = relaxation_time(0.3, 2)
    ohmic = 1 - remaining_fraction(1e-3, tau)
    assert 1 - remaining_fraction_hyperbolic(1e-3, 30, 2) == pytest.approx(ohmic, rel=1e-4)


def test_arrays_broadcast_and_keep_what_is_not_known() -> None:
    found = relaxation_time(np.array([[1.0], [math.nan]]), np.array([2.0, 4.0, math.nan]))
    assert np.isnan(found) == pytest.approx(np.array([[0, 0, 1], [1, 1, 1]]))
    assert np.ravel(found)[1] == 2 * np.ravel(found)[0]
    assert np.isnan(remaining_fraction(math.nan, 1))
    assert np.isnan(time_to_fraction(1, math.nan))
    assert np.isnan(remaining_fraction_hyperbolic(1, math.nan, 2))


@pytest.mark.parametrize(
    ("call", "wrong"),
    [
        (lambda: relaxation_time(0, 2), "conductivity_pS_m must be above 0 pS/m, got 0"),
        (lambda: relaxation_time(-1, 2), "conductivity_pS_m must be above 0 pS/m, got -1"),
        (lambda: relaxation_time(math.inf, 2), "conductivity_pS_m must be finite pS/m, got inf"),
        (lambda: fastest_relaxation_time(0, 2), "conductivity_pS_m must be above 0 pS/m, got 0"),
        (lambda: fastest_relaxation_time(1, 0), "relative_permittivity must be at least 1, got 0"),
        (lambda: relaxation_time(1, 0.99), "relative_permittivity must be at least 1, got 0.99"),
        (lambda: remaining_fraction(-1, 2), "elapsed_s must be at least 0 s, got -1"),
        (lambda: remaining_fraction(math.inf, 2), "elapsed_s must be finite s, got inf"),
        (lambda: remaining_fraction(1, 0), "relaxation_time_s must be above 0 s, got 0"),
        (lambda: time_to_fraction(0, 2), "fraction must be above 0, got 0"),
        (lambda: time_to_fraction(1.1, 2), "fraction must be at most 1, got 1.1"),
        (lambda: time_to_fraction(0.5, -2), "relaxation_time_s must be above 0 s, got -2"),
        (lambda: remaining_fraction_hyperbolic(-1, 1, 2), "elapsed_s must be at least 0 s"),
        (lambda: remaining_fraction_hyperbolic(1, -1, 2), "charge_density_uC_m3 must be at least"),
        (lambda: remaining_fraction_hyperbolic(1, 1, 0), "relative_permittivity must be at least"),
        (lambda: remaining_fraction_hyperbolic(1, 1, 2, 0), "mobility_m2_Vs must be above 0 m2"),
    ],
)
def test_nonsense_is_refused(call: Callable[[], object], wrong: str) -> None:
    with pytest.raises(ValueError, match=wrong):
        call()
