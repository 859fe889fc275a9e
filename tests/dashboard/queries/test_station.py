"""What the page of one station asks of a real store."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from bondtrail.results import Kind, Severity
from dashboard.queries.station import Choice, parse_choice, station_view
from store import Store, open_store


@pytest.fixture
def store(filled_url: str) -> Iterator[Store]:
    with open_store(filled_url) as opened:
        yield opened


def test_counts_are_of_the_whole_period_whatever_is_chosen(store: Store) -> None:
    view = station_view(store, "rail-1", None, None, Choice(kinds=frozenset({Kind.FAILED_HOOKUP})))
    assert view is not None
    assert [finding.kind for finding in view.findings] == [Kind.FAILED_HOOKUP]
    assert view.kinds.total() == 3


def test_figures_are_of_the_station_alone(store: Store) -> None:
    view = station_view(store, "drum-1", None, None, Choice())
    assert view is not None
    assert view.row.nuisance_trips == 3
    assert view.row.severities == {Severity.MINOR: 1}
    assert view.row.sums.known_s == 40_000
    assert sorted((trip.cause, trip.count) for trip in view.trips) == [
        ("brief_contact_loss", 2),
        ("monitor_fault", 1),
    ]


def test_lists_are_of_the_station_alone(store: Store) -> None:
    view = station_view(store, "bowl", None, None, Choice())
    assert view is not None
    assert {item.station for item in (*view.transfers, *view.findings)} == {"bowl"}


def test_lists_are_cut_to_the_latest(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("dashboard.queries.station.LISTED", 1)
    view = station_view(store, "rail-1", None, None, Choice())
    assert view is not None
    assert [f.kind for f in view.findings] == [Kind.UNVERIFIABLE_FLOW]
    assert [len(part) for part in (view.transfers, view.hookups)] == [1, 1]
    assert view.row.sums.transfers == 2


def test_an_unknown_station_has_no_view(store: Store) -> None:
    assert station_view(store, "rail-99", None, None, Choice()) is None


@pytest.mark.parametrize(
    ("kinds", "severities", "expected"),
    [
        (None, None, Choice()),
        ("", "", Choice()),
        (
            "failed_hookup,x",
            "critical",
            Choice(frozenset({Kind.FAILED_HOOKUP}), frozenset({Severity.CRITICAL})),
        ),
        ("x", "y,,z", Choice()),
    ],
)
def test_parse_choice(kinds: str | None, severities: str | None, expected: Choice) -> None:
    assert parse_choice(kinds, severities) == expected


@pytest.mark.parametrize(
    ("day", "choice", "expected"),
    [
        ("2026-03-01", Choice(), [Kind.ITEM_ISOLATED]),
        ("2026-03-02", Choice(), [Kind.ITEM_ISOLATED, Kind.CHATTERING]),
        ("2026-03-03", Choice(), [Kind.ITEM_ISOLATED]),
        ("2026-03-03", Choice(kinds=frozenset({Kind.ITEM_ISOLATED})), [Kind.ITEM_ISOLATED]),
        ("2026-03-03", Choice(severities=frozenset({Severity.MINOR})), []),
        ("2026-03-04", Choice(), []),
    ],
)
def test_findings_are_those_that_touch_the_period(
    lasting_url: str, day: str, choice: Choice, expected: list[Kind]
) -> None:
    with open_store(lasting_url) as store:
        view = station_view(store, "bowl", day, day, choice)
        assert view is not None
        assert [finding.kind for finding in view.findings] == expected
        assert view.row.severities.total() == view.kinds.total()
        listed = station_view(store, "bowl", day, day, Choice())
        assert listed is not None
        assert listed.kinds.total() == len(listed.findings)
