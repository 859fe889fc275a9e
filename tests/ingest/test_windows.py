from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest

from bondtrail.results import Ticket, WorkWindow
from bondtrail.times import parse_time
from tests.ingest.conftest import Load

START, END = parse_time("2026-03-01T06:00:00Z"), parse_time("2026-03-01T08:00:00Z")
WORK = "start,end,station,what\n"
BATCH = "start,end,station,batch,product,operator\n"
SPAN = "2026-03-01T06:00:00Z,2026-03-01T08:00:00Z"


def test_work_windows_are_kept(load: Load) -> None:
    loaded = load(f'{WORK}{SPAN},rail-1,"strap off, clean-down"\n')
    assert loaded.store.work() == [WorkWindow("rail-1", START, END, "strap off, clean-down")]
    assert loaded.counts == (1, 1, 0, 0, 0)


def test_tickets_are_kept(load: Load) -> None:
    loaded = load(f"{BATCH}{SPAN},rail-1,B-7,toluene,night shift\n")
    assert loaded.store.tickets() == [Ticket("rail-1", START, END, "B-7", "toluene", "night shift")]


def test_columns_come_in_any_order_and_some_may_lack(load: Load) -> None:
    loaded = load("Batch;STATION;End;Start\nB-7;rail-1;1772352000;1772344800\n")
    assert loaded.store.tickets() == [Ticket("rail-1", START, END, "B-7", "", "")]


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ("2026-03-01T06:00:00Z,2026-03-01T05:00:00Z,rail-1,x", "lies before the start"),
        (f"{SPAN},rail-9,x", "station 'rail-9' is not in the site file"),
        (f"{SPAN},,x", "station '' is not in the site file"),
        ("soon,2026-03-01T05:00:00Z,rail-1,x", "start: time 'soon'"),
        ("2026-03-01T06:00:00Z,2026-03-01T08:00:00,rail-1,x", "end: time"),
        ("2026-03-01T06:00:00Z,,rail-1,x", "end: the time is empty"),
        (f"{SPAN},rail-1", "columns"),
    ],
)
def test_a_bad_row_is_kept_and_stops_nothing(load: Load, row: str, told: str) -> None:
    loaded = load(f"{WORK}{SPAN},rail-1,before\n{row}\n{SPAN},rail-2,after\n")
    (reject,) = loaded.rejects
    assert told in reject.reason
    assert (reject.where, reject.raw) == ("line 3", row)
    assert [window.what for window in loaded.store.work()] == ["before", "after"]
    assert loaded.counts == (3, 2, 0, 0, 1)


def test_a_row_with_several_faults_is_one_reject(load: Load) -> None:
    assert load(f"{WORK}soon,later,rail-9,x\n").counts == (1, 0, 0, 0, 1)


def test_a_window_of_no_length_is_kept(load: Load) -> None:
    loaded = load(f"{WORK}2026-03-01T06:00:00Z,2026-03-01T06:00:00Z,rail-1,x\n")
    assert loaded.report.new == 1


def test_wall_clock_times_need_a_zone(load: Load) -> None:
    row = "2026-07-01T06:00:00,2026-07-01T08:00:00,rail-1,x\n"
    assert load(WORK + row).report.rejected == 1
    loaded = load(WORK + row, zone=ZoneInfo("Europe/Lisbon"))
    assert [window.start for window in loaded.store.work()] == [parse_time("2026-07-01T05:00:00Z")]


def test_the_same_again_is_a_repeat_and_a_changed_ticket_replaces(load: Load) -> None:
    ticket = f"{BATCH}{SPAN},rail-1,B-7,toluene,"
    assert load(f"{ticket}A\n").counts == (1, 1, 0, 0, 0)
    again = load(f"{ticket}A\n")
    assert again.counts == (1, 0, 1, 0, 0)
    assert again.report.is_repeat
    assert load(f"{ticket}B\n").counts == (1, 0, 0, 1, 0)


def test_several_thousand_windows(load: Load) -> None:
    rows = "".join(
        f"{1_772_344_800 + n},{1_772_344_900 + n},rail-{n % 2 + 1},no. {n}\n" for n in range(5000)
    )
    assert load(WORK + rows).counts == (5000, 5000, 0, 0, 0)
