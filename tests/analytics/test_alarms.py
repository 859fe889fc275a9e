"""Alarm-system figures per operator position, from the alarms in a store."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import pytest

from analytics.alarms import (
    GONE,
    NO_POSITION,
    History,
    PositionFigures,
    alarm_positions,
    history_of,
    position_by_station,
    positions_of,
    watched,
)
from bondtrail.results import Alarm, AlarmKind, DaySums, StationResults
from bondtrail.samples import Samples
from bondtrail.site import Site, parse_site
from bondtrail.times import parse_time
from store import Store

S = 10**9
HOUR = 3600 * S

SITE = """
schema = 1
[site]
id = "quay"
name = "Test quay (invented)"
timezone = "Asia/Kolkata"

[alarms]
fleeting_s = 20.0

[[station]]
id = "rail-1"
name = "Rail spot 1"
kind = "rail_tank_car"
[station.points]
flow = { unit = "L/min" }

[[station]]
id = "rail-2"
name = "Rail spot 2"
kind = "rail_tank_car"
position = "Rail desk"
[station.points]
flow = { unit = "L/min" }

[[station]]
id = "bay-1"
name = "Road bay 1"
kind = "road_tanker"
position = "Bay desk"
[station.points]
flow = { unit = "L/min" }

[[station]]
id = "rail-3"
name = "Rail spot 3"
kind = "rail_tank_car"
position = "Rail desk"
[station.points]
flow = { unit = "L/min" }
"""


def at(text: str) -> int:
    return parse_time(f"2026-03-{text}Z")


MIDNIGHT = at("01T18:30:00")
"""When 2 March begins at the quay, half an hour off."""
LATEST = at("04T10:00:00")


@pytest.fixture(scope="module")
def site() -> Site:
    return parse_site(SITE)


KNOWN = {"rail-1": 300.0, "rail-2": 500.0, "rail-3": 100.0}
"""Seconds of the day on record in which the bond state is known; 100 s more are on record."""


def alarm(station: str, start: int, lasts_s: float = 30) -> Alarm:
    return Alarm(station, AlarmKind.BYPASS_ON, start, start + round(lasts_s * S))


def fill(store: Store, site: Site, alarms: Sequence[Alarm]) -> None:
    """Put alarms into a store with results from 2 March on and readings to `LATEST`."""
    store.put_site(site, 0)
    store.write({"rail-1.flow": Samples.of([MIDNIGHT, LATEST], [0.0, 0.0])})
    for station in sorted({"rail-1", *(row.station for row in alarms)}):
        own = tuple(row for row in alarms if row.station == station)
        days = (
            DaySums(station, dt.date(2026, 3, 2), known_s=KNOWN.get(station, 0), unknown_s=100),
        )
        found = StationResults(station, alarms=own, days=days)
        store.save_results(found, since=-(2**62), since_day=dt.date.min)


def by_name(found: Sequence[PositionFigures]) -> dict[str, PositionFigures]:
    return {row.position: row for row in found}


def test_each_position_has_the_alarms_of_its_stations(store: Store, site: Site) -> None:
    alarms = [alarm("rail-2", MIDNIGHT + n * HOUR) for n in range(3)]
    alarms += [alarm("rail-3", MIDNIGHT), alarm("rail-1", MIDNIGHT + HOUR)]
    fill(store, site, alarms)
    found = by_name(alarm_positions(store, site))
    assert {name: (row.stations, row.figures.count) for name, row in found.items()} == {
        "Rail desk": (("rail-2", "rail-3"), 4),
        "Bay desk": (("bay-1",), 0),
        NO_POSITION: (("rail-1",), 1),
    }
    assert list(found) == ["Rail desk", "Bay desk", NO_POSITION]


def test_alarms_of_stations_that_are_gone_are_told_apart(store: Store, site: Site) -> None:
    fill(store, site, [alarm("old-7", MIDNIGHT), alarm("bay-1", MIDNIGHT)])
    found = by_name(alarm_positions(store, site))
    assert (found[GONE].stations, found[GONE].figures.count) == (("old-7",), 1)
    assert found["Bay desk"].figures.count == 1


def test_by_default_the_period_is_that_of_the_results(store: Store, site: Site) -> None:
    fill(store, site, [alarm("rail-1", MIDNIGHT)])
    figures = alarm_positions(store, site)[0].figures
    assert (figures.start, figures.end) == (MIDNIGHT, LATEST)


def test_an_alarm_that_begins_with_the_last_reading_is_in_it(store: Store, site: Site) -> None:
    fill(store, site, [alarm("rail-1", LATEST, 60)])
    figures = by_name(alarm_positions(store, site))[NO_POSITION].figures
    assert (figures.end, figures.count, len(figures.standing)) == (LATEST + 1, 1, 1)


def test_a_period_that_is_asked_for_holds_to_the_nanosecond(store: Store, site: Site) -> None:
    fill(store, site, [alarm("rail-1", MIDNIGHT), alarm("rail-1", MIDNIGHT + HOUR)])
    row = by_name(alarm_positions(store, site, MIDNIGHT + 1, MIDNIGHT + HOUR + 1))[NO_POSITION]
    assert (row.figures.start, row.figures.end, row.figures.count) == (
        MIDNIGHT + 1,
        MIDNIGHT + HOUR + 1,
        1,
    )


def test_what_stands_where_the_history_ends_stands(store: Store, site: Site) -> None:
    fill(store, site, [alarm("rail-1", LATEST - HOUR, 3605), alarm("rail-1", MIDNIGHT)])
    row = by_name(alarm_positions(store, site, MIDNIGHT, LATEST + 24 * HOUR))[NO_POSITION]
    assert [each.start for each in row.figures.standing] == [LATEST - HOUR]
    assert row.figures.standing_at == row.history.end == LATEST + 1


def test_the_rules_are_those_of_the_site(store: Store, site: Site) -> None:
    fill(store, site, [alarm("rail-1", MIDNIGHT, 15)])
    figures = by_name(alarm_positions(store, site))[NO_POSITION].figures
    assert figures.rules.fleeting_s == 20
    assert figures.fleeting.alarms == 1


def test_stale_alarms_are_counted_by_the_days_of_the_site(store: Store, site: Site) -> None:
    # Stale from 18:00 to 19:00 UTC on 2 March and from 19:00 on: midnight there is 18:30 UTC.
    first = alarm("rail-1", at("01T18:00:00"), 25 * 3600)
    second = alarm("rail-1", at("01T19:05:00"), 30 * 3600)
    fill(store, site, [first, second])
    figures = by_name(alarm_positions(store, site))[NO_POSITION].figures
    assert (figures.stale.alarms, figures.stale.most_on_a_day) == (2, 2)
    third = alarm("rail-1", at("01T16:00:00"), 26 * 3600)
    fill(store, site, [third, second])
    figures = by_name(alarm_positions(store, site))[NO_POSITION].figures
    assert (figures.stale.alarms, figures.stale.most_on_a_day) == (2, 1)


def test_one_position_or_one_station(store: Store, site: Site) -> None:
    fill(store, site, [alarm("rail-2", MIDNIGHT), alarm("rail-3", MIDNIGHT)])
    (desk,) = alarm_positions(store, site, position="Rail desk")
    assert (desk.position, desk.figures.count) == ("Rail desk", 2)
    (desk,) = alarm_positions(store, site, station="rail-3")
    assert (desk.position, desk.stations, desk.figures.count) == ("Rail desk", ("rail-3",), 1)
    assert alarm_positions(store, site, position="Bay desk", station="rail-3") == []


@pytest.mark.parametrize(
    ("start", "end"),
    [
        pytest.param(LATEST + HOUR, None, id="after-the-results"),
        pytest.param(None, MIDNIGHT - HOUR, id="before-them"),
    ],
)
def test_an_open_period_outside_the_results_holds_nothing(
    store: Store, site: Site, start: int | None, end: int | None
) -> None:
    fill(store, site, [alarm("rail-1", MIDNIGHT)])
    assert alarm_positions(store, site, start, end) == []


@pytest.mark.parametrize(
    ("start", "end", "expected"),
    [
        pytest.param(0, 60, (0, 60), id="inside"),
        pytest.param(-600, 60, (0, 60), id="from-before"),
        pytest.param(-25, 60, (-5, 60), id="whole-periods-from-before"),
        pytest.param(30, 9000, (30, 130), id="to-the-end-of-the-period-that-holds-the-last"),
        pytest.param(30, 125, (30, 125), id="no-further-than-asked-for"),
        pytest.param(-60, 0, None, id="before"),
        pytest.param(121, 180, None, id="after"),
        pytest.param(60, 60, None, id="empty"),
    ],
)
def test_only_what_is_on_record_is_counted_over(
    start: int, end: int, expected: tuple[int, int] | None
) -> None:
    minute = HOUR // 60
    found = watched(History(0, 120 * minute + 1), start * minute, end * minute)
    assert found == (expected and tuple(moment * minute for moment in expected))


def test_how_much_was_known_is_told_beside(store: Store, site: Site) -> None:
    fill(store, site, [alarm("rail-2", MIDNIGHT), alarm("rail-3", MIDNIGHT)])
    told = {row.position: row.coverage for row in alarm_positions(store, site)}
    assert told == {"Rail desk": 600 / 800, "Bay desk": None, NO_POSITION: 300 / 400}
    (one,) = alarm_positions(store, site, station="rail-3")
    assert one.coverage == 100 / 200
    (later,) = alarm_positions(store, site, LATEST - HOUR, LATEST, position="Rail desk")
    assert later.coverage is None


def test_without_results_there_is_nothing(store: Store, site: Site) -> None:
    store.put_site(site, 0)
    assert alarm_positions(store, site) == []
    assert history_of(store, site) is None


def test_the_positions_together_have_all_alarms(store: Store, site: Site) -> None:
    stations = ["rail-1", "rail-2", "rail-3", "bay-1", "old-7"]
    alarms = [alarm(stations[n % 5], MIDNIGHT + n * HOUR // 3) for n in range(100)]
    fill(store, site, alarms)
    assert sum(row.figures.count for row in alarm_positions(store, site)) == 100


def test_stations_of_the_site_know_their_position(site: Site) -> None:
    assert position_by_station(site) == {
        "rail-1": NO_POSITION,
        "rail-2": "Rail desk",
        "bay-1": "Bay desk",
        "rail-3": "Rail desk",
    }
    assert positions_of(site, ["bay-1"]) == {
        "Rail desk": ["rail-2", "rail-3"],
        "Bay desk": ["bay-1"],
        NO_POSITION: ["rail-1"],
    }
