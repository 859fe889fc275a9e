"""What comes with a batch: who sent it, and what of it could not be taken."""

from __future__ import annotations

from dataclasses import replace

import pytest

from bondtrail.results import Reject
from bondtrail.running import Given, Source
from bondtrail.samples import Samples
from store import Store, Written

S = 10**9
DAY = 86_400 * S
T0 = 1_767_225_600 * S
RAIL = Source("mqtt rail-1", 10, T0, 0.25, 0.05, 10)
FLOW = {"rail-1.flow": Samples.of([T0], [812.0])}
WRONG = Reject("mqtt://broker", "topic a/b", "no JSON: expected an object", "first", T0)


def test_nobody_was_heard_of_a_store_that_holds_nothing(store: Store) -> None:
    assert store.sources() == []


@pytest.mark.parametrize(
    ("then", "expected"),
    [
        pytest.param(
            replace(RAIL, readings=5, heard=T0 + 9, lag_median_s=0.5, lag_spread_s=0.0),
            Source("mqtt rail-1", 15, T0 + 9, 0.5, 0.0, 10),
            id="later",
        ),
        pytest.param(
            Source("mqtt rail-1", 5, T0 + 9),
            Source("mqtt rail-1", 15, T0 + 9, 0.25, 0.05, 10),
            id="no-live-reading-keeps-the-lag-that-was-known",
        ),
        pytest.param(
            Source("mqtt rail-1", 0, T0 - 9), replace(RAIL, readings=10), id="never-goes-back"
        ),
    ],
)
def test_a_source_adds_up(store: Store, then: Source, expected: Source) -> None:
    store.write(FLOW, sources=[RAIL])
    store.write({}, sources=[then])
    assert store.sources() == [expected]


def test_sources_are_told_by_name_however_long(store: Store) -> None:
    names = ["sparkplug b/1", "mqtt \u00e9", "mqtt a\0", "x" * 9999]
    store.write({}, sources=[Source(name, 1, T0) for name in names])
    told = [each.name for each in store.sources()]
    assert told == sorted(["sparkplug b/1", "mqtt \u00e9", "mqtt a\\x00", "x" * 400])


def test_rejects_of_one_kind_add_up_and_the_first_stays(store: Store) -> None:
    later = replace(WRONG, raw="second", at=T0 + 5, count=3)
    elsewhere = replace(WRONG, where="topic a/c")
    assert store.write(FLOW, rejects=[WRONG, later, elsewhere]) == Written(new=1)
    store.write({}, rejects=[replace(later, count=7)])
    assert store.rejects() == [elsewhere, replace(WRONG, count=11, last_at=T0 + 5)]


def test_rejects_of_one_kind_are_a_row_a_day(store: Store) -> None:
    """Else what goes wrong for years would be told of its first day alone."""
    days = [T0, T0 + DAY - 1, T0 + DAY, T0 + 900 * DAY]
    for at in days:
        store.write({}, rejects=[replace(WRONG, raw=str(at), at=at)])
    first, second, last = store.rejects()
    assert first == replace(WRONG, raw=str(T0), count=2, last_at=T0 + DAY - 1)
    assert (second.at, second.last_at, second.count) == (T0 + DAY, None, 1)
    assert store.rejects(start=T0 + 900 * DAY) == [last]
    assert store.rejects(start=T0 + DAY - 1, end=T0 + DAY) == [first]
    assert store.rejects(limit=1) == [last]
    since = [store.rejected_since(at) for at in (T0, T0 + DAY - 1, T0 + DAY, T0 + 901 * DAY)]
    assert since == [4, 4, 2, 0]


EARLY = replace(WRONG, point="rail-1.flow", time=T0 - 50 * S)


@pytest.mark.parametrize(
    ("start_s", "end_s", "is_found"),
    [
        pytest.param(-90, -50, False, id="ends-with-the-first"),
        pytest.param(-90, -49, True, id="holds-the-first"),
        pytest.param(-30, -29, True, id="between"),
        pytest.param(-10, 0, True, id="begins-with-the-last"),
        pytest.param(-9, 0, False, id="after-the-last"),
    ],
)
def test_rejects_of_a_kind_are_found_by_all_the_time_that_their_readings_span(
    store: Store, start_s: int, end_s: int, is_found: bool
) -> None:
    later = replace(EARLY, time=T0 - 20 * S, last_time=T0 - 10 * S, at=T0 + S)
    other = replace(EARLY, point="rail-1.status")
    for each in (later, other, EARLY):
        store.write({}, rejects=[each])
    found = store.rejected("rail-1.flow", T0 + start_s * S, T0 + end_s * S)
    whole = replace(EARLY, at=T0 + S, count=2, last_time=T0 - 10 * S)
    assert found == ([whole] if is_found else [])


def test_a_reject_without_a_time_takes_none_from_one_that_has_it(store: Store) -> None:
    store.write({}, rejects=[replace(EARLY, time=None)])
    store.write({}, rejects=[EARLY])
    store.write({}, rejects=[replace(EARLY, time=None)])
    assert store.rejects() == [replace(EARLY, count=3)]


def test_rejects_that_add_up_are_no_rows_of_a_file(store: Store) -> None:
    """A file tells its rows apart by their text too, and read again it adds nothing."""
    store.put_rejects([WRONG])
    store.write({}, rejects=[WRONG])
    store.put_rejects([WRONG])
    assert [each.count for each in store.rejects()] == [1, 1]


def test_a_batch_that_cannot_be_taken_leaves_nothing_of_what_came_with_it(store: Store) -> None:
    with pytest.raises(ValueError, match="NaN"):
        store.write(
            {"rail-1.flow": Samples.of([T0], [float("nan")])},
            rejects=[WRONG],
            sources=[RAIL],
            given=[GIVEN],
        )
    assert (store.rejects(), store.sources(), store.points()) == ([], [], [])
    store.write(FLOW)
    assert store.given() == []


GIVEN = Given("rail-1.flow", "sparkplug plant/gate", "m1", "FT-1")


def test_who_gives_a_point_is_told_with_its_newest_reading(store: Store) -> None:
    store.write({"rail-1.flow": Samples.of([T0 + S, T0], [5.0, 4.0], [2, 0])}, given=[GIVEN])
    assert store.given() == [replace(GIVEN, time=T0 + S, value=5.0, quality=2)]


def test_the_last_to_give_a_point_counts(store: Store) -> None:
    store.write(FLOW, given=[GIVEN])
    other = replace(GIVEN, source="sparkplug plant/\u00e9", device="", metric="rail-1.flow")
    store.write({}, given=[replace(GIVEN, device="m3"), other])
    assert store.given() == [replace(other, time=T0, value=812.0)]


def test_by_which_alias_a_point_is_given_is_told(store: Store) -> None:
    by_alias = replace(GIVEN, alias=2**63 - 1, datatype=10, session=255)
    for told in (by_alias, GIVEN, by_alias):
        store.write(FLOW, given=[told])
        assert store.given() == [replace(told, time=T0, value=812.0)]


def test_nobody_gives_a_point_without_readings(store: Store) -> None:
    store.write({}, given=[GIVEN])
    assert store.given() == []
