"""What the alarms page asks of the store."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from analytics.alarms import GONE, NO_POSITION
from dashboard.period import PeriodError
from dashboard.queries.alarms import AlarmView, alarm_view, how_many_over
from store import Store, open_store
from tests.dashboard.conftest import sqlite_url
from tests.dashboard.desks import HOUR, LATEST, MIN, STREAM, at, fill


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    with open_store(sqlite_url(tmp_path_factory.mktemp("desks"))) as opened:
        fill(opened)
        yield opened


def viewed(
    store: Store, first: str | None = None, last: str | None = None, position: str | None = None
) -> AlarmView:
    view = alarm_view(store, first, last, position)
    assert view is not None
    return view


def test_positions_with_most_figures_over_their_level_come_first(store: Store) -> None:
    view = viewed(store)
    assert {row.position: row.figures.count for row in view.positions} == {
        "Loading desk": 25,
        "Bay desk": 2,
        NO_POSITION: 0,
        GONE: 1,
    }
    over = [how_many_over(row) for row in view.positions]
    assert over == sorted(over, reverse=True)
    assert view.positions[0].position == "Loading desk"
    assert view.chosen is view.positions[0]


def test_the_chosen_position_is_shown(store: Store) -> None:
    view = viewed(store, position="Bay desk")
    assert view.chosen is not None
    assert view.chosen.position == "Bay desk"
    assert view.bars is not None
    assert view.bars.counts.sum() == 2


def test_a_position_that_there_is_not_is_none(store: Store) -> None:
    view = viewed(store, position="Moon desk")
    assert (view.chosen, view.bars) == (None, None)


def test_the_last_day_ends_with_its_readings(store: Store) -> None:
    view = viewed(store)
    assert (view.positions[0].figures.start, view.positions[0].figures.end) == (
        at("01T00:00:00"),
        LATEST,
    )
    earlier = viewed(store, last="2026-03-02")
    assert earlier.positions[0].figures.end == at("03T00:00:00")


def test_a_period_after_the_results_has_no_figures(store: Store) -> None:
    view = viewed(store, "2026-03-07", "2026-03-08")
    assert (view.positions, view.chosen, view.bars) == ([], None, None)


@pytest.mark.parametrize(
    ("first", "last", "stretch", "unit", "bars"),
    [
        pytest.param("2026-03-02", "2026-03-02", "10 minutes", "10 minutes", 144, id="one-day"),
        pytest.param("2026-03-01", "2026-03-02", "10 minutes", "10 minutes", 288, id="two-days"),
        pytest.param("2026-03-01", "2026-03-03", "hour", "hour", 68, id="three-days"),
        pytest.param("2026-02-18", "2026-03-03", "hour", "hour", 68, id="two-weeks"),
        pytest.param("2026-02-17", "2026-03-03", "day", "day", 15, id="longer"),
        pytest.param("2025-10-01", "2026-03-03", "week", "day", 23, id="half-a-year"),
        pytest.param("2022-01-01", "2026-03-03", "month", "day", 51, id="years"),
    ],
)
def test_bars_are_as_long_as_the_period_needs(
    store: Store, first: str, last: str, stretch: str, unit: str, bars: int
) -> None:
    found = viewed(store, first, last).bars
    assert found is not None
    assert (found.stretch, found.unit, found.counts.size) == (stretch, unit, bars)
    assert found.counts.sum() == 25
    assert found.edges[-1] == viewed(store, first, last).positions[0].figures.end


def test_bars_of_ten_minutes_are_those_of_the_worked_stream(store: Store) -> None:
    """Our own worked example: a flood over the two bars of 12 and 6."""
    bars = viewed(store, "2026-03-02", "2026-03-02").bars
    assert bars is not None
    first = int(np.searchsorted(bars.edges, STREAM))
    assert bars.counts[first : first + 12].tolist() == [1, 1, 12, 6, 3, 0, 0, 1, 0, 0, 0, 1]
    assert bars.floods[first : first + 12].tolist() == [0, 0, 1, 1, 0, 0, 0, 0, 0, 0, 0, 0]
    assert np.flatnonzero(bars.rank).tolist() == [first + 2]
    assert bars.edges[first + 1] - bars.edges[first] == 10 * MIN


def test_long_bars_show_averages_a_day(store: Store) -> None:
    bars = viewed(store, "2025-10-01", "2026-03-03").bars
    assert bars is not None
    lasts = np.diff(bars.edges) / (24 * HOUR)
    assert bars.values.tolist() == pytest.approx((bars.counts / lasts).tolist())
    assert [level for _, level in bars.levels] == [144, 288]


def test_dates_that_cannot_be_understood_are_refused(store: Store) -> None:
    with pytest.raises(PeriodError):
        alarm_view(store, "soon", None, None)


def test_a_store_without_results_has_nothing(tmp_path: Path) -> None:
    with open_store(sqlite_url(tmp_path)) as store:
        assert alarm_view(store, None, None, None) is None
