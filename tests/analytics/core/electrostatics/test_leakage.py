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


@pytest.mark.parametrize(
    ("path", "ohm"),
    [
        # NFPA 77, API RP 2003 and IEC TS 60079-32-1, from memory.
        ("bond or ground path of metal all through", 10),
        ("dissipation of static", 1e6),
        ("isolated conductor, small currents", 1e8),
        # NBS Journal of Research 69C (1965), abstract.
        ("pipe to ground, by experiment", 1e7),
        # IEC 61340-4-4, editions of 2012 and 2018: EN text of the latter, change (a).
        ("bulk bag of type C", 1e7),
        ("bulk bag of type C", 1e8),
        # From memory: IEC TS 60079-32-1, EN ISO 8031, EN ISO 20345, IEC 61340-4.
        ("hose, conductive", 1e3),
        ("hose assembly of grade M", 100),
        ("hose, dissipative", 1e6),
        ("hose assembly of grade Omega", 1e6),
        ("person or floor to earth", 1e8),
        ("footwear, conductive", 1e5),
        ("footwear, antistatic", 1e9),
    ],
)
def test_criteria(path: str, ohm: float) -> None:
    assert (path, ohm) in {(row.path, row.ohm) for row in RESISTANCE_CRITERIA}


def test_each_criterion_names_its_source_and_unit_once() -> None:
    assert all(row.source and row.unit in ("ohm", "ohm/m") for row in RESISTANCE_CRITERIA)
    assert len({(row.path, row.ohm) for row in RESISTANCE_CRITERIA}) == 13
    assert [row.path for row in RESISTANCE_CRITERIA if row.unit == "ohm/m"] == [
        "hose, conductive",
        "hose, dissipative",
    ]


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
