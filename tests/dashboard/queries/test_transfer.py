"""What the page of one transfer asks of a real store: its readings and a margin, no more."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from pathlib import Path

import pytest

from analytics.core.events import What
from analytics.replay import UnknownSpanError
from bondtrail.results import Kind, Severity
from bondtrail.site import Site
from dashboard.queries.transfer import TransferView, results_only, transfer_view
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
)

NOW = BAD_START + 86_400 * S


@pytest.fixture
def store(filled_url: str) -> Iterator[Store]:
    with open_store(filled_url) as opened:
        yield opened


def viewed(store: Store, transfer_id: str = BAD_ID) -> TransferView:
    return transfer_view(store, transfer_id, now=NOW)


def test_findings_of_the_transfer_and_those_beside_it_are_shown(store: Store) -> None:
    view = viewed(store)
    assert [f.kind for f in view.replay.findings] == [
        Kind.BOND_LOST_IN_FLOW,
        Kind.UNVERIFIABLE_FLOW,
    ]
    assert [trip.transfer for trip in view.replay.trips] == [BAD_ID]


def test_exposures_and_contacts_are_drawn_from_the_readings(store: Store) -> None:
    view = viewed(store)
    exposed = ((view.picture.exposed - BAD_START) / S).tolist()
    assert exposed[0] == [100, 120]
    assert [lane.name for lane in view.picture.lanes] == ["Permissive", "Bypass"]
    assert view.picture.flow_unit == "L/min"


def test_only_readings_near_the_transfer_are_loaded(store: Store) -> None:
    view = viewed(store)
    assert view.picture.resistance is not None
    time = view.picture.resistance.samples.time
    assert time.min() >= view.picture.start - 5 * S
    assert time.max() < view.picture.end


def test_events_begin_with_how_things_stood(store: Store) -> None:
    view = viewed(store)
    assert view.replay.events[0].what is What.AT_START
    assert list(view.replay.events) == sorted(view.replay.events, key=lambda event: event.time)


@pytest.mark.parametrize("name", ["rail-1/20990101T000000.000Z", GOOD_ID])
def test_what_was_not_recorded_has_no_view(store: Store, name: str) -> None:
    with pytest.raises(UnknownSpanError):
        viewed(store, name)


def test_the_results_of_a_transfer_outlast_its_readings(store: Store) -> None:
    left = results_only(store, GOOD_ID)
    assert left is not None
    assert (left.transfer.id, left.station.id) == (GOOD_ID, "rail-1")
    assert left.clock.label == "Europe/Lisbon, UTC+00:00"
    assert results_only(store, "rail-1/20990101T000000.000Z") is None


def test_a_finding_that_goes_on_from_an_earlier_transfer_is_shown(
    tmp_path: Path, site: Site
) -> None:
    goes_on = finding(
        Kind.PERMISSIVE_WITHOUT_BOND, Severity.CRITICAL, BAD_START - 3600 * S, 7200, of=GOOD_ID
    )
    with open_store(sqlite_url(tmp_path)) as store:
        fill(store, site)
        results = dataclasses.replace(RAIL, findings=(*RAIL.findings, goes_on))
        store.save_results(results, since=0, since_day=EARLIEST)
        assert goes_on.id in [found.id for found in viewed(store).replay.findings]
