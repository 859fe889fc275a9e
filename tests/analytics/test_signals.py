"""A station's signals, with what still holds as they begin."""

from __future__ import annotations

import pytest

from analytics.signals import load_signals
from bondtrail.samples import Samples
from bondtrail.site import Role
from store import Store
from tests.analytics.core.build import ns
from tests.analytics.workdays import MONDAY, site

STATION = site("spot", stale_s=5).station("spot")


def at(*seconds: float) -> Samples:
    return Samples.of([ns(MONDAY + second) for second in seconds], [2.0] * len(seconds))


@pytest.mark.parametrize(
    ("stored", "expected"),
    [
        pytest.param([], [], id="none"),
        pytest.param([94.9], [], id="long-stale"),
        pytest.param([95, 100, 109.9], [95, 100, 109.9], id="from-where-one-may-still-hold"),
        pytest.param([110, 120], [], id="from-the-end-on-none"),
    ],
)
def test_samples_that_hold_from_100_to_110_s(
    store: Store, stored: list[float], expected: list[float]
) -> None:
    store.write({"spot.resistance": at(*stored), "other.resistance": at(101)})
    signals = load_signals(store, STATION, ns(MONDAY + 100), ns(MONDAY + 110))
    assert signals == {Role.RESISTANCE: at(*expected), Role.FLOW: Samples.empty()}


def test_each_point_is_read_from_as_long_before_as_it_holds_itself(store: Store) -> None:
    patient = site("spot", stale_s=30).station("spot").points[Role.FLOW]
    station = STATION.model_copy(update={"points": {**STATION.points, Role.FLOW: patient}})
    store.write({"spot.resistance": at(80), "spot.flow": at(80)})
    signals = load_signals(store, station, ns(MONDAY + 100), ns(MONDAY + 110))
    assert {role: len(samples) for role, samples in signals.items()} == {
        Role.RESISTANCE: 0,
        Role.FLOW: 1,
    }
