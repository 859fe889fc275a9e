"""Figures of merit over whole days of the site's calendar: any split of them adds up."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from zoneinfo import ZoneInfo

import hypothesis.strategies as st
import pytest
from hypothesis import HealthCheck, given, settings

from analytics.kpis import NO_AREA, By, KpiRow, Per, kpi_rows, period_edges
from bondtrail.results import (
    DAY_COUNTERS,
    DAY_HISTOGRAMS,
    DAY_SUMS,
    AlarmKind,
    DaySums,
    Kind,
    StationResults,
    TripCause,
)
from bondtrail.site import Site, parse_site
from bondtrail.times import format_time, parse_time
from store import Store

HEAD = """
schema = 1
[site]
id = "quay"
name = "Quay (invented)"
timezone = "{zone}"
"""
STATION = """
[[station]]
id = "{id}"
name = "{id} (invented)"
kind = "{kind}"
{extra}
[station.points]
resistance = {{ unit = "ohm" }}
flow = {{ unit = "{unit}" }}
"""
SHIFTS = """
[[shift]]
name = "day"
from = "06:00"
to = "18:00"
[[shift]]
name = "night"
from = "22:00"
to = "06:00"
"""


def station(name: str, area: str | None = None, unit: str = "L/min") -> str:
    extra = f'area = "{area}"' if area else ""
    kind = "flexible_bulk_bag" if unit.startswith("kg") else "road_tanker"
    return STATION.format(id=name, extra=extra, unit=unit, kind=kind)


def a_site(*parts: str, zone: str = "Europe/Lisbon") -> Site:
    return parse_site("".join([HEAD.format(zone=zone), *parts]))


PAIR = a_site(station("a", "North"), station("b"))


def day(text: str) -> dt.date:
    return dt.date.fromisoformat(text)


def fill(store: Store, site: Site, days: Iterable[DaySums], parts: Iterable[DaySums] = ()) -> None:
    """Put a site and the sums of its days into the store, as an analysis does."""
    store.put_site(site, 0)
    days, parts = list(days), list(parts)
    for name in {row.station for row in [*days, *parts]}:
        store.save_results(
            StationResults(
                name,
                days=tuple(row for row in days if row.station == name),
                shifts=tuple(row for row in parts if row.station == name),
            ),
            since=-(2**63),
            since_day=dt.date.min,
        )


def some_days(*texts: str, station: str = "a") -> list[DaySums]:
    return [DaySums(station, day(text), transfers=1, flow_s=0.1) for text in texts]


def told(rows: Sequence[KpiRow]) -> list[tuple[str, str, str, int]]:
    return [
        (row.group, format_time(row.start)[:16], format_time(row.end)[:16], row.sums.transfers)
        for row in rows
    ]


EDGES = [  # by, first, last, edges
    pytest.param(None, "2026-03-05", "2026-03-04", [], id="nothing"),
    pytest.param(None, "2026-03-05", "2026-03-05", ["2026-03-05", "2026-03-06"], id="one-day"),
    pytest.param(
        "day",
        "2024-02-28",
        "2024-03-01",
        ["2024-02-28", "2024-02-29", "2024-03-01", "2024-03-02"],
        id="a-leap-day",
    ),
    pytest.param(
        "week",  # 2026-03-01 is a Sunday: ISO weeks begin on Monday
        "2026-03-01",
        "2026-03-10",
        ["2026-03-01", "2026-03-02", "2026-03-09", "2026-03-11"],
        id="weeks-cut-at-both-ends",
    ),
    pytest.param(
        "week",  # ISO week 1 of 2026 begins on 29 December 2025
        "2025-12-29",
        "2026-01-11",
        ["2025-12-29", "2026-01-05", "2026-01-12"],
        id="whole-weeks-over-new-year",
    ),
    pytest.param(
        "month",
        "2023-12-31",
        "2024-03-10",
        ["2023-12-31", "2024-01-01", "2024-02-01", "2024-03-01", "2024-03-11"],
        id="months",
    ),
]


@pytest.mark.parametrize(("by", "first", "last", "expected"), EDGES)
def test_period_edges(by: By | None, first: str, last: str, expected: list[str]) -> None:
    assert period_edges(day(first), day(last), by) == [day(text) for text in expected]


ROWS = [  # by, days that there are, range, (first day, day after, transfers) of each period of a
    pytest.param(
        None,
        ["2026-03-05", "2026-03-02"],
        ("2026-03-01", "2026-03-20"),
        [("2026-03-01", "2026-03-21", 2)],
        id="over-everything",
    ),
    pytest.param(
        None,
        ["2026-03-05", "2026-03-02"],
        ("2026-03-03", "2026-03-05"),
        [("2026-03-03", "2026-03-06", 1)],
        id="days-outside-the-range-do-not-count",
    ),
    pytest.param(
        None, [], ("2026-03-01", "2026-03-20"), [("2026-03-01", "2026-03-21", 0)], id="no-days"
    ),
    pytest.param(
        "day",
        ["2026-03-02", "2026-03-05"],
        ("2026-03-01", "2026-03-20"),
        [("2026-03-02", "2026-03-03", 1), ("2026-03-05", "2026-03-06", 1)],
        id="days-without-sums-are-left-out",
    ),
    pytest.param(
        "week",
        ["2026-03-01", "2026-03-02", "2026-03-08", "2026-03-09"],
        ("2026-03-01", "2026-03-09"),
        [
            ("2026-03-01", "2026-03-02", 1),
            ("2026-03-02", "2026-03-09", 2),
            ("2026-03-09", "2026-03-10", 1),
        ],
        id="weeks",
    ),
    pytest.param(
        "month",
        ["2024-02-10", "2024-02-29", "2024-03-01"],
        ("2024-01-15", "2024-03-10"),
        [("2024-02-01", "2024-03-01", 2), ("2024-03-01", "2024-03-11", 1)],
        id="a-leap-month",
    ),
]


@pytest.mark.parametrize(("by", "there", "asked", "expected"), ROWS)
def test_a_row_a_period(
    store: Store,
    by: By | None,
    there: list[str],
    asked: tuple[str, str],
    expected: list[tuple[str, str, int]],
) -> None:
    fill(store, PAIR, some_days(*there))
    rows = kpi_rows(store, PAIR, *map(day, asked), by=by, stations=["a"])
    assert told(rows) == [
        ("a", f"{begin}T00:00", f"{end}T00:00", transfers) for begin, end, transfers in expected
    ]


@pytest.mark.parametrize(
    ("zone", "start", "end"),
    [
        # Clocks go forward on 29 March 2026, so the last midnight is an hour earlier in UTC.
        ("Europe/Lisbon", "2026-03-01T00:00", "2026-03-31T23:00"),
        ("Australia/Adelaide", "2026-02-28T13:30", "2026-03-31T13:30"),
        ("Asia/Kolkata", "2026-02-28T18:30", "2026-03-31T18:30"),
    ],
)
def test_a_month_is_from_midnight_to_midnight_of_the_site(
    store: Store, zone: str, start: str, end: str
) -> None:
    site = a_site(station("a"), zone=zone)
    fill(store, site, some_days("2026-03-15"))
    rows = kpi_rows(store, site, day("2026-03-01"), day("2026-03-31"), by="month")
    assert told(rows) == [("a", start, end, 1)]


def test_over_everything_each_station_has_a_row_and_per_period_only_where_it_has_sums(
    store: Store,
) -> None:
    days = [*some_days("2026-03-02", station="b"), *some_days("2026-03-02", station="gone")]
    fill(store, PAIR, days)
    march = day("2026-03-01"), day("2026-03-31")
    whole = kpi_rows(store, PAIR, *march)
    assert [(row.group, row.sums.transfers) for row in whole] == [("a", 0), ("b", 1), ("gone", 1)]
    by_day = kpi_rows(store, PAIR, *march, by="day")
    assert [row.group for row in by_day] == ["b", "gone"]


def test_every_cause_finding_and_alarm_has_its_count_even_when_none(store: Store) -> None:
    fill(store, PAIR, some_days("2026-03-02"))
    row, _ = kpi_rows(store, PAIR, day("2026-03-02"), day("2026-03-02"))
    assert {kind.partition("/")[2] for kind in row.sums.trips} == set(TripCause)
    # A drift is about weeks of hookups: no day counts it.
    assert row.sums.findings == dict.fromkeys(set(Kind) - {Kind.RESISTANCE_DRIFT}, 0)
    assert row.sums.alarms == dict.fromkeys(AlarmKind, 0)


EVENTFUL = [
    DaySums(
        "a",
        day("2026-03-01"),
        transfers=4,
        compliant_transfers=3,
        flow_s=3600.0,
        volume=10.5,
        hookups=5,
        failed_hookups=1,
        known_s=80_000.0,
        unknown_s=400.0,
        trips={"genuine/clamp_off": 1, "nuisance/no_loss_seen": 2},
        findings={Kind.FAILED_HOOKUP: 3},
        time_to_bond={0: 1, 220: 4},
    ),
    DaySums("a", day("2026-03-02"), volume=2.25, trips={"genuine/clamp_off": 5}),
    DaySums(
        "b",
        day("2026-03-08"),
        transfers=6,
        compliant_transfers=6,
        flow_s=7200.0,
        bypassed_s=720.0,
        bypass_unknown_s=360.0,
        hookups=5,
        trips={"nuisance/no_loss_seen": 7},
        alarms={AlarmKind.BYPASS_ON: 2},
        time_to_bond={0: 1},
        time_to_stop={220: 1},
    ),
]


def test_a_site_is_the_sum_of_its_stations_with_figures_of_its_own(store: Store) -> None:
    fill(store, PAIR, EVENTFUL)
    (row,) = kpi_rows(store, PAIR, day("2026-03-01"), day("2026-03-31"), per="site")
    assert (row.group, row.sums.transfers, row.sums.volume) == ("quay", 10, 12.75)
    assert (row.count("trips"), row.count("trips", "nuisance/")) == (15, 9)
    assert (row.sums.time_to_bond, row.sums.time_to_stop) == ({0: 2, 220: 4}, {220: 1})
    merits = row.merits
    assert (merits.compliance.count, merits.compliance.of) == (9, 10)
    assert merits.compliance.value == pytest.approx(0.9)
    assert merits.nuisance_per_100_transfers.value == pytest.approx(90)
    assert merits.nuisance_per_1000_flow_h.value == pytest.approx(3000)
    assert merits.bypass_share.value == pytest.approx(720 / 10_440)


def test_shares_have_the_interval_that_was_asked_for(store: Store) -> None:
    fill(store, PAIR, EVENTFUL)
    span = day("2026-03-01"), day("2026-03-31")
    (row,) = kpi_rows(store, PAIR, *span, per="site", interval="clopper-pearson")
    compliance = row.merits.compliance
    # scipy: binomtest(9, 10).proportion_ci(0.95).
    assert (compliance.low, compliance.high) == pytest.approx((0.5549839, 0.9974714), abs=1e-7)


AREAS = a_site(
    station("x"), station("n-1", "North"), station("s-1", "South"), station("n-2", "North")
)


@pytest.mark.parametrize(
    ("stations", "expected"),
    [
        (None, [("North", 4), ("South", 4), (NO_AREA, 9)]),
        (["n-2", "s-1"], [("South", 4), ("North", 3)]),
        (["x"], [(NO_AREA, 8)]),
    ],
)
def test_areas_come_in_the_order_of_the_site_file_and_those_without_one_last(
    store: Store, stations: list[str] | None, expected: list[tuple[str, int]]
) -> None:
    counts = {"x": 8, "n-1": 1, "s-1": 4, "n-2": 3, "gone": 1}
    monday = day("2026-03-02")
    fill(store, AREAS, [DaySums(name, monday, transfers=n) for name, n in counts.items()])
    rows = kpi_rows(store, AREAS, monday, monday, per="area", stations=stations)
    assert [(row.group, row.sums.transfers) for row in rows] == expected


@pytest.mark.parametrize(
    ("units", "told_unit"),
    [(["L/min"], "L"), (["L/min", "m3/h"], "L"), (["kg/min"], "kg"), (["L/min", "kg/min"], None)],
)
def test_a_volume_has_the_one_unit_of_its_stations(
    store: Store, units: list[str], told_unit: str | None
) -> None:
    site = a_site(*(station(f"s-{n}", unit=unit) for n, unit in enumerate(units)))
    fill(store, site, some_days("2026-03-02", station="s-0"))
    (row,) = kpi_rows(store, site, day("2026-03-02"), day("2026-03-02"), per="site")
    assert row.unit == told_unit


# Shifts.

MANNED = a_site(station("a", "North"), station("b"), SHIFTS)
PARTS = [
    DaySums("a", day("2026-03-02"), "night", transfers=1, known_s=7000.0),
    DaySums("a", day("2026-03-02"), "day", transfers=5, known_s=40_000.0),
    DaySums("a", day("2026-03-02"), "", transfers=2),
    DaySums("b", day("2026-03-03"), "day", transfers=7),
]


def test_each_shift_has_a_row_in_the_order_of_the_site_file_the_time_outside_last(
    store: Store,
) -> None:
    fill(store, MANNED, [], PARTS)
    rows = kpi_rows(store, MANNED, day("2026-03-02"), day("2026-03-03"), split_shifts=True)
    assert [(row.group, row.shift, row.sums.transfers) for row in rows] == [
        ("a", "day", 5),
        ("a", "night", 1),
        ("a", "", 2),
        ("b", "day", 7),
        ("b", "night", 0),
        ("b", "", 0),
    ]


def test_shifts_per_period_are_there_where_they_have_sums(store: Store) -> None:
    fill(store, MANNED, [], PARTS)
    rows = kpi_rows(
        store, MANNED, day("2026-03-02"), day("2026-03-03"), by="day", per="site", split_shifts=True
    )
    assert [(format_time(row.start)[:10], row.shift, row.sums.transfers) for row in rows] == [
        ("2026-03-02", "day", 5),
        ("2026-03-02", "night", 1),
        ("2026-03-02", "", 2),
        ("2026-03-03", "day", 7),
    ]


def test_a_shift_that_the_site_file_no_longer_names_keeps_its_row(store: Store) -> None:
    fill(store, MANNED, [], [DaySums("a", day("2026-03-02"), "swing", transfers=1)])
    rows = kpi_rows(
        store, MANNED, day("2026-03-02"), day("2026-03-02"), stations=["a"], split_shifts=True
    )
    assert [row.shift for row in rows] == ["day", "night", "swing", ""]


# Time without any record.

HOUR = 3600.0


@pytest.mark.parametrize(
    ("first", "last", "now", "expected"),
    [
        pytest.param("2026-03-02", "2026-03-02", None, 22 * HOUR, id="a-day"),
        pytest.param("2026-03-02", "2026-03-02", "2026-03-02T12:00", 10 * HOUR, id="half-over"),
        pytest.param("2026-03-02", "2026-03-02", "2026-03-02T01:00", 0.0, id="never-below-0"),
        pytest.param("2026-03-05", "2026-03-05", "2026-03-02T12:00", 0.0, id="yet-to-come"),
        pytest.param("2026-03-29", "2026-03-29", None, 23 * HOUR, id="clocks-go-forward"),
        pytest.param("2026-10-25", "2026-10-25", None, 25 * HOUR, id="clocks-go-back"),
    ],
)
def test_time_without_any_record(
    store: Store, first: str, last: str, now: str | None, expected: float
) -> None:
    days = [DaySums("a", day("2026-03-02"), known_s=1.5 * HOUR, unknown_s=0.5 * HOUR)]
    fill(store, PAIR, days)
    moment = None if now is None else parse_time(now, ZoneInfo("Europe/Lisbon"))
    (row,) = kpi_rows(store, PAIR, day(first), day(last), stations=["a"], now=moment)
    assert row.no_record_s == expected


def test_time_without_any_record_adds_up_over_stations_and_shifts(store: Store) -> None:
    fill(store, MANNED, [], PARTS)
    days = day("2026-03-02"), day("2026-03-03")
    (site,) = kpi_rows(store, MANNED, *days, per="site")
    assert site.no_record_s == 4 * 24 * HOUR  # of no day is there a sum
    parts = kpi_rows(store, MANNED, *days, per="site", split_shifts=True)
    assert [row.no_record_s for row in parts] == [
        4 * 12 * HOUR - 40_000,
        4 * 8 * HOUR - 7000,
        4 * 4 * HOUR,
    ]


# Adding up.


def _sum(rows: Iterable[KpiRow]) -> dict[str, object]:
    rows = list(rows)
    total: dict[str, object] = {
        name: pytest.approx(sum(getattr(row.sums, name) for row in rows)) for name in DAY_SUMS
    }
    for name in (*DAY_COUNTERS, *DAY_HISTOGRAMS):
        counts: dict[object, int] = {}
        for row in rows:
            for key, count in getattr(row.sums, name).items():
                counts[key] = counts.get(key, 0) + count
        total[name] = counts
    return total


_counts = st.integers(0, 9)
_milliseconds = st.integers(0, 86_400_000)


@st.composite
def _days(draw: st.DrawFn) -> list[DaySums]:
    """Some days of two years for a few stations, with a leap day and changes of clocks among."""
    found = {}
    for _ in range(draw(st.integers(0, 12))):
        name = draw(st.sampled_from(["x", "n-1", "s-1", "gone"]))
        when = day("2023-11-20") + dt.timedelta(days=draw(st.integers(0, 500)))
        transfers = draw(_counts)
        flow_ms = draw(_milliseconds)
        found[name, when] = DaySums(
            name,
            when,
            transfers=transfers,
            compliant_transfers=draw(st.integers(0, transfers)),
            flow_s=flow_ms / 1000,
            flow_unknown_s=draw(_milliseconds) / 1000,
            bypass_unknown_s=draw(st.integers(0, flow_ms)) / 1000,
            trips={"nuisance/no_loss_seen": draw(_counts)},
            time_to_bond={draw(st.integers(0, 701)): draw(st.integers(1, 9))},
        )
    return list(found.values())


@given(
    days=_days(),
    by=st.sampled_from(["day", "week", "month"]),
    per=st.sampled_from(["station", "area", "site"]),
)
@settings(max_examples=10, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_split_of_time_and_stations_adds_up(
    store: Store, days: list[DaySums], by: By, per: Per
) -> None:
    nothing = [StationResults(name) for name in ("x", "n-1", "s-1", "gone")]
    for results in nothing:
        store.save_results(results, since=-(2**63), since_day=dt.date.min)
    fill(store, AREAS, days)
    span = day("2023-11-20"), day("2025-04-03")
    (whole,) = kpi_rows(store, AREAS, *span, per="site")
    assert _sum([whole]) == _sum(kpi_rows(store, AREAS, *span, per=per))
    split = _sum(kpi_rows(store, AREAS, *span, by=by, per=per))
    told = _sum([whole])
    for name, counts in told.items():
        if isinstance(counts, dict):
            told[name] = {
                key: count for key, count in counts.items() if count or key in split[name]
            }
    assert told == split
    assert whole.sums.transfers == sum(row.transfers for row in days)
