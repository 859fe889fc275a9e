"""The page of one transfer: readings, events, findings, limits, and states without data."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest

from analytics.runs import analyse
from bondtrail.results import Kind, Severity, StationResults
from bondtrail.samples import Samples
from bondtrail.site import Site, parse_site
from store import open_store
from tests.dashboard import bay
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
    clamped, fixed = (page("transfer", filled_url, id=name).text for name in (BAD_ID, RUN_ID))
    assert "Bond verified 30 s before the flow began Bypass" in clamped
    assert "Bond not verified when the flow began Bypass" in fixed
    assert ("Time to bond" in clamped, "Time to bond" in fixed) == (True, False)
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
    assert "Bypass bypass not recorded" in page("transfer", filled_url, id=RUN_ID).text
    assert "Bypass bypassed for 0 s" in page("transfer", filled_url, id=BAD_ID).text


def test_readings_that_came_since_are_said_not_to_be_analysed(page: Page, tmp_path: Path) -> None:
    url = sqlite_url(tmp_path)
    with open_store(url) as store:
        bay.fill(store)
        store.write({"bay-1.bypass": Samples.of([bay.FLOW_ON + 30 * S], [1.0])})
    said = "From 12 Mar 06:15:30 on not analysed yet."
    assert said in page("transfer", url, id=bay.ID).text


def test_nothing_waits_once_all_is_analysed(page: Page, bay_url: str) -> None:
    assert "not analysed yet" not in page("transfer", bay_url, id=bay.ID).text


def test_what_was_replaced_is_told_with_what_stood_there_first(page: Page, tmp_path: Path) -> None:
    url = sqlite_url(tmp_path)
    with open_store(url) as store:
        bay.fill(store)
        store.write({"bay-1.resistance": Samples.of([bay.LOST], [4.0])}, arrived=bay.NOW)
        analyse(store, now=bay.NOW)
    text = page("transfer", url, id=bay.ID).text
    assert (
        "Resistance, 06:16:00 to 06:16:00: 1 reading was replaced on 2026-03-13T06:15:00.000Z: "
        "the earlier values are kept, open circuit"
    ) in text


def test_a_silent_meter_makes_the_quantity_at_least_what_it_told(
    page: Page, tmp_path: Path
) -> None:
    url = sqlite_url(tmp_path)
    readings = bay.readings(bay.FLOW_ON, lost=True)
    flow = readings["bay-1.flow"]
    silent = (flow.time >= bay.FLOW_ON + 70 * S) & (flow.time < bay.FLOW_ON + 90 * S)
    readings["bay-1.flow"] = Samples.of(flow.time[~silent], flow.value[~silent])
    with open_store(url) as store:
        store.put_site(parse_site(bay.SITE), 0)
        store.write(readings)
        analyse(store, now=bay.NOW)
    text = page("transfer", url, id=bay.ID).text
    # 10 L/s for 120 s, less 16 s: the reading of 69 s holds for 5 s, the next is of 90 s.
    assert "Quantity at least 1,040 L: the meter told nothing for 16 s in which it may" in text
    assert "Not bonded 14 s, at least 140 L" in text


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
