"""What the data page asks of the store."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from bondtrail.running import Job
from bondtrail.site import Site
from bondtrail.watching import PointState
from dashboard.period import PeriodError
from dashboard.queries.data import REJECTS, DataView, data_view
from store import Store, open_store
from tests.dashboard.conftest import sqlite_url
from tests.dashboard.live import NOW, run_for_a_while
from tests.dashboard.quay import S


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory, site: Site) -> Iterator[Store]:
    with open_store(sqlite_url(tmp_path_factory.mktemp("live"))) as opened:
        run_for_a_while(opened, site)
        yield opened


def viewed(store: Store, show: str | None = None, **period: str) -> DataView:
    view = data_view(store, NOW, period.get("first"), period.get("last"), show)
    assert view is not None
    return view


def test_every_point_has_a_state_and_what_is_out_of_order_comes_first(store: Store) -> None:
    view = viewed(store)
    states = {line.name: line.state for line in view.points}
    assert states["bowl.running"] is PointState.AHEAD
    assert states["rail-1.flow"] is PointState.SILENT
    assert states["rail-1.resistance"] is PointState.HEARD
    assert states["bay-9.resistance"] is PointState.NEVER
    assert states["gone.flow"] is PointState.UNLISTED
    order = list(PointState)
    places = [order.index(line.state) for line in view.points]
    assert places == sorted(places)
    assert sum(view.states.values()) == len(view.points)


@pytest.mark.parametrize("state", list(PointState))
def test_the_points_of_one_state_can_be_asked_for(store: Store, state: PointState) -> None:
    view = viewed(store, state.name.lower())
    assert {line.state for line in view.points} == {state}
    assert len(view.points) == view.states[state]


def test_a_state_that_there_is_not_shows_all(store: Store) -> None:
    assert viewed(store, "blue").show is None
    assert len(viewed(store, "blue").points) == len(viewed(store).points)


def test_coverage_is_the_share_of_the_record_that_is_known(store: Store) -> None:
    view = viewed(store, first="2026-03-01", last="2026-03-01")
    assert view.period is not None
    totals = store.summaries.day_totals(view.period.first, view.period.last)
    known = {row.station: row.known_s / (row.known_s + row.unknown_s) for row in totals}
    assert known
    assert {line.station: line.coverage for line in view.stations if line.coverage} == known
    assert view.stations[0].coverage is None
    covered = [line.coverage for line in view.stations if line.coverage is not None]
    assert covered == sorted(covered)


def test_the_newest_reading_is_not_one_in_the_future(store: Store) -> None:
    assert viewed(store).last == NOW - S


def test_wrong_clocks_and_failing_jobs_come_first(store: Store) -> None:
    view = viewed(store)
    assert [source.name for source in view.sources] == ["sparkplug quay/gate", "mqtt rail-1"]
    assert [job.name for job in view.jobs] == ["retention", "analyse"]
    assert (view.off, view.failing) == (1, 1)
    assert isinstance(view.jobs[0], Job)


def test_the_newest_rejects_come_first(store: Store) -> None:
    assert [reject.where for reject in viewed(store).rejects] == ["topic a/b", "line 4"]
    assert REJECTS >= 2


def test_a_period_that_is_none_is_told(store: Store) -> None:
    with pytest.raises(PeriodError, match="not a date"):
        viewed(store, first="soon")


def test_a_store_without_a_site_has_nothing_to_show(empty_url: str) -> None:
    with open_store(empty_url) as empty:
        assert data_view(empty, NOW, None, None, None) is None


def test_before_any_result_there_is_no_period(
    tmp_path_factory: pytest.TempPathFactory, site: Site
) -> None:
    with open_store(sqlite_url(tmp_path_factory.mktemp("new"))) as new:
        new.put_site(site, 0)
        view = data_view(new, NOW, "2026-03-01", None, None)
    assert view is not None
    assert (view.period, view.last, view.is_still) == (None, None, True)
    assert {line.coverage for line in view.stations} == {None}
