"""Alarms as columns."""

from __future__ import annotations

import numpy as np

from analytics.core.alarm_table import Tag, alarm_table, coded_table
from bondtrail.results import Alarm, AlarmKind

FAULT = Alarm("rail-2", AlarmKind.MONITOR_FAULT, 30, 40)
BYPASS = Alarm("rail-1", AlarmKind.BYPASS_ON, 10, 99)
AGAIN = Alarm("rail-1", AlarmKind.BYPASS_ON, 20, 25)


def test_rows_come_back_by_start() -> None:
    table = alarm_table([FAULT, BYPASS, AGAIN])
    assert table.rows() == [BYPASS, AGAIN, FAULT]
    assert len(table) == 3


def test_tags_are_sorted() -> None:
    found = alarm_table([FAULT, BYPASS, AGAIN]).tags
    assert list(found) == [
        Tag("rail-1", AlarmKind.BYPASS_ON),
        Tag("rail-2", AlarmKind.MONITOR_FAULT),
    ]


def test_no_alarms_make_an_empty_table() -> None:
    table = alarm_table([])
    assert (len(table), table.rows(), list(table.tags)) == (0, [], [])


def test_begun_takes_the_start_and_leaves_the_end() -> None:
    table = alarm_table([FAULT, BYPASS, AGAIN])
    assert table.begun(10, 30).rows() == [BYPASS, AGAIN]
    assert table.begun(11, 31).rows() == [AGAIN, FAULT]
    assert table.begun(31, 99).rows() == []


def test_taken_rows_keep_their_codes() -> None:
    table = alarm_table([FAULT, BYPASS, AGAIN])
    assert table.take(table.end > 30).rows() == [BYPASS, FAULT]
    assert table.take(slice(0, 0)).tags == table.tags


def test_a_table_told_by_codes_equals_one_of_alarms() -> None:
    stations, kinds = ["rail-1", "rail-2", "rail-9"], list(AlarmKind)
    alarms = [FAULT, BYPASS, AGAIN]
    table = coded_table(
        stations,
        kinds,
        np.array([stations.index(alarm.station) for alarm in alarms]),
        np.array([kinds.index(alarm.kind) for alarm in alarms], np.uint8),
        np.array([alarm.start for alarm in alarms]),
        np.array([alarm.end for alarm in alarms]),
    )
    assert table.rows() == alarm_table(alarms).rows()
    assert list(table.tags) == list(alarm_table(alarms).tags)


def test_a_table_of_no_codes_is_empty() -> None:
    nothing = np.empty(0, np.int64)
    table = coded_table([], list(AlarmKind), nothing, nothing, nothing, nothing)
    assert (len(table), list(table.tags)) == (0, [])


def test_a_table_is_split_by_groups_of_tags() -> None:
    table = alarm_table([FAULT, BYPASS, AGAIN])
    other, bypass, nothing = table.split([1, 0], 3)
    assert (other.rows(), bypass.rows(), nothing.rows()) == ([FAULT], [BYPASS, AGAIN], [])
    assert list(other.tags) == list(table.tags)


def test_nothing_is_split_into_nothing() -> None:
    assert [len(part) for part in alarm_table([]).split([], 2)] == [0, 0]
