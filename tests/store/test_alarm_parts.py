"""Alarms packed for counting always equal the rows, whatever was saved in what order."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection

import numpy as np
import pytest

from bondtrail.results import Alarm, AlarmKind, StationResults
from store import Store
from store.alarm_parts import KINDS, PART_NS

KINDS_SEEN = list(AlarmKind)
BEGINNING = -(2**63 - 1)


def save(
    store: Store, station: str, alarms: Collection[Alarm], since: int, until: int | None = None
) -> None:
    store.save_results(
        StationResults(station, alarms=tuple(alarms)),
        since=since,
        since_day=dt.date.min,
        until=until,
        until_day=None if until is None else dt.date(2262, 1, 1),
    )


def made(station: str, seed: int, since: int, until: int, count: int) -> list[Alarm]:
    """Alarms that begin in a span, some of them for long."""
    draw = np.random.default_rng(seed)
    starts = np.sort(draw.integers(since, until, count))
    lasts = draw.integers(0, 4, count) * draw.integers(1, PART_NS, count) // 2
    kinds = draw.integers(0, len(KINDS_SEEN), count)
    told = zip(starts.tolist(), lasts.tolist(), kinds.tolist(), strict=True)
    return [Alarm(station, KINDS_SEEN[kind], at, at + length) for at, length, kind in told]


def packed(store: Store, start: int, end: int, stations: list[str] | None = None) -> list[Alarm]:
    found = store.summaries.alarm_columns(start, end, stations)
    columns = (found.station, found.kind, found.start, found.end)
    told = zip(*(column.tolist() for column in columns), strict=True)
    return [Alarm(found.stations[s], found.kinds[k], begin, over) for s, k, begin, over in told]


def in_order(alarms: Collection[Alarm]) -> list[Alarm]:
    return sorted(alarms, key=lambda row: (row.start, row.station, row.kind, row.end))


def test_every_kind_has_a_code_that_stays() -> None:
    assert set(KINDS) == set(AlarmKind)
    assert [str(kind) for kind in KINDS] == [
        "bond_lost",
        "item_bond_lost",
        "monitor_fault",
        "disagreement",
        "bypass_on",
    ]


@pytest.mark.parametrize(
    ("start", "end"),
    [
        pytest.param(0, 9 * PART_NS, id="everything"),
        pytest.param(2 * PART_NS, 4 * PART_NS, id="whole-parts"),
        pytest.param(PART_NS + 12345, 3 * PART_NS - 1, id="across-parts"),
        pytest.param(PART_NS + 1000, PART_NS + PART_NS // 50, id="inside-one"),
        pytest.param(20 * PART_NS, 21 * PART_NS, id="after-all-began"),
        pytest.param(-3 * PART_NS, -2 * PART_NS, id="before"),
    ],
)
def test_columns_hold_what_rows_hold(store: Store, start: int, end: int) -> None:
    for number, station in enumerate(("bay-1", "rail-1", "rail-2")):
        save(store, station, made(station, number, 0, 5 * PART_NS, 60), BEGINNING)
    assert in_order(packed(store, start, end)) == in_order(store.alarms(None, start, end))
    of_one = packed(store, start, end, ["rail-1"])
    assert in_order(of_one) == in_order(store.alarms("rail-1", start, end))


def test_windows_saved_again_stay_equal(store: Store) -> None:
    draw = np.random.default_rng(5)
    save(store, "rail-1", made("rail-1", 1, 0, 4 * PART_NS, 50), BEGINNING)
    save(store, "rail-2", made("rail-2", 2, 0, 4 * PART_NS, 50), BEGINNING)
    for seed in range(12):
        since = int(draw.integers(0, 4 * PART_NS))
        until = since + int(draw.integers(1, PART_NS))
        save(store, "rail-1", made("rail-1", seed, since, until, seed % 4), since, until)
        everything = packed(store, 0, 9 * PART_NS)
        assert in_order(everything) == in_order(store.alarms(None, 0, 9 * PART_NS))
    since = 2 * PART_NS + 5
    save(store, "rail-1", [], since)
    assert in_order(packed(store, 0, 9 * PART_NS)) == in_order(store.alarms())


def test_from_the_very_beginning_to_a_part_that_ends(store: Store) -> None:
    alarms = made("rail-1", 7, -3 * PART_NS, PART_NS, 20)
    save(store, "rail-1", alarms, BEGINNING, PART_NS)
    assert in_order(packed(store, -4 * PART_NS, PART_NS)) == in_order(alarms)


def test_without_alarms_there_are_empty_columns(store: Store) -> None:
    found = store.summaries.alarm_columns(0, PART_NS)
    assert (list(found.stations), found.start.size, found.kind.size) == ([], 0, 0)


def test_an_alarm_of_no_length_belongs_where_it_began(store: Store) -> None:
    save(store, "rail-1", [Alarm("rail-1", AlarmKind.BYPASS_ON, 50, 50)], BEGINNING)
    assert len(packed(store, 50, 51)) == 1
    assert packed(store, 49, 50) == packed(store, 51, 52) == []


def test_an_alarm_that_began_long_ago_is_found(store: Store) -> None:
    old = Alarm("rail-1", AlarmKind.MONITOR_FAULT, 10, 30 * PART_NS)
    save(store, "rail-1", [old], BEGINNING)
    assert packed(store, 29 * PART_NS, 30 * PART_NS) == [old]
    assert packed(store, 30 * PART_NS, 31 * PART_NS) == []
