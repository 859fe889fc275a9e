"""The largest holes in the records, with the names of their stations."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

import pytest

from analytics.holes import Coverage
from bondtrail.site import Site
from bondtrail.times import day_start
from dashboard.period import Period
from dashboard.queries.holes import DAYS_TOLD, NAMED, largest_holes
from store import Store, open_store

MARCH = Period(dt.date(2026, 3, 1), dt.date(2026, 3, 3))
DRUM = Coverage(40_000.0, 132_800.0, 86_400.0)


@pytest.fixture
def store(filled_url: str) -> Iterator[Store]:
    with open_store(filled_url) as opened:
        yield opened


def test_the_largest_hole_comes_first_with_its_days(store: Store, site: Site) -> None:
    """The drum filler is known for 40 000 s of 2 March and nothing else; the rail spot always."""
    now = day_start(dt.date(2026, 3, 4), site.zone)
    covered = {"rail-1": Coverage(258_800.0, 400.0, 0.0), "drum-1": DRUM}
    drum, rail = largest_holes(store, site, MARCH, now, covered)
    assert (drum.name, drum.days) == ("Drum filler 1", "2026-03-01 to 2026-03-03")
    assert (rail.name, rail.days) == ("Rail spot 1", "")


def test_nothing_is_missing_after_now(store: Store, site: Site) -> None:
    now = day_start(dt.date(2026, 3, 2), site.zone)
    (drum,) = largest_holes(store, site, MARCH, now, {"drum-1": DRUM})
    assert drum.days == "2026-03-01"


def test_of_a_long_period_the_days_are_not_told(store: Store, site: Site) -> None:
    long = Period(MARCH.first, MARCH.first + dt.timedelta(days=DAYS_TOLD))
    (drum,) = largest_holes(store, site, long, 2**62, {"drum-1": DRUM})
    assert drum.days == ""


def test_only_the_largest_are_told(store: Store, site: Site) -> None:
    covered = {f"s-{n:02}": Coverage(0.0, 100.0 + n, 0.0) for n in range(NAMED + 3)}
    found = largest_holes(store, site, MARCH, 0, covered)
    assert [hole.name for hole in found] == [f"s-{n:02}" for n in range(NAMED + 2, 2, -1)]
    assert largest_holes(store, site, MARCH, 0, {}) == []
