"""The stations page: worst first, counts not rates, and states without data."""

from __future__ import annotations

from pathlib import Path

import pytest

from bondtrail.site import Site, parse_site
from store import open_store
from tests.dashboard.conftest import sqlite_url
from tests.dashboard.pages.conftest import Page, Shown
from tests.dashboard.quay import SITE, at, fill


def test_stations_come_worst_first(page: Page, filled_url: str) -> None:
    rows = page("stations", filled_url).rows("stations-grid")
    assert [(r["name"], r["critical"], r["major"], r["nuisance"]) for r in rows] == [
        ("Rail spot 1", 1, 1, 0),
        ("Dryer bowl", 1, 0, 0),
        ("Drum filler 1", 0, 0, 3),
        ("Road bay 9", 0, 0, 0),
    ]


def test_a_station_shows_counts_and_never_a_rate_of_few(page: Page, filled_url: str) -> None:
    row = page("stations", filled_url).rows("stations-grid")[0]
    assert row["compliant_text"] == "1 of 2"
    assert row["share_text"] == "too few to rank"
    assert row["hookups"] == "1 of 3"
    assert row["not_bonded"] == "20 s"
    assert row["coverage_text"] == "99.8 %"


def test_a_station_without_a_record_says_so(page: Page, filled_url: str) -> None:
    row = page("stations", filled_url).rows("stations-grid")[-1]
    assert (row["coverage_text"], row["share_text"]) == ("no record", "no transfers")


def test_links_keep_the_period(page: Page, filled_url: str) -> None:
    query = {"from": "2026-03-02", "to": "2026-03-02"}
    row = page("stations", filled_url, **query).rows("stations-grid")[0]
    assert row["href"] == "/station/rail-1?from=2026-03-02&to=2026-03-02"
    assert row["compliant_text"] == "0 of 1"


def test_the_calendar_shows_the_worst_of_each_day(page: Page, filled_url: str) -> None:
    (heat,) = page("stations", filled_url).by_id("stations-calendar").figure.data
    assert list(heat.y) == ["rail-1", "bowl", "drum-1", "bay-9"]
    assert heat.text.tolist() == [
        ["", "◆", "·"],
        ["◆", "·", ""],
        ["", "●", "?"],
        ["", "", ""],
    ]


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ({"from": "soon"}, "'soon' is not a date"),
        ({"from": "2026-03-03", "to": "2026-03-01"}, "after its end"),
        ({"to": "0001-01-01"}, "outside the years"),
    ],
)
def test_a_period_that_makes_no_sense_is_answered_in_words(
    page: Page, filled_url: str, query: dict[str, str], said: str
) -> None:
    shown = page("stations", filled_url, **query)
    assert said in shown.text
    assert not shown.has("stations-grid")


def test_a_period_without_records_shows_every_station(page: Page, filled_url: str) -> None:
    shown = page("stations", filled_url, **{"from": "2030-01-01", "to": "2030-01-02"})
    assert {row["coverage_text"] for row in shown.rows("stations-grid")} == {"no record"}


def test_an_empty_store_says_what_to_do(page: Page, empty_url: str) -> None:
    text = page("stations", empty_url).text
    assert "Nothing to show yet" in text
    assert "bondtrail load" in text


@pytest.mark.parametrize(
    ("name", "query"),
    [("stations", {}), ("station", {"station_id": "rail-1"}), ("transfer", {"id": "rail-1/x"})],
)
def test_a_database_that_is_gone_is_told_in_words(
    page: Page, gone_url: str, name: str, query: dict[str, str]
) -> None:
    text = page(name, gone_url, **query).text
    assert "The history cannot be read" in text
    assert "Traceback" not in text


def test_results_of_a_station_that_the_site_no_longer_has_are_told(
    page: Page, tmp_path: Path, site: Site
) -> None:
    url = sqlite_url(tmp_path)
    with open_store(url) as store:
        fill(store, site)
        store.put_site(
            parse_site(SITE.replace('id = "rail-1"', 'id = "rail-2"')), at("09T00:00:00")
        )
    text = page("stations", url).text
    assert "Not shown: results of 1 station" in text
    assert "(rail-1)" in text


def test_nothing_is_said_of_stations_when_none_is_missing(page: Page, filled_url: str) -> None:
    assert "Not shown" not in page("stations", filled_url).text


def test_findings_from_before_the_period_have_a_column_where_there_are_some(
    page: Page, lasting_url: str
) -> None:
    shown = page("stations", lasting_url, **{"from": "2026-03-03", "to": "2026-03-03"})
    row = shown.rows("stations-grid")[0]
    assert (row["name"], row["critical"], row["from_before"]) == ("Dryer bowl", 1, 1)
    assert "from_before" in fields(shown)
    assert "findings, 1 going on from before" in shown.text
    whole = page("stations", lasting_url)
    assert "from_before" not in fields(whole)
    assert "going on from before" not in whole.text


def fields(shown: Shown) -> list[str]:
    return [column["field"] for column in shown.by_id("stations-grid").columnDefs]
