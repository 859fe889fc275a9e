"""Resistances that let charge go."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.core.electrostatics.leakage import (
    OPEN_LEAKAGE,
    RESISTANCE_CRITERIA,
    resistance_for_potential,
)
from analytics.core.electrostatics.streaming import streaming_current_A
from bondtrail.site import StationKind


@pytest.mark.parametrize(
    ("current", "potential", "expected"),
    [
        # By hand; 1 Mohm holding 100 uA at 100 V is why 1 Mohm was chosen (from memory).
        pytest.param(1e-4, 100, 1e6, id="1-Mohm"),
        pytest.param(1e-4, 1e-3, 10, id="10-ohm"),
        pytest.param(1e-6, 1, 1e6, id="1-uA"),
        pytest.param(1e-11, 100, 1e13, id="least-published-current"),
        pytest.param(0, 100, math.inf, id="no-current"),
        pytest.param(1e-320, 100, math.inf, id="next-to-no-current"),
    ],
)
def test_resistance_for_potential(current: float, potential: float, expected: float) -> None:
    assert resistance_for_potential(current, potential) == pytest.approx(expected)


def test_drum_that_is_filled_slowly() -> None:
    # Our own worked example: 2 m/s in 50 mm by Schon's form (from memory) is 37.5 nA, for which
    # 2.66667e9 ohm hold 100 V.
    current = streaming_current_A(2, 0.05, "schon")
    assert current == pytest.approx(3.75e-8)
    assert resistance_for_potential(current) == pytest.approx(2.66667e9, rel=2e-6)


@given(st.floats(1e-11, 1e-4), st.floats(1e-3, 1e5))
def test_current_times_resistance_is_the_potential(current: float, potential: float) -> None:
    assert current * resistance_for_potential(current, potential) == pytest.approx(potential)


def test_open_circuit_leaks_by_assumption_or_not_at_all() -> None:
    assert (OPEN_LEAKAGE.low, OPEN_LEAKAGE.typical, OPEN_LEAKAGE.high) == (1e5, 1e9, math.inf)
    assert OPEN_LEAKAGE.unit == "ohm"
    assert "our assumption" in OPEN_LEAKAGE.source


BAG = StationKind.FLEXIBLE_BULK_BAG


@pytest.mark.parametrize(
    ("ohm", "kind", "source"),
    [
        # NFPA 77, API RP 2003 and IEC TS 60079-32-1, from memory.
        pytest.param(10, None, "NFPA 77, API RP 2003", id="metal"),
        pytest.param(1e6, None, "NFPA 77, API RP 2003", id="dissipation"),
        # NBS Journal of Research 69C (1965), abstract.
        pytest.param(1e7, None, "69C", id="pipe-by-experiment"),
        pytest.param(1e8, None, "IEC TS 60079-32-1, from memory", id="small-currents"),
        # IEC 61340-4-4, editions of 2012 and 2018: EN text of the latter, change (a).
        pytest.param(1e7, BAG, "IEC 61340-4-4:2012", id="bag-2012"),
        pytest.param(1e8, BAG, "IEC 61340-4-4:2018", id="bag-2018"),
    ],
)
def test_criteria(ohm: float, kind: StationKind | None, source: str) -> None:
    found = [row for row in RESISTANCE_CRITERIA if (row.ohm, row.kind) == (ohm, kind)]
    assert [source in row.source for row in found] == [True]
    assert len(RESISTANCE_CRITERIA) == 6


def test_arrays_keep_what_is_not_known() -> None:
    found = resistance_for_potential(np.array([1e-6, math.nan, 0]))
    assert found == pytest.approx([1e8, math.nan, math.inf], nan_ok=True)


@pytest.mark.parametrize(
    ("current", "potential", "wrong"),
    [
        (-1, 100, "current_A must be at least 0 A, got -1"),
        (math.inf, 100, "current_A must be finite A, got inf"),
        (1, 0, "potential_V must be above 0 V, got 0"),
    ],
)
def test_nonsense_is_refused(current: float, potential: float, wrong: str) -> None:
    with pytest.raises(ValueError, match=wrong):
        resistance_for_potential(current, potential)
