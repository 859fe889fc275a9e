"""What the page of one transfer asks of a real store: its readings and a margin, no more."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from pathlib import Path

import pytest

from analytics.core.sequence import What
from bondtrail.results import Kind, Severity
from bondtrail.site import Site
from dashboard.queries.transfer import shown_span, transfer_view
from store import Store, open_store
from tests.dashboard.conftest import sqlite_url
from tests.dashboard.quay import (
    BAD_ID,
    BAD_START,
    EARLIEST,
    GOOD_ID,
    RAIL,
    S,
    fill,
    finding,
    transfer,
)


@pytest.fixture
def store(filled_url: str) -> Iterator[Store]:
    with open_store(filled_url) as opened:
        yield opened


@pytest.mark.parametrize(
    ("seconds", "lead", "before", "after"),
    [
        pytest.param(60, 5.0, 20, 20, id="short: at least 20 s"),
        pytest.param(1000, 5.0, 100, 100, id="a tenth"),
        pytest.param(50_000, 5.0, 300, 300, id="long: 5 minutes"),
        pytest.param(60, 90.0, 100, 20, id="back to before the bond was verified"),
        pytest.param(60, 9000.0, 600, 20, id="but not hours"),
        pytest.param(60, None, 20, 20, id="never verified"),
        pytest.param(60, -4.0, 20, 20, id="verified late"),
    ],
)
def test_shown_span(seconds: float, lead: float | None, before: float, after: float) -> None:
    shown = transfer(BAD_START, end=BAD_START + round(seconds * S), bond_lead_s=lead)
    start, end = shown_span(shown)
    assert ((BAD_START - start) / S, (end - shown.end) / S) == (before, after)


def test_findings_of_the_transfer_and_those_beside_it_are_shown(store: Store) -> None:
    view = transfer_view(store, BAD_ID)
    assert view is not None
    assert [f.kind for f in view.findings] == [Kind.BOND_LOST_IN_FLOW, Kind.UNVERIFIABLE_FLOW]
    assert [trip.transfer for trip in view.trips] == [BAD_ID]


def test_exposures_and_contacts_are_drawn_from_the_readings(store: Store) -> None:
    view = transfer_view(store, BAD_ID)
    assert view is not None
    exposed = ((view.picture.exposed - BAD_START) / S).tolist()
    assert exposed[0] == [100, 120]
    assert [lane.name for lane in view.picture.lanes] == ["Permissive", "Bypass"]
    assert view.picture.flow_unit == "L/min"


def test_only_readings_near_the_transfer_are_loaded(store: Store) -> None:
    view = transfer_view(store, BAD_ID)
    assert view is not None
    assert view.picture.resistance is not None
    time = view.picture.resistance.samples.time
    assert time.min() >= view.picture.start - 5 * S
    assert time.max() < view.picture.end


def test_events_begin_with_how_things_stood(store: Store) -> None:
    view = transfer_view(store, BAD_ID)
    assert view is not None
    assert view.events[0].what is What.AT_START
    assert view.events == sorted(view.events, key=lambda event: event.time)


def test_an_unknown_transfer_has_no_view(store: Store) -> None:
    assert transfer_view(store, "rail-1/20990101T000000.000Z") is None


def test_a_finding_that_goes_on_from_an_earlier_transfer_is_shown(
    tmp_path: Path, site: Site
) -> None:
    goes_on = finding(Kind.PERMISSIVE_WITHOUT_BOND, Severity.CRITICAL, BAD_START, 30 * 3600)
    with open_store(sqlite_url(tmp_path)) as store:
        fill(store, site)
        results = dataclasses.replace(RAIL, findings=(*RAIL.findings, goes_on))
        store.save_results(results, since=0, since_day=EARLIEST)
        view = transfer_view(store, GOOD_ID)
        assert view is not None
        assert [found.id for found in view.findings] == [goes_on.id]
