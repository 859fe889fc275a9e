"""Which transfers are the good ones that another is laid beside."""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest

from analytics.core.typical import FEW
from analytics.replay.typicals import DAY_NS, MOST, MOST_COURSES, typical_of
from bondtrail.results import Transfer
from bondtrail.samples import Samples
from bondtrail.site import Role
from store import Store
from tests.analytics.core.build import station
from tests.analytics.made import HOUR, a_transfer, put

SPOT = station().model_copy(update={"id": "spot"})
LATEST = 400 * DAY_NS


def made(before_h: float, **other: Any) -> Transfer:
    """A transfer of an hour's flow, so many hours before the latest."""
    told: dict[str, Any] = {"product": "toluene", "end": LATEST - round((before_h - 0.5) * HOUR)}
    transfer = a_transfer("spot", LATEST - round(before_h * HOUR))
    return dataclasses.replace(transfer, **(told | other))


def good_of(store: Store, *earlier: Transfer, **other: Any) -> list[float]:
    """The good ones, by how many hours before the latest they began."""
    latest = made(0, **other)
    put(store, "spot", transfers=[*sorted(earlier, key=lambda each: each.start), latest])
    span = latest.start - HOUR, latest.end + HOUR
    typical = typical_of(store, SPOT, latest, span, {}, [], [])
    by_id = {each.id: (LATEST - each.start) / HOUR for each in earlier}
    assert typical.product == latest.product
    return [by_id[each] for each in typical.transfers]


@pytest.mark.parametrize(
    ("other", "good"),
    [
        pytest.param({}, True, id="a-good-one"),
        pytest.param({"product": "acetone"}, False, id="another-product"),
        pytest.param({"compliant": False}, False, id="not-compliant"),
        pytest.param({"findings": ("spot/early_release/x",)}, False, id="something-found"),
        pytest.param({"trips": 1}, False, id="a-trip"),
        pytest.param({"end": LATEST + 1}, False, id="still-going-on"),
        pytest.param({"end": LATEST}, True, id="just-over"),
    ],
)
def test_which_are_good(store: Store, other: dict[str, Any], good: bool) -> None:
    assert good_of(store, made(2, **other)) == ([2] if good else [])


@pytest.mark.parametrize(("days", "good"), [(1, True), (200, True), (365, True), (367, False)])
def test_only_those_of_the_year_before(store: Store, days: int, good: bool) -> None:
    assert good_of(store, made(24 * days)) == ([24 * days] if good else [])


def test_the_latest_fifty_count_by_start(store: Store) -> None:
    every = [made(2 * n) for n in range(1, MOST + 4)]
    assert good_of(store, *every) == [2.0 * n for n in range(MOST, 0, -1)]


def test_rare_ones_are_found_among_many_of_other_products(store: Store) -> None:
    many = [made(2 * n, product="acetone") for n in range(1, 100)]
    rare = [made(24 * days + 1) for days in (300, 100, 20, 3)]
    assert good_of(store, *many, *rare) == [24.0 * days + 1 for days in (300, 100, 20, 3)]


def test_a_transfer_of_no_named_product_lies_beside_its_like(store: Store) -> None:
    assert good_of(store, made(2, product=None), made(4), product=None) == [2]


class Counted:
    """A store that counts what is read of it."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self.reads = 0

    def read(self, *args: Any, **more: Any) -> Any:
        self.reads += 1
        return self._store.read(*args, **more)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._store, name)


@pytest.mark.parametrize(
    ("hours", "count", "read"),
    [
        pytest.param(0.5, 4, 4, id="too-few: what-they-measured"),
        pytest.param(0.5, 30, MOST_COURSES, id="the-latest"),
        pytest.param(6, 30, 8, id="long-ones: 48 h"),
        pytest.param(40, 30, FEW, id="very-long-ones: five"),
    ],
)
def test_how_many_are_read_for_their_course(
    store: Store, hours: float, count: int, read: int
) -> None:
    lasting = [
        made(50 * n, end=made(50 * n).start + round(hours * HOUR)) for n in range(1, count + 1)
    ]
    latest = made(0)
    put(store, "spot", transfers=[*reversed(lasting), latest])
    where = station(Role.FLOW).model_copy(update={"id": "spot"})
    counted = Counted(store)
    span = latest.start - HOUR, latest.end + HOUR
    typical_of(counted, where, latest, span, {Role.FLOW: Samples.empty()}, [], [])  # type: ignore[arg-type]
    assert counted.reads == read


def test_only_flow_that_was_measured_throughout_is_compared(store: Store) -> None:
    """Six good ones a day apart with a reading a minute; one lacks ten of them."""
    flow, stale_s = 10.0, 90.0
    lasting = [made(24 * n, volume=300.0 + n, unit="L") for n in range(6, 0, -1)]
    latest = made(0, volume=305.0, unit="L")
    put(store, "spot", transfers=[*lasting, latest])
    times = [t for each in (*lasting, latest) for t in range(each.start, each.end, 60 * 10**9)]
    lost = lasting[2].start + 10 * 60 * 10**9
    times = [t for t in times if not lost <= t < lost + 10 * 60 * 10**9]
    store.write({"spot.flow": Samples.of(times, [flow] * len(times))})
    where = SPOT.model_copy(update={"points": station(Role.FLOW, stale_s=stale_s).points})
    span = latest.start, latest.end
    signals = {Role.FLOW: store.read("spot.flow", *span)}
    typical = typical_of(store, where, latest, span, signals, [], [])
    by_name = {each.name: each for each in typical.comparisons}
    assert len(typical.transfers) == 6
    assert (by_name["volume_L"].of, by_name["flow_s"].of) == (5, 6)
    assert (by_name["volume_L"].low, by_name["volume_L"].high) == (301, 306)
    assert (by_name["volume_L"].value, by_name["volume_L"].differs) == (305, False)
    silent = typical_of(store, where, latest, span, {Role.FLOW: Samples.empty()}, [], [])
    by_name = {each.name: each for each in silent.comparisons}
    assert (by_name["volume_L"].value, by_name["volume_L"].differs) == (None, None)
    assert (by_name["bypassed_s"].value, by_name["bypassed_s"].of) == (None, 0)
