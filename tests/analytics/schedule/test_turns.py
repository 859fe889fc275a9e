"""Whose turn has come: by the store's record of the last run."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

import pytest

from analytics.schedule.turns import held_until, is_due, is_due_today, latest
from bondtrail.running import Job
from bondtrail.times import NS_PER_S, parse_time

S = NS_PER_S
LISBON = ZoneInfo("Europe/Lisbon")
AT = dt.time(2, 30)
NOW = 1_000_000 * S


def job(
    started: int | None = None,
    ended: int | None = None,
    succeeded: int | None = None,
    failures: int = 0,
) -> Job:
    return Job("analyse", started, ended, succeeded, failures, "", "host:1")


def ago(started_s: float, ended_s: float | None = None, failures: int = 0) -> Job:
    ended = None if ended_s is None else NOW - round(ended_s * S)
    return job(NOW - round(started_s * S), ended, None if failures else ended, failures)


@pytest.mark.parametrize(
    ("last", "expected"),
    [
        pytest.param(None, True, id="never-done"),
        pytest.param(job(), True, id="never-begun"),
        pytest.param(ago(20, 19), True, id="an-interval-ago"),
        pytest.param(ago(15, 14), True, id="three-quarters-ago"),
        pytest.param(ago(14.9, 14), False, id="just-done"),
        pytest.param(ago(10, 1), False, id="done-by-another-in-between"),
        pytest.param(ago(5), True, id="whoever-began-it-is-gone"),
        pytest.param(ago(-60, -61), True, id="the-clock-was-set-back"),
        pytest.param(ago(0, 0), False, id="this-moment"),
    ],
)
def test_what_is_done_all_the_time(last: Job | None, expected: bool) -> None:
    assert is_due(last, 20.0, NOW) is expected


def at(text: str) -> int:
    return parse_time(text, LISBON)


@pytest.mark.parametrize(
    ("now", "succeeded", "expected"),
    [
        pytest.param("2026-03-02T02:29:59", "2026-03-01T02:31", False, id="not-yet"),
        pytest.param("2026-03-02T02:30", "2026-03-01T02:31", True, id="now"),
        pytest.param("2026-03-02T15:00", "2026-03-01T02:31", True, id="slept-through-its-hour"),
        pytest.param("2026-03-02T15:00", "2026-03-02T02:31", False, id="done"),
        pytest.param("2026-03-02T15:00", "2026-03-02T09:31", False, id="made-up-for"),
        pytest.param("2026-03-02T02:00", "2026-02-28T02:31", True, id="missed-yesterday"),
        pytest.param("2026-03-02T15:00", "2027-03-01T00:00", True, id="the-clock-was-set-back"),
        pytest.param("2026-03-02T15:00", None, True, id="never"),
    ],
)
def test_once_a_day_by_the_clock_of_the_site(
    now: str, succeeded: str | None, expected: bool
) -> None:
    done = None if succeeded is None else at(succeeded)
    assert is_due_today(job(done, done, done), AT, LISBON, at(now)) is expected


def test_one_that_never_ran_is_due() -> None:
    assert is_due_today(None, AT, LISBON, NOW)


@pytest.mark.parametrize(
    ("now", "expected"),
    [
        ("2026-07-01T12:00:00Z", "2026-07-01T01:30:00Z"),  # an hour ahead in summer
        ("2026-07-01T01:29:59Z", "2026-06-30T01:30:00Z"),
        ("2026-12-01T12:00:00Z", "2026-12-01T02:30:00Z"),
    ],
)
def test_its_hour_is_that_of_the_site(now: str, expected: str) -> None:
    assert latest(AT, LISBON, parse_time(now)) == parse_time(expected)


def test_an_hour_that_the_clock_skips_comes_once() -> None:
    # In Lisbon clocks go from 1:00 to 2:00 on 29 March 2026.
    half_past_one = dt.time(1, 30)
    moment = latest(half_past_one, LISBON, parse_time("2026-03-29T12:00:00Z"))
    assert parse_time("2026-03-29T00:30:00Z") <= moment <= parse_time("2026-03-29T01:30:00Z")


@pytest.mark.parametrize(
    ("failures", "every_s", "wait_s"),
    [
        pytest.param(1, 20, 20, id="first"),
        pytest.param(2, 20, 40, id="second"),
        pytest.param(5, 20, 320, id="fifth"),
        pytest.param(8, 20, 2560, id="eighth"),
        pytest.param(9, 20, 3600, id="an-hour-at-most"),
        pytest.param(5000, 20, 3600, id="for-ever"),
        pytest.param(1, 86_400, 3600, id="of-a-daily-job"),
    ],
)
def test_each_failure_doubles_the_wait(failures: int, every_s: float, wait_s: int) -> None:
    last = ago(30, 10, failures)
    assert last.ended is not None
    assert held_until(last, every_s, 0) == last.ended + wait_s * S


@pytest.mark.parametrize(
    "last",
    [
        pytest.param(None, id="never-done"),
        pytest.param(ago(30, 10), id="went-well"),
        pytest.param(ago(3000, 2000, 9), id="failed-before-this-process-began"),
        pytest.param(job(5, None, None, 3), id="without-an-end"),
    ],
)
def test_nothing_holds_it_then(last: Job | None) -> None:
    assert held_until(last, 20.0, NOW - 100 * S) == 0
