"""The files of the demo hold together: known tags, rising times, four weeks, small enough."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping

import numpy as np
import pytest

from bondtrail.results import StationResults, Ticket, WorkWindow
from bondtrail.samples import Samples
from bondtrail.site import AlarmRules, ReportPlan, Role, Site, StationKind
from bondtrail.times import day_start, local_day
from replay_data import demo_files

MOST_BYTES = 5_000_000
FIRST, LAST = dt.date(2026, 3, 9), dt.date(2026, 4, 5)


def test_every_file_is_there() -> None:
    files = demo_files()
    assert [path.name for path in files.readings] == [
        f"readings-2026-w{week}.csv.zst" for week in (11, 12, 13, 14)
    ]
    assert all(path.is_file() for path in (files.site, files.work, files.batch))


def test_the_folder_is_small_enough_for_a_repository() -> None:
    folder = demo_files().site.parent
    assert sum(path.stat().st_size for path in folder.iterdir() if path.is_file()) <= MOST_BYTES


def test_the_readme_says_that_everything_is_invented() -> None:
    assert "Everything here is invented" in (demo_files().site.parent / "README.md").read_text()


def test_the_site_has_at_least_a_dozen_stations_of_every_kind(site: Site) -> None:
    assert len(site.stations) >= 12
    assert {station.kind for station in site.stations} == set(StationKind)
    assert "invented" in site.name


def test_every_station_has_an_area_and_a_position_of_several(site: Site) -> None:
    assert None not in {station.area for station in site.stations}
    assert {station.position for station in site.stations} == {
        "Loading desk",
        "Hall desk",
        "Powder desk",
    }


def test_the_site_counts_alarms_by_the_defaults_and_reports_weekly(site: Site) -> None:
    assert site.alarms == AlarmRules()
    assert site.reports == (ReportPlan(every="weekly", folder="reports"),)


@pytest.mark.parametrize(
    ("present", "absent"),
    [
        pytest.param({Role.STATUS}, {Role.RESISTANCE}, id="told-by-status-alone"),
        pytest.param({Role.FLOW}, {Role.PERMISSIVE}, id="no-permissive-recorded"),
        pytest.param({Role.RUNNING}, {Role.FLOW}, id="runs-without-flow"),
        pytest.param({Role.RESISTANCE, Role.STATUS, Role.BYPASS}, set(), id="fully-wired"),
    ],
)
def test_some_station_is_wired_so(site: Site, present: set[Role], absent: set[Role]) -> None:
    assert any(
        present <= set(station.points) and not absent & set(station.points)
        for station in site.stations
    )


def test_every_point_is_recorded_and_every_tag_is_known(
    site: Site, recorded: Mapping[str, Samples]
) -> None:
    assert set(recorded) == {point.aliases[0] for point in site.points()}


def test_the_times_of_every_tag_rise(recorded: Mapping[str, Samples]) -> None:
    assert all(np.all(np.diff(samples.time) > 0) for samples in recorded.values())


def test_the_readings_cover_four_weeks_with_the_clock_change(
    site: Site, recorded: Mapping[str, Samples], results: Mapping[str, StationResults]
) -> None:
    for samples in recorded.values():
        assert local_day(int(samples.time[0]), site.zone) == FIRST
        assert local_day(int(samples.time[-1]), site.zone) == LAST
    assert (LAST - FIRST).days + 1 == 28
    days = {day.day for found in results.values() for day in found.days}
    assert (min(days), max(days)) == (FIRST, LAST), "what readings vouch for ends with them"
    change = dt.date(2026, 3, 29)
    after = change + dt.timedelta(days=1)
    assert (day_start(after, site.zone) - day_start(change, site.zone)) / 3.6e12 == 23


def test_no_heartbeat_lapses_outside_the_told_outages(
    site: Site, recorded: Mapping[str, Samples]
) -> None:
    """The collector's night, the road bays' switch: at most two gaps a point."""
    for point in site.points():
        lapses = np.diff(recorded[point.aliases[0]].time) / 1e9 > point.stale_after_s
        told = 2 if point.station.startswith("road") and point.role is not Role.FLOW else 1
        assert np.count_nonzero(lapses) <= told


def test_papers_name_known_stations_and_products(
    site: Site, tickets: list[Ticket], work: list[WorkWindow]
) -> None:
    known = {station.id for station in site.stations}
    assert {ticket.station for ticket in tickets} <= known
    assert {window.station for window in work} <= known
    assert {ticket.product for ticket in tickets} <= set(site.products)
    assert all(row.start < row.end for row in (*tickets, *work))


def test_the_hazard_of_every_station_that_tells_its_flow_can_be_estimated(site: Site) -> None:
    for station in site.stations:
        if not station.tells_flow:
            continue
        assert station.product, station.id
        assert Role.FLOW in station.points or station.rated_flow, station.id
        if site.products[station.product].phase == "liquid":
            assert None not in (station.pipe_diameter_m, station.pipe_length_m), station.id
        else:
            assert station.operation, station.id
    assert any(station.filter_charge_uC_m3 for station in site.stations)
    assert any(station.capacitance_pF is None for station in site.stations), "a kind's own range"
    assert all(product.mie_mJ is not None for product in site.products.values())


def test_every_signal_says_how_often_it_is_looked_at(site: Site) -> None:
    for point in site.points():
        assert point.interval_s is not None
        assert point.interval_s < point.stale_after_s


def test_what_the_estimate_is_fed_with_is_marked_as_invented(site: Site) -> None:
    said = " ".join(site.text.replace("#", "").split())
    assert "Like the plant, these are invented: bores and lengths of pipes" in said
    assert all(product.source for product in site.products.values())
