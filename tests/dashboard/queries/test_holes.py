"""Holes in the records, and the days of which much is missing."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

import pytest

from bondtrail.site import Site
from bondtrail.times import day_start
from dashboard.period import Period
from dashboard.queries.holes import NAMED, largest_holes, ranges
from store import Store, open_store

MARCH = Period(dt.date(2026, 3, 1), dt.date(2026, 3, 3))


class Heard:
    station = None

    def __init__(self, name: str, unknown_s: float, no_record_s: float = 0.0) -> None:
        self.name, self.unknown_s, self.no_record_s = name, unknown_s, no_record_s


@pytest.fixture
def store(filled_url: str) -> Iterator[Store]:
    with open_store(filled_url) as opened:
        yield opened


def day(number: int, month: int = 3, year: int = 2026) -> dt.date:
    return dt.date(year, month, number)


@pytest.mark.parametrize(
    ("days", "expected"),
    [
        ([], ""),
        ([day(2)], "2 Mar 2026"),
        ([day(2), day(3), day(4)], "2 to 4 Mar 2026"),
        ([day(31), day(1, 4)], "31 Mar 2026 to 1 Apr 2026"),
        ([day(31, 12, 2025), day(1, 1)], "31 Dec 2025 to 1 Jan 2026"),
        ([day(2), day(5), day(6)], "2 Mar 2026, 5 to 6 Mar 2026"),
        (
            [day(1), day(3), day(5), day(7), day(9), day(11)],
            "1 Mar 2026, 3 Mar 2026, 5 Mar 2026, 7 Mar 2026 and 2 more",
        ),
    ],
)
def test_days_in_words(days: list[dt.date], expected: str) -> None:
    assert ranges(days) == expected


def test_the_largest_hole_comes_first_with_its_days(store: Store, site: Site) -> None:
    """The drum filler is known for 40 000 s of 2 March and nothing else; the rail spot always."""
    until = day_start(dt.date(2026, 3, 4), site.zone)
    heard = [Heard("rail-1", 400.0), Heard("drum-1", 132_800.0, 86_400.0)]
    drum, rail = largest_holes(store, site, MARCH, until, heard)
    assert (drum.name, drum.days) == ("drum-1", "1 to 3 Mar 2026")
    assert (rail.name, rail.days) == ("rail-1", "")


def test_nothing_is_missing_after_the_last_reading(store: Store, site: Site) -> None:
    until = day_start(dt.date(2026, 3, 2), site.zone)
    (drum,) = largest_holes(store, site, MARCH, until, [Heard("drum-1", 1.0)])
    assert drum.days == "1 Mar 2026"


def test_only_the_largest_are_told(store: Store, site: Site) -> None:
    heard = [Heard(f"s-{n:02}", 100.0 + n) for n in range(NAMED + 3)]
    found = largest_holes(store, site, MARCH, 0, heard)
    assert [hole.name for hole in found] == [f"s-{n:02}" for n in range(NAMED + 2, 2, -1)]
    assert largest_holes(store, site, MARCH, 0, []) == []
