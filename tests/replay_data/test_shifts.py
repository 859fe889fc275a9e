"""The invented calendar keeps the site's own clock."""

from __future__ import annotations

from datetime import date
from random import Random

import pytest

from bondtrail.site import load_site
from replay_data import demo_files, shifts
from replay_data.shifts import HOUR, april, at, march


def test_the_calendar_is_28_days_and_loses_an_hour() -> None:
    assert len(list(shifts.days())) == 28
    assert shifts.END - shifts.START == (28 * 24 - 1) * HOUR


@pytest.mark.parametrize(
    ("day", "clock", "apart"),
    [
        # IANA: Lisbon goes from +00:00 to +01:00 on the last Sunday of March at 01:00 UTC.
        pytest.param(march(27), "12:00", 24 * HOUR, id="before"),
        pytest.param(march(28), "12:00", 23 * HOUR, id="across"),
        pytest.param(march(29), "12:00", 24 * HOUR, id="after"),
    ],
)
def test_a_local_day_has_its_own_length(day: date, clock: str, apart: int) -> None:
    following = date.fromordinal(day.toordinal() + 1)
    assert at(following, clock) - at(day, clock) == apart


def test_a_moment_falls_on_the_local_day() -> None:
    assert shifts.day(at(april(1), "00:00")) == april(1)
    assert shifts.day(at(april(1), "00:00") - 1) == march(31)


@pytest.mark.parametrize(
    ("day", "load"),
    [
        pytest.param(march(9), 1.0, id="monday"),
        pytest.param(march(14), 0.3, id="saturday"),
        pytest.param(march(15), 0.0, id="sunday"),
        pytest.param(april(3), 0.3, id="good-friday"),
    ],
)
def test_weekends_and_the_holiday_are_quieter(day: date, load: float) -> None:
    assert shifts.load(day) == load


def test_age_runs_from_nought_to_one() -> None:
    assert shifts.age(shifts.START) == 0
    assert shifts.age(shifts.END) == 1


def test_the_three_shifts_of_a_day_have_different_people() -> None:
    moments = [at(march(10), clock) for clock in ("06:00", "14:00", "22:00")]
    crews = [{shifts.operator(ms, Random(n)) for n in range(20)} for ms in moments]
    assert all(len(crew) == 2 for crew in crews)
    assert len(set().union(*crews)) == 6


@pytest.mark.parametrize("day", [march(10), march(28), march(29), april(3)])
def test_the_shifts_of_the_site_file_change_when_the_crews_do(day: date) -> None:
    (early, late, night) = load_site(demo_files().site).shifts
    assert [shift.name for shift in (early, late, night)] == ["early", "late", "night"]
    assert (early.end, late.end, night.end) == (late.begin, night.begin, early.begin)
    for shift in (early, late, night):
        begins = at(day, f"{shift.begin:%H:%M}")
        crews = [{shifts.operator(ms, Random(n)) for n in range(20)} for ms in (begins - 1, begins)]
        assert crews[0].isdisjoint(crews[1])


def test_papers_are_written_on_the_local_clock_with_its_offset() -> None:
    assert shifts.local_text(at(march(28), "08:05")) == "2026-03-28T08:05+00:00"
    assert shifts.local_text(at(march(30), "08:05")) == "2026-03-30T08:05+01:00"
