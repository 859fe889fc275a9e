"""Capacitances by kind and by geometry."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants

from analytics.core.electrostatics.capacitance import CAPACITANCES, plates_pF, sphere_pF
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


def test_geometry() -> None:
    # 4 pi epsilon_0 r and epsilon_0 A / d, by hand.
    assert sphere_pF(1) == pytest.approx(111.265, abs=5e-4)
    assert plates_pF(1, 1e-3) == pytest.approx(8854, abs=0.5)
    assert plates_pF(1, 1e-3, 4) == pytest.approx(4 * 8854, abs=2)


@given(st.floats(1e-3, 1e3), st.floats(1e-6, 10))
def test_geometry_by_the_constant_of_scipy(size: float, gap: float) -> None:
    assert sphere_pF(size) == pytest.approx(4e12 * math.pi * constants.epsilon_0 * size)
    assert plates_pF(size, gap) == pytest.approx(1e12 * constants.epsilon_0 * size / gap)


def test_a_sphere_in_a_close_shell_is_two_plates() -> None:
    # Of a shell 1e-6 wider: 4 pi epsilon_0 a b / (b - a), with the C of a sphere alone.
    shell = sphere_pF(1) * (1 + 1e-6) / 1e-6
    assert plates_pF(4 * math.pi, 1e-6) == pytest.approx(shell, rel=2e-6)


def test_arrays_keep_what_is_not_known() -> None:
    radius = np.array([1, math.nan])
    assert np.isnan(sphere_pF(radius)).tolist() == [False, True]
    assert np.isnan(plates_pF(radius, 1e-3)).tolist() == [False, True]


@pytest.mark.parametrize(
    ("call", "wrong"),
    [
        (lambda: sphere_pF(0), "radius_m must be above 0 m, got 0"),
        (lambda: sphere_pF(math.inf), "radius_m must be finite m, got inf"),
        (lambda: plates_pF(-1, 1), "area_m2 must be above 0 m2, got -1"),
        (lambda: plates_pF(1, 0), "gap_m must be above 0 m, got 0"),
        (lambda: plates_pF(1, 1, 0.5), "relative_permittivity must be at least 1, got 0.5"),
    ],
)
def test_nonsense_is_refused(call: Callable[[], object], wrong: str) -> None:
    with pytest.raises(ValueError, match=wrong):
        call()
