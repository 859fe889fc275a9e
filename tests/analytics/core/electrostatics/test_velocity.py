"""Limits of velocity, against the recalled tables."""

from __future__ import annotations

import math

import pytest

from analytics.core.electrostatics.conductivity import ConductivityClass
from analytics.core.electrostatics.streaming import velocity_m_s
from analytics.core.electrostatics.velocity import (
    CAP_M_S,
    START_OF_FILLING_M_S,
    VELOCITY_BORE,
    velocity_limit,
)
from bondtrail.site import StationKind

ROAD, RAIL, DRUM = StationKind.ROAD_TANKER, StationKind.RAIL_TANK_CAR, StationKind.DRUM


@pytest.mark.parametrize(
    ("bore", "limit", "flow"),
    [
        # Velocity times bore of 0.5 m2/s, at most 7 m/s, from memory; arithmetic by hand. The flow
        # in L/min is what fills at the limit.
        pytest.param(0.05, 7, 824.668, id="0.05"),
        pytest.param(0.08, 6.25, 1884.956, id="0.08"),
        pytest.param(0.10, 5.0, 2356.194, id="0.10"),
        pytest.param(0.15, 3.3333, 3534.292, id="0.15"),
        pytest.param(0.20, 2.5, 4712.389, id="0.20"),
    ],
)
def test_road_tankers(bore: float, limit: float, flow: float) -> None:
    found = velocity_limit(ROAD, bore, "low").typical
    assert found == pytest.approx(limit, abs=5e-5)
    assert velocity_m_s(flow, bore) == pytest.approx(found, rel=1e-6)


@pytest.mark.parametrize(
    ("kind", "bore", "low", "typical", "high"),
    [
        # Editions from memory: road 0.35 (low sulfur), 0.5; rail 0.75 (IEC, CLC), 0.8 (API, NFPA).
        pytest.param(ROAD, 0.05, 7, 7, 7, id="road-at-the-cap"),
        pytest.param(ROAD, 0.06, 5.8333, 7, 7, id="road-half-at-the-cap"),
        pytest.param(ROAD, 0.10, 3.5, 5, 5, id="road"),
        pytest.param(RAIL, 0.10, 7, 7, 7, id="rail-at-the-cap"),
        pytest.param(RAIL, 0.11, 6.8182, 6.8182, 7, id="rail-half-at-the-cap"),
        pytest.param(RAIL, 0.20, 3.75, 3.75, 4, id="rail"),
        pytest.param(DRUM, 0.20, 7, 7, 7, id="drum"),
        pytest.param(StationKind.FIXED_ITEM, 0.20, 7, 7, 7, id="fixed-item"),
    ],
)
def test_editions(kind: StationKind, bore: float, low: float, typical: float, high: float) -> None:
    found = velocity_limit(kind, bore, "low")
    assert (found.low, found.typical, found.high) == pytest.approx((low, typical, high), abs=5e-5)
    assert found.unit == "m/s"
    assert "from memory" in found.source


@pytest.mark.parametrize(
    ("conductivity_class", "expected"), [("low", 2.5), (None, 2.5), ("medium", 7), ("high", 7)]
)
def test_what_is_not_known_is_taken_as_low(
    conductivity_class: ConductivityClass | None, expected: float
) -> None:
    assert velocity_limit(ROAD, 0.2, conductivity_class).typical == expected


@pytest.mark.parametrize("kind", StationKind)
def test_a_wider_pipe_never_allows_more(kind: StationKind) -> None:
    found = [velocity_limit(kind, bore / 100, "low") for bore in range(1, 60)]
    for level in ("low", "typical", "high"):
        limits = [getattr(spread, level) for spread in found]
        assert limits == sorted(limits, reverse=True)
        assert limits[0] == CAP_M_S


def test_rail_allows_more_than_road() -> None:
    assert VELOCITY_BORE[RAIL].low > VELOCITY_BORE[ROAD].high


def test_start_of_filling() -> None:
    assert START_OF_FILLING_M_S == 1  # until the outlet is covered, from memory


@pytest.mark.parametrize(
    ("bore", "wrong"),
    [
        (0, "diameter_m must be above 0 m, got 0"),
        (-0.1, "diameter_m must be above 0 m, got -0.1"),
        (math.inf, "diameter_m must be finite m, got inf"),
        (math.nan, "diameter_m must be a number, got nan"),
    ],
)
def test_nonsense_is_refused(bore: float, wrong: str) -> None:
    with pytest.raises(ValueError, match=wrong):
        velocity_limit(ROAD, bore, "low")
