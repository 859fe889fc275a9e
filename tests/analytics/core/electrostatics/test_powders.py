"""Charge of powders by operation, and the current of it."""

from __future__ import annotations

import math

import numpy as np
import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.core.electrostatics.powders import OPERATIONS, charging_current_A


@pytest.mark.parametrize(
    ("operation", "low", "high"),
    [
        # NFPA 77, BS 5958 and IEC TS 60079-32-1, all from memory, the widest of them.
        ("sieving", 1e-5, 1e-3),
        ("pouring", 1e-3, 10),
        ("scroll_feed", 1e-2, 1),
        ("grinding", 0.1, 1),
        ("micronising", 0.1, 100),
        ("sliding", 0.1, 10),
        ("pneumatic_conveying", 0.1, 1000),
    ],
)
def test_recalled_ranges(operation: str, low: float, high: float) -> None:
    found = OPERATIONS[operation]
    assert (found.low, found.high, found.unit) == (low, high, "uC/kg")
    assert found.typical == pytest.approx(math.sqrt(low * high))
    assert "from memory" in found.source


def test_every_operation_is_held_to_its_range() -> None:
    assert len(OPERATIONS) == 7


def test_current() -> None:
    # Hand-worked: 60 kg/min is 1 kg/s; at 10 uC/kg that is 10 uA.
    assert charging_current_A(60, 10) == pytest.approx(1e-5)
    assert charging_current_A(0, 10) == charging_current_A(60, 0) == 0


@given(st.floats(0, 1e5), st.floats(0, 1e3))
def test_current_agrees_with_units(flow: float, charge: float) -> None:
    by_pint = (pint.Quantity(flow, "kg/min") * pint.Quantity(charge, "uC/kg")).to("A").magnitude
    assert charging_current_A(flow, charge) == pytest.approx(by_pint)


def test_arrays_keep_what_is_not_known() -> None:
    found = charging_current_A(np.array([0, 60, math.nan]), 1)
    assert found == pytest.approx([0, 1e-6, math.nan], nan_ok=True)


@pytest.mark.parametrize(
    ("flow", "charge", "wrong"),
    [
        (-1, 1, "mass_flow_kg_min must be at least 0 kg/min, got -1"),
        (1, -1, "charge_uC_kg must be at least 0 uC/kg, got -1"),
        (math.inf, 1, "mass_flow_kg_min must be finite kg/min, got inf"),
        (1, math.inf, "charge_uC_kg must be finite uC/kg, got inf"),
    ],
)
def test_nonsense_is_refused(flow: float, charge: float, wrong: str) -> None:
    with pytest.raises(ValueError, match=wrong):
        charging_current_A(flow, charge)
