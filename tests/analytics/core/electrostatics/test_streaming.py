"""The current out of a pipe or a filter, against published and hand-worked values."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.core.electrostatics.relaxation import relaxation_time, remaining_fraction
from analytics.core.electrostatics.streaming import (
    FORMS,
    Form,
    charging_fraction,
    filter_current,
    streaming_current_A,
    velocity_m_s,
)

SPEEDS = st.floats(1e-6, 20)
BORES = st.floats(1e-3, 2)


@pytest.mark.parametrize(
    ("form", "expected"),
    [
        # Hand-worked at 7 m/s in 0.1 m; the coefficient of each form is from memory.
        pytest.param("schon", 1.8375e-6, id="schon"),
        pytest.param("iec_60079_32_1", 1.9242e-6, id="iec"),
        pytest.param("crowl_louvar", 4.9e-6, id="crowl-louvar"),
        pytest.param("nfpa_77", 12.25e-6, id="nfpa"),
    ],
)
def test_forms(form: str, expected: float) -> None:
    assert streaming_current_A(7, 0.1, form) == pytest.approx(expected, rel=2e-5)


def test_iec_form_is_five_microcoulombs_per_cubic_metre_for_each_metre_a_second() -> None:
    # IEC TS 60079-32-1, from memory: 35 uC/m3 at 7 m/s, times the flow of 0.0549779 m3/s.
    current = streaming_current_A(7, 0.1, "iec_60079_32_1")
    assert current / 0.0549779 * 1e6 == pytest.approx(35, rel=1e-6)


def test_forms_spread_nearly_sevenfold_and_are_listed_from_least_to_greatest() -> None:
    coefficients = [form.coefficient for form in FORMS.values()]
    assert coefficients == sorted(coefficients)
    assert coefficients[-1] / coefficients[0] == pytest.approx(6.7, abs=0.05)


@pytest.mark.parametrize("form", FORMS.values(), ids=list(FORMS))
def test_each_form_says_where_it_is_from(form: Form) -> None:
    assert "from memory" in form.source
    assert form.label


@given(SPEEDS, BORES, st.sampled_from(list(FORMS)))
def test_current_goes_with_the_square_of_velocity_and_of_bore(
    speed: float, bore: float, form: str
) -> None:
    current = streaming_current_A(speed, bore, form)
    assert current > 0
    assert streaming_current_A(2 * speed, bore, form) == pytest.approx(4 * current)
    assert streaming_current_A(speed, 2 * bore, form) == pytest.approx(4 * current)


@pytest.mark.parametrize(
    ("flow", "bore", "expected"),
    [
        # Hand-worked: what fills road tankers at velocity times bore of 0.5, at most 7 m/s.
        pytest.param(824.668, 0.05, 7, id="0.05"),
        pytest.param(1884.956, 0.08, 6.25, id="0.08"),
        pytest.param(2356.194, 0.10, 5, id="0.10"),
        pytest.param(3534.292, 0.15, 3.3333, id="0.15"),
        pytest.param(4712.389, 0.20, 2.5, id="0.20"),
        pytest.param(0, 0.20, 0, id="no-flow"),
    ],
)
def test_velocity(flow: float, bore: float, expected: float) -> None:
    assert velocity_m_s(flow, bore) == pytest.approx(expected, rel=2e-5)


@given(st.floats(0.001, 1e5), BORES)
def test_velocity_agrees_with_units(flow: float, bore: float) -> None:
    area = math.pi / 4 * pint.Quantity(bore, "m") ** 2
    by_pint = (pint.Quantity(flow, "L/min") / area).to("m/s").magnitude
    assert velocity_m_s(flow, bore) == pytest.approx(by_pint)


# The nozzle of Crowl and Louvar, Chemical Process Safety (inputs from memory; worked through with
# 1.0e-5): a hose of 20 ft by 2 in, 1e-8 mho/cm, permittivity 25.7, drained of 300 US gallons.
HOSE_M = pint.Quantity(20, "ft").to("m").magnitude
HOSE_BORE_M = pint.Quantity(2, "inch").to("m").magnitude
HOSE_TAU_S = relaxation_time(pint.Quantity(1e-8, "S/cm").to("pS/m").magnitude, 25.7)


@pytest.mark.parametrize(
    ("gallons_a_minute", "velocity", "current", "potential", "charge"),
    [
        pytest.param(1, 0.0311275, 2.50044e-11, 0.0752046, 4.50079e-7, id="1-gpm"),
        pytest.param(150, 4.66913, 5.62599e-7, 1692.10, 6.75119e-5, id="150-gpm"),
    ],
)
def test_textbook_nozzle(
    gallons_a_minute: float, velocity: float, current: float, potential: float, charge: float
) -> None:
    flow = pint.Quantity(gallons_a_minute, "gallon/minute").to("L/min").magnitude
    speed = velocity_m_s(flow, HOSE_BORE_M)
    found = streaming_current_A(speed, HOSE_BORE_M, "crowl_louvar") * charging_fraction(
        HOSE_M, speed, HOSE_TAU_S
    )
    liquid_ohm = HOSE_M / (1e-6 * math.pi / 4 * HOSE_BORE_M**2)  # from nozzle to ground
    assert liquid_ohm == pytest.approx(3.00765e9, rel=2e-6)
    assert speed == pytest.approx(velocity, rel=2e-6)
    assert found == pytest.approx(current, rel=3e-6)
    assert found * liquid_ohm == pytest.approx(potential, rel=3e-6)
    assert found * 300 / gallons_a_minute * 60 == pytest.approx(charge, rel=3e-6)


@pytest.mark.parametrize(
    ("length", "speed", "tau", "expected"),
    [
        pytest.param(math.inf, 3, 18, 1, id="long-pipe"),
        pytest.param(0, 3, 18, 0, id="no-pipe"),
        pytest.param(54, 3, 18, 1 - math.exp(-1), id="one-relaxation-time"),
        pytest.param(5, 0, 18, 1, id="at-rest"),
        pytest.param(0, 0, 18, 0, id="no-pipe-at-rest"),
        pytest.param(5, 3, math.inf, 0, id="no-conduction"),
        pytest.param(5, 0, math.inf, 1, id="no-conduction-at-rest"),
        pytest.param(5, 3, 1e-9, 1, id="good-conductor"),
        pytest.param(3e-9, 3, 18, 1e-9 / 18, id="no-digits-lost-in-a-short-one"),
    ],
)
def test_charging_fraction(length: float, speed: float, tau: float, expected: float) -> None:
    assert charging_fraction(length, speed, tau) == pytest.approx(expected, rel=1e-12)


@given(st.floats(0, 1000), SPEEDS, st.floats(1e-6, 1e5))
def test_what_charges_and_what_relaxes_make_a_whole(
    length: float, speed: float, tau: float
) -> None:
    share = charging_fraction(length, speed, tau)
    assert 0 <= share <= 1
    assert share + remaining_fraction(length / speed, tau) == pytest.approx(1)


def test_longer_pipes_charge_more_and_faster_flow_less_of_its_most() -> None:
    lengths = charging_fraction(np.linspace(0, 50, 101), 3, 5)
    speeds = charging_fraction(6, np.linspace(0.1, 7, 101), 5)
    assert (np.diff(lengths) > 0).all()
    assert (np.diff(speeds) < 0).all()


def test_filter_current() -> None:
    # Hand-worked: 0.01 m3/s of 500 uC/m3 is 5 uA, of which 18.888 % is left after 30 s at 18 s.
    assert filter_current(0.01, 500, 1) == pytest.approx(5e-6)
    assert filter_current(0.01, 500, remaining_fraction(30, 18)) == pytest.approx(
        0.9444e-6, abs=5e-11
    )
    assert filter_current(0, 500, 1) == filter_current(0.01, 0, 1) == 0


def test_arrays_broadcast_and_keep_what_is_not_known() -> None:
    speed = np.array([0, 1, math.nan])
    assert streaming_current_A(speed, 0.1, "crowl_louvar") == pytest.approx(
        [0, 1e-7, math.nan], nan_ok=True
    )
    assert np.isnan(charging_fraction(math.inf, speed, 5)).tolist() == [False, False, True]
    assert np.isnan(charging_fraction(0, speed, 5)).tolist() == [False, False, True]
    assert np.isnan(charging_fraction(6, 0, math.nan))
    assert np.isnan(charging_fraction(math.nan, 0, 5))
    assert np.isnan(filter_current(speed, 500, 1)).tolist() == [False, False, True]
    assert np.isnan(velocity_m_s(speed, 0.1)).tolist() == [False, False, True]


@pytest.mark.parametrize(
    ("call", "wrong"),
    [
        (lambda: velocity_m_s(-1, 0.1), "flow_L_min must be at least 0 L/min, got -1"),
        (lambda: velocity_m_s(math.inf, 0.1), "flow_L_min must be finite L/min, got inf"),
        (lambda: velocity_m_s(1, 0), "diameter_m must be above 0 m, got 0"),
        (lambda: streaming_current_A(-1, 0.1, "schon"), "velocity_m_s must be at least 0 m/s"),
        (lambda: streaming_current_A(1, -0.1, "schon"), "diameter_m must be above 0 m, got -0.1"),
        (lambda: streaming_current_A(1, 0.1, "spread"), "form must be one of schon, .*'spread'"),
        (lambda: charging_fraction(-1, 1, 1), "length_m must be at least 0 m, got -1"),
        (lambda: charging_fraction(1, -1, 1), "velocity_m_s must be at least 0 m/s, got -1"),
        (lambda: charging_fraction(1, 1, 0), "relaxation_time_s must be above 0 s, got 0"),
        (lambda: filter_current(-1, 1, 1), "flow_m3_s must be at least 0 m3/s, got -1"),
        (lambda: filter_current(1, -1, 1), "charge_density_uC_m3 must be at least 0 uC/m3, got -1"),
        (lambda: filter_current(1, 1, 1.5), "remaining must be at most 1, got 1.5"),
    ],
)
def test_nonsense_is_refused(call: Callable[[], object], wrong: str) -> None:
    with pytest.raises(ValueError, match=wrong):
        call()
