"""The stations page: worst first, counts not rates, and states without data."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from bondtrail.results import DaySums, StationResults
from bondtrail.site import Site, parse_site
from store import open_store
from tests.dashboard.conftest import sqlite_url
from tests.dashboard.pages.conftest import Page, Shown
from tests.dashboard.quay import EARLIEST, SITE, at, fill


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
    assert (row["coverage_text"], row["share_text"]) == ("no record", "not recorded")


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


def test_what_a_station_does_not_record_is_not_told_as_nothing(page: Page, filled_url: str) -> None:
    rows = {row["name"]: row for row in page("stations", filled_url).rows("stations-grid")}
    names = ["nuisance_text", "compliant_text", "not_bonded", "no_data", "bypassed", "hookups"]
    told = {name: [row[field] for field in names] for name, row in rows.items()}
    unseen = ["not recorded"] * 4
    assert told["Rail spot 1"] == ["0 of 1", "1 of 2", "20 s", "0 s", "0 s", "1 of 3"]
    assert told["Dryer bowl"] == ["0 of 0", "1 of 1", "0 s", "0 s", "not recorded", "fixed item"]
    assert told["Road bay 9"] == ["not recorded", "not recorded", *unseen[:3], "0 of 0"]
    # Trips that an earlier site file could tell stay.
    assert told["Drum filler 1"] == ["3 of 3", *unseen, "0 of 0"]


def test_fixed_items_have_a_figure_of_their_own(page: Page, filled_url: str) -> None:
    shown = page("stations", filled_url)
    rows = {row["name"]: row for row in shown.rows("stations-grid")}
    assert rows["Dryer bowl"]["bonded_text"] == "60.0 %"
    assert rows["Rail spot 1"]["bonded_text"] == "-"
    assert "bonded" in fields(shown)


def test_a_fixed_item_that_was_never_bonded_shows_so(
    page: Page, tmp_path: Path, site: Site
) -> None:
    url = sqlite_url(tmp_path)
    day = DaySums("bowl", dt.date(2026, 3, 1), open_s=86_400.0, known_s=86_400.0)
    with open_store(url) as store:
        store.put_site(site, 0)
        store.save_results(StationResults("bowl", days=(day,)), since=0, since_day=EARLIEST)
    shown = page("stations", url)
    rows = {row["name"]: row for row in shown.rows("stations-grid")}
    assert rows["Dryer bowl"]["bonded_text"] == "0 %"
    assert "bonded" in fields(shown)


def test_a_site_without_fixed_items_has_no_column_for_them(page: Page, tmp_path: Path) -> None:
    url = sqlite_url(tmp_path)
    text = SITE.replace('kind = "fixed_item"', 'kind = "drum"')
    with open_store(url) as store:
        fill(store, parse_site(text))
    assert "bonded" not in fields(page("stations", url))


def test_the_length_of_the_period_is_told(page: Page, filled_url: str) -> None:
    one = {"from": "2026-03-02", "to": "2026-03-02"}
    assert "1 day on the site's clock" in page("stations", filled_url, **one).text
    assert "3 days on the site's clock" in page("stations", filled_url).text


def test_a_rate_of_nuisance_trips_below_five_is_too_few(page: Page, filled_url: str) -> None:
    rows = {row["name"]: row for row in page("stations", filled_url).rows("stations-grid")}
    assert (rows["Rail spot 1"]["rate"], rows["Rail spot 1"]["rate_text"]) == (
        None,
        "too few to rank",
    )
    assert rows["Drum filler 1"]["rate_text"] == "not recorded"
