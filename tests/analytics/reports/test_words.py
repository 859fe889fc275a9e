"""How figures read on the page."""

from __future__ import annotations

import math
from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from analytics.reports import words
from analytics.reports.tables import Sort


@pytest.mark.parametrize(
    ("share", "text"),
    [
        (None, "\N{EN DASH}"),
        (0.0, "0 %"),
        (0.0004, "< 0.1 %"),
        (0.5, "50.0 %"),
        (0.99949, "99.9 %"),
        (0.99999, "99.9 %"),
        (1.0, "100 %"),
    ],
)
def test_only_none_is_0_and_only_all_is_100(share: float | None, text: str) -> None:
    assert words.percent(share) == text


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0.0, "0"),
        (12.0, "12"),
        (0.00623, "0.00623"),
        (999.6, "1,000"),
        (1234.5, "1,234"),
        (10.52, "10.5"),
    ],
)
def test_numbers_have_three_figures(value: float, text: str) -> None:
    assert words.number(value) == text


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0.0, "0 s"),
        (7.234, "7.23 s"),
        (1500.0, "25 min"),
        (1505.0, "25 min 5 s"),
        (8 * 86_400.0, "8 d"),
        (7200.0, "2 h"),
        (10_800.0 + 600, "3 h 10 min"),
    ],
)
def test_lengths_of_time_have_no_empty_parts(seconds: float, text: str) -> None:
    assert words.span(seconds) == text


def test_the_offset_is_told_in_the_hour_that_clocks_repeat() -> None:
    zone = ZoneInfo("Europe/Lisbon")
    twice = datetime(2026, 10, 25, 1, 30, tzinfo=zone)
    assert words.site_time(twice) == "2026-10-25 01:30:00+0100"
    assert words.site_time(twice.replace(fold=1)) == "2026-10-25 01:30:00+0000"
    assert words.site_time(datetime(2026, 10, 25, 3, 30, tzinfo=zone)) == "2026-10-25 03:30:00"


@pytest.mark.parametrize(
    ("count", "text"),
    [(0, ""), (1, "s0"), (3, "s0, s1, s2"), (4, "s0, s1 and 2 more")],
)
def test_of_many_names_the_first_are_listed(count: int, text: str) -> None:
    assert words.listed([f"s{n}" for n in range(count)], 3) == text


@pytest.mark.parametrize(
    ("sort", "value", "text"),
    [
        (Sort.OHM, math.inf, "open"),
        (Sort.OHM, 1e8, "100 Mohm"),
        (Sort.COUNT, 1234, "1,234"),
        (Sort.COUNT, 12.0, "12"),
        (Sort.SECONDS, 0.0, "0 s"),
    ],
)
def test_a_cell_reads_by_its_sort(sort: Sort, value: float, text: str) -> None:
    assert words.SHOWN[sort](value) == text


def test_an_interval_says_its_unit_once() -> None:
    assert words.interval(Sort.SHARE, 0.951, 0.984) == "95.1 to 98.4 %"
    assert words.interval(Sort.NUMBER, 0.5, 12.0) == "0.5 to 12"


@pytest.mark.parametrize(("count", "text"), [(0, "0 days"), (1, "1 day"), (1200, "1,200 days")])
def test_plural(count: int, text: str) -> None:
    assert words.plural(count, "day") == text
