"""The page of one transfer: readings, events, findings, limits, and states without data."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest

from bondtrail.results import Kind, Severity, StationResults
from bondtrail.samples import Samples
from bondtrail.site import Site, parse_site
from store import open_store
from tests.dashboard.conftest import sqlite_url
from tests.dashboard.pages.conftest import Page, Shown
from tests.dashboard.quay import (
    BAD_ID,
    BAD_START,
    EARLIEST,
    GOOD_ID,
    RAIL,
    RUN_ID,
    SITE,
    S,
    at,
    fill,
    finding,
    transfer,
)


def test_the_sequence_of_events_is_told_in_site_time(page: Page, filled_url: str) -> None:
    text = page("transfer", filled_url, id=BAD_ID).text
    for said in (
        "10:01:40.000 ! Bond lost",
        "10:01:50.000 ! Trip",
        "10:03:24.000 ! Bond unknown",
        "10:04:10.000 ! Bypass on",
        "10:00:00.000 Flow on",
    ):
        assert said in text, said
    assert text.index("Flow on") < text.index("! Bond lost") < text.index("! Bond unknown")


def test_facts_findings_and_limits_stand_beside_it(page: Page, filled_url: str) -> None:
    text = page("transfer", filled_url, id=BAD_ID).text
    for said in (
        "Not compliant",
        "Europe/Lisbon, UTC+00:00",
        "B-17",
        "J. Invented",
        "4,000 L",
        "20 s, 260 L",
        "M1, channel 1",
        "12 ohm",
        "◆ Critical",
        "Something like bond lost in flow for 20 s.",
    ):
        assert said in text, said


def test_a_finding_before_the_shown_span_is_not_listed(page: Page, filled_url: str) -> None:
    assert "failed hookup" not in page("transfer", filled_url, id=BAD_ID).text


def test_the_figure_holds_every_panel(page: Page, filled_url: str) -> None:
    figure = page("transfer", filled_url, id=BAD_ID).by_id("transfer-replay").figure
    names = {trace.name for trace in figure.data}
    assert {"Bond unknown", "Flow", "Trip", "Flow, open circuit", "Critical finding"} <= names
    assert figure.layout.yaxis.type == "log"


def test_a_transfer_without_readings_still_has_a_page(page: Page, filled_url: str) -> None:
    shown = page("transfer", filled_url, id=GOOD_ID)
    assert "Rail spot 1: a transfer without readings" in shown.text
    assert "cannot be replayed: rail-1: nothing is recorded" in shown.text
    assert "no ticket" in shown.text
    assert "No findings for this transfer" in shown.text
    assert not shown.has("transfer-player")


def test_a_station_without_a_flow_meter_says_so(page: Page, filled_url: str) -> None:
    figure = page("transfer", filled_url, id=RUN_ID).by_id("transfer-replay").figure
    assert "Flow is not measured here" in {note.text for note in figure.layout.annotations}


@pytest.mark.parametrize("name", ["rail-1/20260302T100000.001Z", "nonsense", "'; drop table x"])
def test_an_unknown_transfer_is_told_in_words(page: Page, filled_url: str, name: str) -> None:
    assert "No such transfer" in page("transfer", filled_url, id=name).text


@pytest.mark.parametrize("query", [{}, {"id": ""}])
def test_an_address_without_a_transfer_is_told_in_words(
    page: Page, filled_url: str, query: dict[str, str]
) -> None:
    assert "No transfer is named" in page("transfer", filled_url, **query).text


def test_a_transfer_of_a_station_that_no_site_file_has_is_told_in_words(
    page: Page, tmp_path: Path
) -> None:
    url = sqlite_url(tmp_path)
    with open_store(url) as store:
        fill(store, parse_site(SITE.replace('id = "rail-1"', 'id = "rail-2"')))
    assert "No such transfer" in page("transfer", url, id=BAD_ID).text


def test_a_transfer_is_shown_with_the_limits_of_its_day(
    page: Page, tmp_path: Path, site: Site
) -> None:
    url = sqlite_url(tmp_path)
    with open_store(url) as store:
        fill(store, site)
        later = SITE.replace("limit_ohm = 12.0", "limit_ohm = 25.0")
        store.put_site(parse_site(later), BAD_START + 3600 * S)
    text = page("transfer", url, id=BAD_ID).text
    assert "limit 12 ohm" in text
    assert "Each finding names the limits that it was judged by" in text


def test_a_fixed_item_is_not_said_to_be_clamped_on(page: Page, filled_url: str) -> None:
    assert "Bonded before flow" in page("transfer", filled_url, id=BAD_ID).text
    assert "Bonded before flow" not in page("transfer", filled_url, id=RUN_ID).text
    assert (
        page("station", filled_url, station_id="bowl").rows("station-transfers")[0]["lead"] == "-"
    )


def test_a_change_of_the_clock_is_told(page: Page, tmp_path: Path, site: Site) -> None:
    url = sqlite_url(tmp_path)
    night = transfer(at("29T00:58:00"))  # at 01:00 UTC clocks in Lisbon go forward
    with open_store(url) as store:
        store.put_site(site, 0)
        seconds = np.arange(-60, 360, dtype=np.int64) * S + night.start
        store.write({"rail-1.resistance": Samples.of(seconds, np.full(seconds.size, 4.0))})
        found = StationResults("rail-1", transfers=(night,), days=RAIL.days)
        store.save_results(found, since=0, since_day=EARLIEST)
    text = page("transfer", url, id=night.id).text
    assert "times are Europe/Lisbon, UTC+00:00 throughout" in text
    assert "to 01:03:00" in text


def test_nothing_is_said_of_the_clock_on_other_days(page: Page, filled_url: str) -> None:
    assert "clock changes" not in page("transfer", filled_url, id=BAD_ID).text


def test_the_limit_of_flow_has_its_unit_where_flow_is_measured(page: Page, filled_url: str) -> None:
    assert "flow min 5 L/min" in page("transfer", filled_url, id=BAD_ID).text
    assert "flow min 5 transfer min" in page("transfer", filled_url, id=RUN_ID).text


def test_a_bypass_that_is_not_recorded_is_not_told_as_none(page: Page, filled_url: str) -> None:
    assert "Bypassed not recorded" in page("transfer", filled_url, id=RUN_ID).text
    assert "Bypassed 0 s" in page("transfer", filled_url, id=BAD_ID).text


def test_findings_among_the_events_have_the_mark_of_their_severity(
    page: Page, tmp_path: Path, site: Site
) -> None:
    url = sqlite_url(tmp_path)
    minor = finding(Kind.CHATTERING, Severity.MINOR, BAD_START + 30 * S, 40)
    old = finding(Kind.PERMISSIVE_WITHOUT_BOND, Severity.MAJOR, BAD_START - 7200 * S, 7400, of=None)
    with open_store(url) as store:
        fill(store, site)
        found = dataclasses.replace(RAIL, findings=(old, *RAIL.findings, minor))
        store.save_results(found, since=0, since_day=EARLIEST)
    shown = page("transfer", url, id=BAD_ID)
    items = shown.by_id("transfer-event-list").children
    marked = [(Shown(item).text, item.className) for item in items]
    (told,) = [name for text, name in marked if "chattering" in text]
    assert told == "is-minor"
    assert "At start" in marked[0][0]
    ((text, name),) = [each for each in marked if "permissive without bond" in each[0]]
    assert "▲ Major" in text
    assert "permissive without bond, going on since 02 Mar 08:00:00" in text
    assert name == "is-major"
    assert [name for text, name in marked if "◆ Critical" in text] == ["is-critical"]
