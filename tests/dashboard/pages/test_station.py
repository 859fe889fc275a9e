"""The page of one station: its lists, what the address narrows them to, and states without data."""

from __future__ import annotations

from pathlib import Path

import pytest

from bondtrail.site import Site
from store import open_store
from tests.dashboard.conftest import sqlite_url
from tests.dashboard.pages.conftest import Page, Shown
from tests.dashboard.quay import BAD_ID, GOOD_START, fill


def kinds(rows: list[dict[str, object]]) -> list[object]:
    return [row["kind"] for row in rows]


def test_findings_transfers_and_hookups_come_latest_first(page: Page, filled_url: str) -> None:
    shown = page("station", filled_url, station_id="rail-1")
    assert kinds(shown.rows("station-findings")) == [
        "unverifiable flow",
        "bond lost in flow",
        "failed hookup",
    ]
    assert [(r["time"], r["verdict"]) for r in shown.rows("station-transfers")] == [
        ("2026-03-03 10:00:00", "compliant"),
        ("2026-03-02 10:00:00", "not compliant"),
    ]
    assert [r["outcome"] for r in shown.rows("station-hookups")] == [
        "verified",
        "verified",
        "failed",
    ]


def test_a_transfer_and_its_finding_lead_to_its_page(page: Page, filled_url: str) -> None:
    shown = page("station", filled_url, station_id="rail-1")
    assert shown.rows("station-transfers")[1]["href"] == f"/transfer?id={BAD_ID}"
    assert shown.rows("station-findings")[1]["href"] == f"/transfer?id={BAD_ID}"


@pytest.mark.parametrize(
    ("query", "expected"),
    [
        ({"severity": "critical"}, ["bond lost in flow"]),
        ({"severity": "critical,minor"}, ["bond lost in flow", "failed hookup"]),
        ({"kind": "unverifiable_flow"}, ["unverifiable flow"]),
        ({"kind": "no_such_kind"}, ["unverifiable flow", "bond lost in flow", "failed hookup"]),
    ],
)
def test_the_address_narrows_findings_down(
    page: Page, filled_url: str, query: dict[str, str], expected: list[str]
) -> None:
    shown = page("station", filled_url, station_id="rail-1", **query)
    assert kinds(shown.rows("station-findings")) == expected


def test_a_choice_that_fits_nothing_says_so(page: Page, filled_url: str) -> None:
    shown = page(
        "station", filled_url, station_id="rail-1", kind="failed_hookup", severity="critical"
    )
    assert "No finding is of that kind and severity" in shown.text


def test_choices_are_addresses_that_toggle(page: Page, filled_url: str) -> None:
    links = page("station", filled_url, station_id="rail-1", severity="critical").links()
    assert links["failed hookup 1"].endswith("kind=failed_hookup&severity=critical")
    assert "severity" not in links["◆ Critical 1"]


def test_a_period_without_transfers_is_told_in_words(page: Page, filled_url: str) -> None:
    day = {"from": "2026-03-01", "to": "2026-03-01"}
    text = page("station", filled_url, station_id="rail-1", **day).text
    assert "No findings in this period" in text
    assert "No transfers in this period" in text
    assert "No hookups in this period" in text
    assert "No trips in this period" in text


def test_a_station_without_any_results_still_has_a_page(page: Page, filled_url: str) -> None:
    assert "No transfers" in page("station", filled_url, station_id="bay-9").text


def test_a_fixed_item_has_no_hookups(page: Page, filled_url: str) -> None:
    shown = page("station", filled_url, station_id="bowl")
    assert not shown.has("station-hookups")
    assert "Hookups" not in shown.text


def test_nuisance_trips_are_named(page: Page, filled_url: str) -> None:
    (bar,) = page("station", filled_url, station_id="drum-1").by_id("station-trips").figure.data
    assert bar.y == ("monitor fault (nuisance)", "brief contact loss (nuisance)")
    assert list(bar.x) == [1, 2]


@pytest.mark.parametrize("station_id", ["rail-99", "", "<script>"])
def test_an_unknown_station_is_told_in_words(page: Page, filled_url: str, station_id: str) -> None:
    assert "No such station" in page("station", filled_url, station_id=station_id).text


def test_a_bad_period_is_told_in_words(page: Page, filled_url: str) -> None:
    shown = page("station", filled_url, station_id="rail-1", **{"from": "2026-13-01"})
    assert "That period cannot be shown" in shown.text


def test_repeated_keys_of_an_address_do_not_break_the_page(page: Page, filled_url: str) -> None:
    query = {"from": ["2026-03-01", "2026-03-02"], "severity": ["critical", "minor"]}
    shown = page("station", filled_url, station_id="rail-1", **query)
    assert "Rail spot 1" in shown.text


def test_a_finding_from_before_the_period_is_listed_and_said(page: Page, lasting_url: str) -> None:
    day = {"from": "2026-03-03", "to": "2026-03-03"}
    shown = page("station", lasting_url, station_id="bowl", **day)
    assert [r["time"] for r in shown.rows("station-findings")] == ["2026-03-01 12:00:00"]
    assert "findings, 1 going on from before" in shown.text
    assert "Going on from before the period: 1 finding" in shown.text
    (heat,) = shown.by_id("station-calendar").figure.data
    assert heat.text.tolist() == [["◆"]]


def test_nothing_is_said_of_before_where_nothing_went_on(page: Page, filled_url: str) -> None:
    assert "from before" not in page("station", filled_url, station_id="rail-1").text


def test_what_a_station_does_not_record_is_not_told_as_nothing(page: Page, filled_url: str) -> None:
    bay = figures(page("station", filled_url, station_id="bay-9"))
    for name in ("Compliant transfers", "Nuisance trips", "Flow not bonded", "Flow bypassed"):
        assert bay[name][0] == "not recorded"
    bowl = figures(page("station", filled_url, station_id="bowl"))
    assert bowl["Flow bypassed"] == ("not recorded", "cannot be seen here")
    assert bowl["Flow not bonded"] == ("0 s", "of 5 min 00 s flow")
    rail = figures(page("station", filled_url, station_id="rail-1"))
    assert rail["Flow bypassed"] == ("0 s", "interlock defeated")


def test_the_transfers_of_a_station_without_a_bypass_point_say_so(
    page: Page, filled_url: str
) -> None:
    bypassed = {
        name: page("station", filled_url, station_id=name).rows("station-transfers")[0]["bypassed"]
        for name in ("bowl", "rail-1")
    }
    assert bypassed == {"bowl": "not recorded", "rail-1": "0 s"}


def test_a_fixed_item_tells_how_long_it_was_bonded(page: Page, filled_url: str) -> None:
    bowl = figures(page("station", filled_url, station_id="bowl"))
    assert bowl["Bonded, of known time"] == ("60.0 %", "27 h 44 min of 46 h 13 min")
    assert "Failed hookups" not in bowl
    assert "Bonded, of known time" not in figures(page("station", filled_url, station_id="rail-1"))


def figures(shown: Shown) -> dict[str, tuple[str, str]]:
    """Return the figures of the tally by name: value and what stands beside it."""
    names = [c.children for c in shown.components if type(c).__name__ == "Dt"]
    told = [c.children for c in shown.components if type(c).__name__ == "Dd"]
    return {name: (t[0], t[1].children) for name, t in zip(names, told, strict=True)}


def test_trends_stand_with_their_tests_in_words(page: Page, filled_url: str) -> None:
    shown = page("station", filled_url, station_id="rail-1")
    assert "1 trip: too few to tell (1 of at least 5)." in shown.text
    assert (
        "2 hookups from 2026-03-02 to 2026-03-03, level 4.05 ohm: too few hookups to tell"
        in shown.text
    )
    assert shown.has("station-trips-course")
    assert shown.has("station-resistance")


def test_without_trips_or_hookups_there_is_no_trend(page: Page, filled_url: str) -> None:
    bowl, bay = (page("station", filled_url, station_id=name) for name in ("bowl", "bay-9"))
    assert not bowl.has("station-trips-course")
    assert "Bonded resistance" not in bowl.text
    assert "No verified hookup with a reading so far" in bay.text


def test_what_was_said_of_a_finding_stands_beside_it(
    page: Page, site: Site, tmp_path: Path
) -> None:
    url = sqlite_url(tmp_path)
    with open_store(url) as store:
        fill(store, site)
        (found,) = store.findings("rail-1", kind="bond_lost_in_flow")
        store.reviews.add(found, "explained", "Drill of the day.", "A. Invented", GOOD_START)
    rows = page("station", url, station_id="rail-1").rows("station-findings")
    assert [row["review"] for row in rows] == ["not reviewed", "explained", "not reviewed"]
    assert rows[1]["review_told"] == "A. Invented: Drill of the day."
    (failed,) = page("compliance", url).rows("compliance-failed")
    assert failed["review"] == "explained, not reviewed"
