"""The choice of a period becomes an address."""

from __future__ import annotations

import datetime as dt

import pytest
from dash import no_update

from dashboard.period import Period
from dashboard.period_picker import picker, with_period
from dashboard.urls import stations_url

SHOWN = ["2026-03-01", "2026-03-28"]


@pytest.mark.parametrize(
    ("value", "search", "expected"),
    [
        (["2026-03-02", "2026-03-03"], "", "/x?from=2026-03-02&to=2026-03-03"),
        (["2026-03-02", "2026-03-03"], None, "/x?from=2026-03-02&to=2026-03-03"),
        (
            ["2026-03-02T00:00:00", "2026-03-03T00:00:00"],
            "?from=2026-03-01&to=2026-03-28&kind=a,b",
            "/x?from=2026-03-02&to=2026-03-03&kind=a,b",
        ),
        (SHOWN, "", no_update),
        (["2026-03-02", None], "", no_update),
        ([None, None], "", no_update),
        ([], "", no_update),
        (None, "", no_update),
    ],
)
def test_with_period(value: list[str | None] | None, search: str | None, expected: object) -> None:
    assert with_period(value, SHOWN, "/x", search) == expected


@pytest.mark.parametrize(
    ("days", "names"),
    [
        (3, ["All"]),
        (8, ["All", "Last 7 days"]),
        (100, ["All", "Last 7 days", "Last 28 days", "Last 90 days"]),
    ],
)
def test_only_shorter_periods_than_the_whole_are_offered(days: int, names: list[str]) -> None:
    first = dt.date(2026, 1, 1)
    whole = Period(first, first + dt.timedelta(days=days - 1))
    chips = picker(whole, whole, stations_url).children[-1].children
    assert [chip.children for chip in chips] == names
    assert ["is-chosen" in chip.className for chip in chips] == [True] + [False] * (len(names) - 1)
