"""How long to wait, by vessel and by liquid."""

from __future__ import annotations

import math

import pytest

from analytics.core.electrostatics.relaxation import relaxation_time, remaining_fraction
from analytics.core.electrostatics.waiting import residence_after_filter, waiting_time
from bondtrail.site import StationKind

ROAD, RAIL = StationKind.ROAD_TANKER, StationKind.RAIL_TANK_CAR
MICROSECONDS = 1e-5


@pytest.mark.parametrize(
    ("kind", "low", "high"),
    [
        # From memory: about a minute for vehicles, a few minutes by size for others, half an hour
        # for tanks above 40 m3.
        pytest.param(ROAD, 60, 60, id="road"),
        pytest.param(RAIL, 60, 60, id="rail"),
        pytest.param(StationKind.DRUM, 60, 300, id="drum"),
        pytest.param(StationKind.FIXED_ITEM, 60, 1800, id="fixed-item"),
    ],
)
@pytest.mark.parametrize("tau", [None, MICROSECONDS])
def test_published_rest(kind: StationKind, low: float, high: float, tau: float | None) -> None:
    found = waiting_time(kind, tau)
    assert (found.low, found.high, found.unit) == (low, high, "s")
    assert "from memory" in found.source


@pytest.mark.parametrize(
    ("tau", "typical", "high"),
    [
        # Hand-worked: 3 relaxation times, and 6.9078 for a thousandth.
        pytest.param(relaxation_time(3, 2), 60, 60, id="3-pS/m-is-gone-in-a-minute"),
        pytest.param(relaxation_time(1, 2.38), 63.22, 145.57, id="toluene"),
        pytest.param(100, 300, 690.78, id="100-s"),
        pytest.param(math.inf, math.inf, math.inf, id="never"),
    ],
)
def test_slow_liquids_take_longer(tau: float, typical: float, high: float) -> None:
    found = waiting_time(RAIL, tau)
    assert found.low == 60
    assert (found.typical, found.high) == pytest.approx((typical, high), abs=0.01)


@pytest.mark.parametrize("kind", StationKind)
def test_every_kind_has_a_wait_that_never_falls_as_the_liquid_slows(kind: StationKind) -> None:
    waits = [waiting_time(kind, 10.0**n) for n in range(-6, 6)]
    for level in ("low", "typical", "high"):
        found = [getattr(wait, level) for wait in waits]
        assert found == sorted(found)
        assert found[0] >= 60


@pytest.mark.parametrize(("tau", "overstated"), [(17.7, False), (18.1, True), (3e4, True)])
def test_wait_that_is_too_long_says_so(tau: float, overstated: bool) -> None:
    assert ("charge leaves faster" in waiting_time(RAIL, tau).source) is overstated


def test_our_reading_of_a_few_minutes() -> None:
    found = waiting_time(StationKind.DRUM), waiting_time(StationKind.FIXED_ITEM)
    assert [wait.typical for wait in found] == [180, 300]
    assert all("our reading" in wait.source for wait in found)


def test_at_the_high_level_a_thousandth_is_left() -> None:
    assert remaining_fraction(waiting_time(RAIL, 100).high, 100) == pytest.approx(0.001)


@pytest.mark.parametrize(
    ("tau", "low", "high"),
    [
        # From memory: 30 s, or 3 relaxation times.
        pytest.param(None, 30, 30, id="not-known"),
        pytest.param(2, 6, 30, id="fast"),
        pytest.param(10, 30, 30, id="alike"),
        pytest.param(18, 30, 54, id="slow"),
        pytest.param(math.inf, 30, math.inf, id="never"),
    ],
)
def test_residence_after_filter(tau: float | None, low: float, high: float) -> None:
    found = residence_after_filter(tau)
    assert (found.low, found.typical, found.high, found.unit) == (low, 30, high, "s")


@pytest.mark.parametrize(
    ("tau", "wrong"),
    [
        (0, "relaxation_time_s must be above 0 s, got 0"),
        (-1, "relaxation_time_s must be above 0 s, got -1"),
        (math.nan, "relaxation_time_s must be a number, got nan"),
    ],
)
def test_nonsense_is_refused(tau: float, wrong: str) -> None:
    with pytest.raises(ValueError, match=wrong):
        waiting_time(RAIL, tau)
    with pytest.raises(ValueError, match=wrong):
        residence_after_filter(tau)
