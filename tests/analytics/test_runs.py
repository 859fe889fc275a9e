"""Bringing results up to date: what is judged, when, and what is left for later."""

from __future__ import annotations

import sqlite3
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from analytics import history, runs
from analytics.core.days import plus
from analytics.core.drift import drift_findings
from analytics.core.station import judge
from analytics.runs import AnalysisReport, analyse
from bondtrail.results import Finding, Outcome, StationResults, Ticket, WorkWindow
from bondtrail.samples import Samples
from bondtrail.site import Role, parse_site
from store import Store, open_store
from tests.analytics.core.build import GAP, OPEN, Stretch, held, ns
from tests.analytics.workdays import (
    DAY,
    HOUR,
    MINUTE,
    MONDAY,
    NOTHING,
    Results,
    begins,
    site,
    told,
    workdays,
)
from tests.reference.scripts import shift

LATER = ns(MONDAY + 90 * DAY)
SITE = site("spot")
DRYER = parse_site(
    """
schema = 1
[site]
id = "pier"
name = "Pier (invented)"
timezone = "Europe/Lisbon"
[[station]]
id = "dryer"
name = "Dryer bowl (invented)"
kind = "fixed_item"
points = { resistance = { stale_after_s = 60 } }
"""
)


def judged(batch: dict[str, Samples]) -> StationResults:
    """What the rules say of a spot, straight from its samples."""
    signals = {Role(point.split(".")[1]): samples for point, samples in batch.items()}
    return judge(SITE.station("spot"), signals, zone=SITE.zone)


def ready(store: Store, *ohms: float) -> dict[str, Samples]:
    """A store with a site file and a day at a spot for each resistance."""
    store.put_site(SITE, 0)
    batch = workdays(*ohms)
    store.write(batch)
    return batch


# What is judged.


def test_without_a_site_file_nothing_is_done_and_nothing_forgotten(store: Store) -> None:
    store.write(workdays(2.0))
    assert analyse(store, now=LATER) == AnalysisReport()
    assert set(store.touched()) == {"spot"}


def test_an_empty_store_has_nothing_to_tell(store: Store) -> None:
    store.put_site(SITE, 0)
    report = analyse(store, now=LATER)
    assert (report.findings, report.damaged) == (0, [])
    assert told(store) == NOTHING


def test_the_store_is_told_what_the_rules_say(store: Store) -> None:
    batch = ready(store, 2.0, 12.0)
    report = analyse(store, now=LATER)
    expected = judged(batch)
    assert told(store) == tuple(
        list(part)
        for part in (
            expected.transfers,
            expected.hookups,
            expected.trips,
            expected.findings,
            expected.alarms,
            expected.days,
            expected.shifts,
        )
    )
    assert (report.stations, report.windows, report.damaged) == (1, 1, [])
    assert report.findings == len(expected.findings) == 2


def test_what_is_up_to_date_is_left_alone(store: Store) -> None:
    ready(store, 2.0)
    analyse(store, now=LATER)
    assert store.touched() == {}
    assert analyse(store, now=LATER) == AnalysisReport()


def test_progress_tells_each_station_in_order(store: Store) -> None:
    store.put_site(site("b", "a"), 0)
    store.write(workdays(2.0, station="b") | workdays(2.0, station="a"))
    begun: list[str] = []
    assert analyse(store, now=LATER, progress=begun.append).stations == 2
    assert begun == ["a", "b"]
    assert sorted({transfer.station for transfer in store.transfers()}) == ["a", "b"]


def test_only_what_was_touched_is_judged_again(store: Store) -> None:
    store.put_site(site("b", "a"), 0)
    store.write(workdays(2.0, station="b") | workdays(2.0, station="a"))
    analyse(store, now=LATER)
    store.write(workdays(2.0, station="b", start=MONDAY + DAY))
    begun: list[str] = []
    analyse(store, now=LATER, progress=begun.append)
    assert begun == ["b"]
    assert len(store.transfers("b")) == 2


# Again and again.


def test_judging_again_changes_nothing(store: Store) -> None:
    ready(store, 2.0, 12.0, 2.0)
    analyse(store, now=LATER)
    before = told(store)
    for since in (0, MONDAY, MONDAY + DAY + 8.5 * HOUR, MONDAY + 9 * DAY):
        store.touch("spot", ns(since))
        assert analyse(store, now=LATER).stations == 1
        assert told(store) == before


def test_judging_everything_anew_changes_nothing(store: Store) -> None:
    ready(store, 2.0, 12.0, 2.0)
    analyse(store, now=LATER)
    before = told(store)
    assert analyse(store, now=LATER, everything=True).stations == 1
    assert told(store) == before
    assert store.touched() == {}


def test_everything_takes_in_stations_that_the_latest_file_has_not(store: Store) -> None:
    ready(store, 2.0)
    store.put_site(site("other"), ns(MONDAY + DAY))
    analyse(store, now=LATER)
    begun: list[str] = []
    analyse(store, now=LATER, everything=True, progress=begun.append)
    assert begun == ["other", "spot"]
    assert len(store.transfers("spot")) == 1


@pytest.mark.parametrize(
    ("window_days", "back_hours"),
    [
        pytest.param(1, 1, id="a-day-at-a-time"),
        pytest.param(2.5, 1, id="ends-within-a-shift"),
        pytest.param(0.1, 48, id="too-short-so-they-grow"),
    ],
)
def test_many_windows_are_as_one(
    store: Store, monkeypatch: pytest.MonkeyPatch, window_days: float, back_hours: float
) -> None:
    ohms = [2.0, 12.0, 2.0, 2.0, OPEN, 2.0, 2.0]
    batch = ready(store, *ohms)
    assert analyse(store, now=LATER).windows == 1
    one = told(store)
    monkeypatch.setattr(runs, "WINDOW_NS", ns(window_days * DAY))
    monkeypatch.setattr(history, "LOOK_BACK_NS", ns(back_hours * HOUR))
    assert analyse(store, now=LATER, everything=True).windows > 2
    assert told(store) == one
    assert one[0] == list(judged(batch).transfers)


def test_days_that_come_one_by_one_are_as_all_at_once(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(history, "LOOK_BACK_NS", ns(HOUR))
    store.put_site(SITE, 0)
    ohms = [2.0, 12.0, 2.0, OPEN]
    for day, ohm in enumerate(ohms):
        store.write(workdays(ohm, start=MONDAY + day * DAY))
        analyse(store, now=ns(MONDAY + (day + 1) * DAY))
    analyse(store, now=LATER)
    expected = judged(workdays(*ohms))
    assert store.transfers() == list(expected.transfers)
    assert store.findings() == list(expected.findings)
    assert store.days() == list(expected.days)


def test_late_readings_change_what_they_touch(store: Store) -> None:
    store.put_site(SITE, 0)
    batch = workdays(2.0, 2.0)
    resistance = batch.pop("spot.resistance")
    store.write(batch)
    analyse(store, now=LATER)
    assert [transfer.compliant for transfer in store.transfers()] == [False, False]
    store.write({"spot.resistance": resistance.between(0, ns(MONDAY + DAY))})
    analyse(store, now=LATER)
    assert [transfer.compliant for transfer in store.transfers()] == [True, False]
    store.write({"spot.resistance": resistance})
    analyse(store, now=LATER)
    assert [transfer.compliant for transfer in store.transfers()] == [True, True]


# The clock.


def test_nothing_is_claimed_of_the_future_and_a_later_run_completes_it(store: Store) -> None:
    store.put_site(SITE, 0)
    start = MONDAY + 8 * HOUR
    store.write(
        {
            "spot.resistance": held((2 * MINUTE, 2.0), start=start, every_s=MINUTE),
            "spot.flow": held((2 * MINUTE, 60), start=start, every_s=MINUTE),
        }
    )
    # The last samples came a minute after the first, and hold for another.
    last = start + MINUTE
    for now_s, flowing in ((last + 10, 70), (last + 30, 90), (last + 300, 120), (last + 900, 120)):
        analyse(store, now=ns(now_s))
        (transfer,) = store.transfers()
        (day,) = store.days()
        assert transfer.flow_s == day.flow_s == day.known_s == flowing
        settled = now_s >= last + MINUTE
        marks = {station: mark.since for station, mark in store.touched().items()}
        assert marks == ({} if settled else {"spot": ns(now_s)})


def test_a_clock_that_is_behind_does_not_hide_what_was_read(store: Store) -> None:
    batch = ready(store, 2.0)
    analyse(store, now=0)
    assert store.transfers() == list(judged(batch).transfers)


# Alarms that go on.


def bypassed(store: Store, *stretches: Stretch) -> None:
    """What a bypass has said since Monday, a sample an hour, in a store of its own."""
    store.put_site(site("spot", points=("bypass",), stale_s=HOUR), 0)
    store.write({"spot.bypass": held(*stretches, start=MONDAY, every_s=HOUR)})
    analyse(store, now=LATER)


def hours(store: Store) -> list[tuple[float, float]]:
    """From when to when the bypass was on, in hours from Monday."""
    assert {str(alarm.kind) for alarm in store.alarms()} <= {"bypass_on"}
    return [
        ((alarm.start / 1e9 - MONDAY) / HOUR, (alarm.end / 1e9 - MONDAY) / HOUR)
        for alarm in store.alarms()
    ]


def test_an_alarm_lasts_as_long_as_it_is_known_to(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(runs, "WINDOW_NS", ns(DAY))
    monkeypatch.setattr(history, "LOOK_BACK_NS", ns(HOUR))
    on = (5 * HOUR, 0.0), (9 * DAY, 1.0)
    bypassed(store, (5 * HOUR, 0.0), (2 * HOUR, 1.0))
    assert hours(store) == [(5, 7)]
    bypassed(store, *on)
    assert hours(store) == [(5, 5 + 9 * 24)]
    bypassed(store, *on, (3 * DAY, GAP), (HOUR, 0.0), (2 * DAY, 0.0), (HOUR, 1.0))
    assert hours(store) == [(5, 5 + 12 * 24), (6 + 14 * 24, 7 + 14 * 24)]
    assert [dict(day.alarms) for day in store.days() if day.alarms] == [
        {"bypass_on": 1},
        {"bypass_on": 1},
    ]


# Shifts.

EARLY = (shift("early", "06:00", "14:00"),)
CHANGED = MONDAY + DAY + 10 * HOUR


def worked(store: Store) -> list[tuple[int, str | None, float]]:
    """Day, shift and the hours known of it."""
    return [(row.day.day, row.shift, row.known_s / HOUR) for row in store.shift_days()]


def test_without_shifts_no_day_is_told_in_parts(store: Store) -> None:
    ready(store, 2.0, 2.0)
    analyse(store, now=LATER)
    assert (worked(store), len(store.days())) == ([], 2)


@pytest.mark.parametrize("window_days", [31, 1])
def test_shifts_that_are_new_to_a_site_tell_of_every_day(
    store: Store, monkeypatch: pytest.MonkeyPatch, window_days: float
) -> None:
    monkeypatch.setattr(runs, "WINDOW_NS", ns(window_days * DAY))
    ready(store, 2.0, 2.0, 2.0)
    analyse(store, now=LATER)
    days = store.days()
    store.put_site(site("spot", roster=EARLY), ns(CHANGED))
    analyse(store, now=LATER)
    assert worked(store) == [
        (2, "", 24),
        *((3, "", 20), (3, "early", 4)),
        *((4, "", 16), (4, "early", 8)),
    ]
    assert store.days() == days


def test_shifts_that_are_gone_from_a_site_are_told_no_more(store: Store) -> None:
    store.put_site(site("spot", roster=EARLY), ns(MONDAY))
    store.write(workdays(2.0, 2.0))
    analyse(store, now=LATER)
    assert len(worked(store)) == 4
    store.put_site(SITE, ns(CHANGED))
    analyse(store, now=LATER)
    assert worked(store) == [(2, "", 16), (2, "early", 8), (3, "", 20), (3, "early", 4)]
    store.put_site(SITE, ns(MONDAY))
    analyse(store, now=LATER)
    assert worked(store) == []


def test_shifts_of_a_day_add_up_to_it(store: Store) -> None:
    store.put_site(site("spot", roster=EARLY), 0)
    store.write(workdays(2.0, 12.0))
    analyse(store, now=LATER)
    for day in store.days():
        parts = store.shift_days(first=day.day, last=day.day)
        total = replace(plus(*parts), shift=None)
        assert total == replace(day, volume=total.volume)
        assert total.volume == pytest.approx(day.volume, rel=0, abs=1e-6)


# Drift.

RISING = [4.0 + day / 8 for day in range(30)]
"""From 4 ohm by an eighth a day: the limit of 10 ohm is 18 days off after 30 hookups."""


def drifts(store: Store) -> list[Finding]:
    return store.findings(kind="resistance_drift")


def test_a_drift_is_found_over_all_of_history_and_counted(store: Store) -> None:
    batch = ready(store, *RISING)
    report = analyse(store, now=LATER)
    (drift,) = drifts(store)
    assert (drift,) == judged(batch).drift
    assert begins([drift]) == [8.0]
    assert (report.findings, drift.transfer) == (1, None)
    assert not any(day.findings for day in store.days())


@pytest.mark.parametrize("window_days", [0.1, 1, 7])
def test_a_drift_is_the_same_in_any_windows(
    store: Store, monkeypatch: pytest.MonkeyPatch, window_days: float
) -> None:
    batch = ready(store, *RISING)
    monkeypatch.setattr(runs, "WINDOW_NS", ns(window_days * DAY))
    monkeypatch.setattr(history, "LOOK_BACK_NS", ns(HOUR))
    assert analyse(store, now=LATER).windows > 1
    assert tuple(drifts(store)) == judged(batch).drift


def test_a_drift_goes_on_and_passes_as_hookups_come(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(history, "LOOK_BACK_NS", ns(HOUR))
    ready(store, *RISING[:19])
    analyse(store, now=LATER)
    assert drifts(store) == []
    store.write(workdays(*RISING[19:], start=MONDAY + 19 * DAY))
    analyse(store, now=LATER)
    assert [drift.evidence["hookups"] for drift in drifts(store)] == [30]
    # Cleaned: it is low again, and stays.
    store.write(workdays(*[4.0] * 20, start=MONDAY + 30 * DAY))
    analyse(store, now=LATER)
    assert drifts(store) == []


def test_a_drift_is_judged_again_only_where_it_may_be_another(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen: list[int] = []

    def counting(station: str, hookups: Any, *others: Any) -> list[Finding]:
        seen.append(len(hookups))
        return drift_findings(station, hookups, *others)

    def looks() -> list[int]:
        """Bring results up to date; how many hookups each look at a drift was given."""
        seen.clear()
        analyse(store, now=LATER)
        return list(seen)

    monkeypatch.setattr(runs, "drift_findings", counting)
    ready(store, *RISING)
    assert looks() == [30]
    before = drifts(store)
    after = ns(MONDAY + 30 * DAY)
    store.write({"spot.resistance": Samples.of([after], [OPEN])})
    assert (looks(), drifts(store)) == ([], before)
    store.write(workdays(RISING[-1], start=MONDAY + 31 * DAY))
    assert looks() == [31]
    store.put_work([WorkWindow("spot", after, after + 1, "clamp looked at")])
    assert looks() == [31]
    store.put_site(site("spot", limit_ohm=12.0), after)
    assert looks() == [31]
    store.write(workdays(4.0, start=MONDAY + 12.5 * DAY))
    assert looks()
    assert told(store) == told_anew(store)


@pytest.mark.parametrize("flows_on", [False, True])
def test_a_drift_that_an_analysis_was_stopped_before_is_judged_by_the_next(
    store: Store, monkeypatch: pytest.MonkeyPatch, flows_on: bool
) -> None:
    batch = ready(store, *RISING)
    monkeypatch.setattr(runs, "WINDOW_NS", ns(7 * DAY))
    analyse(store, now=LATER)
    before = drifts(store)
    late = workdays(*[12.0] * 5, start=MONDAY + DAY)
    store.write({"spot.resistance": late["spot.resistance"]})
    save = Store.save_results
    saved: list[StationResults] = []

    def stopped(self: Store, found: StationResults, **named: Any) -> None:
        if saved:
            pytest.fail("killed after the first window")
        saved.append(found)
        save(self, found, **named)

    with monkeypatch.context() as at_the_second_window:
        at_the_second_window.setattr(Store, "save_results", stopped)
        with pytest.raises(pytest.fail.Exception, match="killed"):
            analyse(store, now=LATER)
    assert drifts(store) == before
    if flows_on:
        # No quiet moment is left: the next analysis takes all in one window that it lengthens.
        flow = batch["spot.flow"].between(ns(MONDAY + 1.4 * DAY), LATER)
        store.write({"spot.flow": replace(flow, value=np.full(len(flow), 60.0))})
    assert (analyse(store, now=LATER).windows == 1) is flows_on
    assert [drift.evidence["hookups"] for drift in drifts(store)] == [25]
    assert told(store) == told_anew(store)


def test_a_drift_by_present_limits_is_judged_though_nothing_else_is_new(store: Store) -> None:
    ready(store, *RISING)
    store.put_site(site("spot", limit_ohm=40.0), ns(MONDAY + 30 * DAY))
    off = held((4 * DAY, OPEN), start=MONDAY + 30 * DAY, every_s=MINUTE)
    store.write({"spot.resistance": off.between(0, ns(MONDAY + 33.5 * DAY))})
    analyse(store, now=LATER)
    assert len(drifts(store)) == 1
    store.write({"spot.resistance": off})
    analyse(store, now=LATER, by_present_limits=True)
    # By then it takes more than 90 days to the limit.
    assert drifts(store) == []
    analyse(store, now=LATER)
    assert len(drifts(store)) == 1


def test_work_that_is_told_of_later_ends_a_drift(store: Store) -> None:
    ohms = [*RISING, *(4.0 + day / 8 for day in range(10))]
    ready(store, *ohms)
    analyse(store, now=LATER)
    before = drifts(store)
    day = MONDAY + 30 * DAY
    store.put_work([WorkWindow("spot", ns(day), ns(day + HOUR), "clamp cleaned")])
    analyse(store, now=LATER)
    assert drifts(store) != before
    assert told(store) == told_anew(store)


def test_a_drift_is_held_against_the_limits_at_its_last_hookup(store: Store) -> None:
    ready(store, *RISING)
    store.put_site(site("spot", limit_ohm=40.0), ns(MONDAY + 29 * DAY))
    analyse(store, now=LATER)
    # By then it takes more than 90 days to the limit.
    assert drifts(store) == []
    store.put_site(site("spot", limit_ohm=12.0), ns(MONDAY + 29 * DAY))
    analyse(store, now=LATER)
    (drift,) = drifts(store)
    assert (drift.limits["limit_ohm"], drift.evidence["limit_ohm"]) == (12.0, 12.0)


def test_a_station_in_no_site_file_drifts_no_more(store: Store) -> None:
    ready(store, *RISING)
    analyse(store, now=LATER)
    assert drifts(store)
    store.put_site(site("other"), 0)
    analyse(store, now=LATER)
    assert told(store) == NOTHING


# Stations that come and go.


def test_a_station_taken_out_of_the_site_keeps_its_history(store: Store) -> None:
    ready(store, 2.0, 2.0)
    analyse(store, now=LATER)
    assert len(store.transfers()) == 2
    store.put_site(site("other"), ns(MONDAY + DAY))
    analyse(store, now=LATER)
    assert begins(store.hookups()) == [8.0]
    assert [transfer.start for transfer in store.transfers()] == [
        ns(MONDAY + 8 * HOUR + 10 * MINUTE)
    ]
    assert store.touched() == {}


def test_a_station_in_no_site_file_has_no_results(store: Store) -> None:
    ready(store, 2.0)
    analyse(store, now=LATER)
    store.put_site(site("other"), 0)
    analyse(store, now=LATER)
    assert told(store) == NOTHING
    assert store.touched() == {}


# Damage.


def flip_a_byte(path: Path, point: str) -> None:
    """Flip a byte in the middle of the only segment of a point."""
    with sqlite3.connect(path) as connection:
        (row,) = connection.execute(
            "select s.id, s.block from segment s join point p on p.id = s.point_id"
            " where p.name = ?",
            (point,),
        ).fetchall()
        block = bytearray(row[1])
        block[len(block) // 2] ^= 0xFF
        connection.execute("update segment set block = ? where id = ?", (bytes(block), row[0]))
    connection.close()


@pytest.mark.parametrize("window_days", [31, 1])
def test_a_damaged_segment_is_reported_once_and_the_rest_judged(
    store_file: Path, monkeypatch: pytest.MonkeyPatch, window_days: float
) -> None:
    monkeypatch.setattr(runs, "WINDOW_NS", ns(window_days * DAY))
    url = f"sqlite:///{store_file}"
    with open_store(url) as store:
        store.put_site(site("other", "spot"), 0)
        store.write(workdays(2.0, 2.0, 12.0, 2.0) | workdays(2.0, station="other"))
        store.fold()
    flip_a_byte(store_file, "spot.flow")
    with open_store(url) as store:
        report = analyse(store, now=LATER)
        (damage,) = report.damaged
        assert (damage.part, damage.point) == ("segment", "spot.flow")
        assert (damage.start, damage.end) == (
            ns(MONDAY),
            ns(MONDAY + 4 * DAY - MINUTE) + 1,
        )
        assert report.stations == 2
        outcomes = [hookup.outcome for hookup in store.hookups("spot")]
        assert outcomes == [
            Outcome.VERIFIED,
            Outcome.VERIFIED,
            Outcome.FAILED,
            Outcome.VERIFIED,
        ]
        assert store.transfers("spot") == []
        assert len(store.transfers("other")) == 1


# Papers that come later.


def test_a_ticket_that_comes_later_names_its_transfer(store: Store) -> None:
    ready(store, 2.0, 2.0)
    analyse(store, now=LATER)
    assert [transfer.batch for transfer in store.transfers()] == [None, None]
    start = MONDAY + DAY + 8 * HOUR
    store.put_tickets([Ticket("spot", ns(start), ns(start + HOUR), "B-17", "toluene", "op-3")])
    analyse(store, now=LATER)
    assert [(t.batch, t.product, t.operator) for t in store.transfers()] == [
        (None, None, None),
        ("B-17", "toluene", "op-3"),
    ]


def test_a_work_window_that_comes_later_explains_an_isolation(store: Store) -> None:
    store.put_site(DRYER, 0)
    ohms = held((8 * HOUR, 2.0), (2 * HOUR, OPEN), (2 * HOUR, 2.0), start=MONDAY, every_s=MINUTE)
    store.write({"dryer.resistance": ohms})
    analyse(store, now=LATER)
    (finding,) = store.findings(kind="item_isolated")
    assert finding.evidence["after_work"] is False
    # The work was over hours before the strap was missed: nothing was touched after it.
    work = WorkWindow("dryer", ns(MONDAY - 3 * HOUR), ns(MONDAY + HOUR), "clean-down")
    store.put_work([work])
    analyse(store, now=LATER)
    (finding,) = store.findings(kind="item_isolated")
    assert finding.evidence["after_work"] is True


@pytest.mark.parametrize("window_days", [31, 1])
def test_an_analysis_overtaken_by_another_does_not_leave_older_results(
    store: Store, monkeypatch: pytest.MonkeyPatch, window_days: float
) -> None:
    store.put_site(SITE, 0)
    store.write(workdays(2.0, 2.0))
    late = {"spot.resistance": held((300, OPEN), start=MONDAY + 8.6 * HOUR)}
    monkeypatch.setattr(runs, "WINDOW_NS", ns(window_days * DAY))
    save, overtaken = runs._save, []

    def save_late(*given: Any, **named: Any) -> None:
        if not overtaken:
            overtaken.append(True)
            store.write(late)
            analyse(store, now=LATER)
        save(*given, **named)

    monkeypatch.setattr(runs, "_save", save_late)
    analyse(store, now=LATER)
    assert store.touched()
    analyse(store, now=LATER)
    assert not store.touched()
    assert told(store) == told_anew(store)


def test_a_site_file_that_changes_meanwhile_is_heeded_by_the_next(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    store.put_site(SITE, 0)
    store.write(workdays(12.0))
    save = runs._save

    def save_late(*given: Any, **named: Any) -> None:
        store.put_site(site("spot", limit_ohm=15.0), ns(MONDAY))
        save(*given, **named)

    monkeypatch.setattr(runs, "_save", save_late)
    analyse(store, now=LATER)
    monkeypatch.setattr(runs, "_save", save)
    assert [hookup.outcome for hookup in store.hookups()] == [Outcome.FAILED]
    analyse(store, now=LATER)
    assert [hookup.outcome for hookup in store.hookups()] == [Outcome.VERIFIED]


def test_results_of_other_rules_are_judged_anew(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    store.put_site(SITE, 0)
    store.write(workdays(12.0))
    analyse(store, now=LATER)
    assert analyse(store, now=LATER).stations == 0
    monkeypatch.setattr(runs, "RULES_VERSION", "another")
    assert analyse(store, now=LATER).stations == 1


def told_anew(store: Store) -> Results:
    """What the store tells once everything was judged again."""
    analyse(store, now=LATER, everything=True)
    return told(store)
