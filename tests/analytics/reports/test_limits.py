"""The limits in force in a period, and since when."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from analytics.reports import Period, gather
from bondtrail.site import Site, parse_site
from store import Store
from tests.analytics.reports.quay import APRIL, MARCH, NOW, SITE, at
from tests.analytics.reports.test_gather import cells


def with_limits(text: str) -> Site:
    return parse_site(SITE.replace("[[report]]", f"[limits]\n{text}\n[[report]]", 1))


@pytest.fixture
def changed(store: Store) -> Site:
    store.put_site(with_limits("limit_ohm = 10.0\nbrief_s = 2.0"), 0)
    newest = with_limits("limit_ohm = 5.0\nbrief_s = 2.0")
    store.put_site(newest, at(12))
    return newest


def rows_of(store: Store, site: Site, limit: str, **period: Any) -> tuple[list[Any], list[Any]]:
    report = gather(store, site, period.get("of", Period(MARCH, MARCH.replace(month=4))), now=NOW)
    every = cells(report, "limits", "station", "limit", "value", "holds_from", "holds_until")
    (section,) = (each for each in report.sections if each.title == "Limits in force")
    page = section.tables[0].rows
    shared = page[page["limit"] == limit][["value", "holds", "stations"]]
    mine = [row for row in every if row[:2] == ("rail-1", limit)]
    return mine, [tuple(row) for row in shared.itertuples(index=False)]


def test_a_limit_that_changed_is_told_with_both_values(store: Store, changed: Site) -> None:
    rows, shared = rows_of(store, changed, "limit_ohm")
    assert [row[2] for row in rows] == [10.0, 5.0]
    assert rows[0][4] == rows[1][3]
    assert rows[1][3].value == at(12)
    moment = "2026-03-12 06:00:00"
    assert set(shared) == {
        ("10 ohm", f"from the beginning until {moment}", "all"),
        ("5 ohm", f"from {moment}", "all"),
    }


@pytest.mark.parametrize(("first", "told"), [(1, True), (20, False)])
def test_the_first_page_says_that_limits_changed(
    store: Store, changed: Site, first: int, told: bool
) -> None:
    report = gather(store, changed, Period(MARCH.replace(day=first), APRIL), now=NOW)
    texts = [caveat.text for caveat in report.cover.caveats]
    words = "Limits changed in this period at 3 stations (rail-1, tote, bowl)"
    assert any(text.startswith(words) for text in texts) is told


def test_a_limit_that_did_not_change_with_the_file_holds_throughout(
    store: Store, changed: Site
) -> None:
    rows, shared = rows_of(store, changed, "brief_s")
    assert [row[2] for row in rows] == [2.0]
    assert shared == [("2 s", "from the beginning", "all")]


def test_a_change_before_the_period_is_no_change_in_it(store: Store, changed: Site) -> None:
    later = Period(MARCH.replace(day=20), MARCH.replace(day=25))
    rows, shared = rows_of(store, changed, "limit_ohm", of=later)
    assert [row[2] for row in rows] == [5.0]
    assert shared == [("5 ohm", "from 2026-03-12 06:00:00", "all")]


def test_a_station_with_a_limit_of_its_own_is_named(store: Store, store_file: Path) -> None:
    site = parse_site(SITE.replace('kind = "ibc"', 'kind = "ibc"\nlimit_ohm = 1e6\nopen_ohm = 1e7'))
    store.put_site(site, 0)
    _, shared = rows_of(store, site, "limit_ohm")
    assert shared == [
        ("10 ohm", "from the beginning", "all but tote"),
        ("1 Mohm", "from the beginning", "tote"),
    ]
