"""Capacitances by kind."""

from __future__ import annotations

import math

import pytest

from analytics.core.electrostatics.capacitance import CAPACITANCES
from bondtrail.site import StationKind

RECALLED = [
    # Tables of IEC TS 60079-32-1 and of Crowl and Louvar, from memory [pF]: 10 to 100 for a drum
    # of 50 L and 50 to 300 for 200 to 500 L, textbook barrel 100; road tanker 1000 to 5000; large
    # item of plant 100 to 1000.
    (StationKind.DRUM, 10, 300),
    (StationKind.ROAD_TANKER, 1000, 5000),
    (StationKind.FIXED_ITEM, 100, 1000),
]


@pytest.mark.parametrize(("kind", "low", "high"), RECALLED)
def test_recalled_ranges(kind: StationKind, low: float, high: float) -> None:
    assert (CAPACITANCES[kind].low, CAPACITANCES[kind].high) == (low, high)
    assert "from memory" in CAPACITANCES[kind].source


def test_drum_is_typically_the_barrel_of_the_textbook() -> None:
    assert CAPACITANCES[StationKind.DRUM].typical == 100  # Crowl and Louvar, from memory


@pytest.mark.parametrize("kind", sorted(set(StationKind) - {kind for kind, _, _ in RECALLED}))
def test_what_no_table_is_recalled_for_says_so(kind: StationKind) -> None:
    assert "our assumption" in CAPACITANCES[kind].source


@pytest.mark.parametrize("kind", StationKind)
def test_every_kind_has_one_in_picofarad(kind: StationKind) -> None:
    found = CAPACITANCES[kind]
    assert 0 < found.low <= found.typical <= found.high < math.inf
    assert found.unit == "pF"
