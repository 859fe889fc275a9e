"""Charge and energy of a vessel, against hand-worked values."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.core.electrostatics.energy import (
    charge_uC,
    potential_for_energy_V,
    stored_energy_mJ,
)

CAPACITANCES = st.floats(1e-2, 1e6)
POTENTIALS = st.floats(-1e6, 1e6)


@pytest.mark.parametrize(
    ("capacitance", "potential", "expected"),
    [
        # Public texts: 100 pF at 10 kV hold 5 mJ, at 3 kV 0.45 mJ.
        pytest.param(100, 10_000, 5, id="100-pF-10-kV"),
        pytest.param(100, 3_000, 0.45, id="100-pF-3-kV"),
        # By hand.
        pytest.param(200, 10_000, 10, id="200-pF-10-kV"),
        pytest.param(150, 20_000, 30, id="150-pF-20-kV"),
        pytest.param(20, 10_000, 1, id="20-pF-10-kV"),
        pytest.param(10, 5_000, 0.125, id="10-pF-5-kV"),
        pytest.param(1_000, 5_000, 12.5, id="1-nF-5-kV"),
        pytest.param(5_000, 2_000, 10, id="5-nF-2-kV"),
        pytest.param(1_000, 10_000, 50, id="1-nF-10-kV"),
        pytest.param(100, 0, 0, id="no-potential"),
    ],
)
def test_stored_energy(capacitance: float, potential: float, expected: float) -> None:
    assert stored_energy_mJ(capacitance, potential) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(
    ("energy", "capacitance", "expected"),
    [
        # By hand: where the energy is the least that ignites.
        pytest.param(0.25, 20, 5000, id="0.25-mJ-20-pF"),
        pytest.param(0.24, 100, 2190.89, id="0.24-mJ-100-pF"),
        pytest.param(0.2, 1_000, 632.456, id="0.2-mJ-1-nF"),
        pytest.param(0.2, 5_000, 282.843, id="0.2-mJ-5-nF"),
        pytest.param(0.016, 200, 400, id="0.016-mJ-200-pF"),
        pytest.param(0, 200, 0, id="no-energy"),
    ],
)
def test_potential_for_energy(energy: float, capacitance: float, expected: float) -> None:
    assert potential_for_energy_V(energy, capacitance) == pytest.approx(expected, rel=2e-6)


def test_charge() -> None:
    # By hand: 1 nF at 10 kV, which 1 uA fills in 10 s.
    assert charge_uC(1_000, 10_000) == pytest.approx(10)
    assert charge_uC(1_000, -10_000) == pytest.approx(-10)


@given(CAPACITANCES, POTENTIALS)
def test_energy_is_never_negative_and_has_no_sign(capacitance: float, potential: float) -> None:
    found = stored_energy_mJ(capacitance, potential)
    assert found >= 0
    assert found == stored_energy_mJ(capacitance, -potential)


@given(CAPACITANCES, st.floats(1e-6, 1e6))
def test_energy_and_potential_undo_each_other(capacitance: float, energy: float) -> None:
    potential = potential_for_energy_V(energy, capacitance)
    assert stored_energy_mJ(capacitance, potential) == pytest.approx(energy, rel=1e-12)


@given(CAPACITANCES, POTENTIALS)
def test_energy_and_charge_agree_with_units(capacitance: float, potential: float) -> None:
    charge = pint.Quantity(capacitance, "pF") * pint.Quantity(potential, "V")
    energy = charge * pint.Quantity(potential, "V") / 2
    assert charge_uC(capacitance, potential) == pytest.approx(charge.to("uC").magnitude)
    assert stored_energy_mJ(capacitance, potential) == pytest.approx(energy.to("mJ").magnitude)


def test_arrays_broadcast_and_keep_what_is_not_known() -> None:
    potential = np.array([[1e3], [math.nan]])
    found = stored_energy_mJ(np.array([100.0, 200.0]), potential)
    assert np.isnan(found).tolist() == [[False, False], [True, True]]
    assert np.isnan(charge_uC(100, potential)).ravel().tolist() == [False, True]
    assert np.isnan(potential_for_energy_V(math.nan, 100))


@pytest.mark.parametrize(
    ("call", "wrong"),
    [
        (lambda: stored_energy_mJ(0, 1), "capacitance_pF must be above 0 pF, got 0"),
        (lambda: stored_energy_mJ(1, math.inf), "potential_V must be finite V, got inf"),
        (lambda: stored_energy_mJ(1, -math.inf), "potential_V must be finite V, got -inf"),
        (lambda: potential_for_energy_V(-1, 1), "energy_mJ must be at least 0 mJ, got -1"),
        (lambda: potential_for_energy_V(1, 0), "capacitance_pF must be above 0 pF, got 0"),
        (lambda: charge_uC(-1, 1), "capacitance_pF must be above 0 pF, got -1"),
    ],
)
def test_nonsense_is_refused(call: Callable[[], object], wrong: str) -> None:
    with pytest.raises(ValueError, match=wrong):
        call()
