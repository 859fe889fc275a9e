"""Whatever is split adds up again: days, weeks, months, stations, areas and shifts of a story.

The story is made up at random, under clocks that change, a leap day and half hours.
"""

from __future__ import annotations

import datetime as dt
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from math import isclose
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from tests.published.conftest import Recorded
from tests.published.historian import Historian, Objects
from tests.published.readings import (
    DAY,
    HOUR,
    MINUTE,
    SECOND,
    Cause,
    Flaw,
    Reading,
    Trip,
    bond_loss,
    hookup,
    idle,
    iso,
    site_text,
    transfer,
)

STATIONS = {"quay-1": {"area": "quay"}, "quay-2": {"area": "quay"}, "yard-1": {}}
AREAS = {"quay-1": "quay", "quay-2": "quay", "yard-1": "(no area)"}

SHIFTS = """\
[[shift]]
name = "early"
from = "06:00"
to = "14:00"

[[shift]]
name = "late"
from = "14:00"
to = "22:30"

[[shift]]
name = "night"
from = "22:30"
to = "06:00"
days = ["sun", "mon", "tue", "wed", "thu"]
"""


@dataclass(frozen=True)
class Stage:
    """Where and when a story plays: local days ``first`` to ``last``, both included."""

    zone: str
    first: dt.date
    last: dt.date

    @property
    def clock(self) -> ZoneInfo:
        return ZoneInfo(self.zone)

    def midnight(self, day: dt.date) -> int:
        begin = dt.datetime.combine(day, dt.time(), self.clock)
        return round(begin.timestamp()) * SECOND

    def days(self) -> list[dt.date]:
        count = (self.last - self.first).days + 1
        return [self.first + n * dt.timedelta(1) for n in range(count)]

    def local(self, time: str) -> dt.datetime:
        return dt.datetime.fromisoformat(time).astimezone(self.clock)


STAGES = [
    pytest.param(
        Stage("Europe/Lisbon", dt.date(2026, 1, 1), dt.date(2026, 12, 31)),
        id="a-year-with-both-changes",
    ),
    pytest.param(
        Stage("Europe/Lisbon", dt.date(2028, 2, 12), dt.date(2028, 3, 31)), id="a-leap-day"
    ),
    pytest.param(
        Stage("Asia/Kolkata", dt.date(2025, 12, 20), dt.date(2026, 2, 3)), id="a-half-hour-zone"
    ),
    pytest.param(
        Stage("Australia/Lord_Howe", dt.date(2026, 3, 20), dt.date(2026, 4, 20)),
        id="a-change-of-half-an-hour",
    ),
    pytest.param(
        Stage("America/Santiago", dt.date(2026, 8, 20), dt.date(2026, 9, 20)),
        id="a-day-that-begins-at-one",
    ),
]


def story(station: str, stage: Stage, seed: int) -> Iterator[Reading]:
    """What happens at a station, one thing after another, at any hour of day and night."""
    some = np.random.default_rng(seed)
    begin, over = stage.midnight(stage.first), stage.midnight(stage.last + dt.timedelta(1))
    yield from idle(station, begin)
    at = begin + int(some.integers(HOUR))
    longest_gap = 8 * HOUR if over - begin < 100 * DAY else 48 * HOUR
    while at < over - 30 * HOUR:
        at += 15 * MINUTE + int(some.integers(longest_gap)) // SECOND * SECOND
        length = MINUTE + int(some.integers(some.choice([HOUR, 4 * HOUR]))) // SECOND * SECOND
        match some.choice(["transfer", "flawed", "tripped", "hookup", "lossy"]):
            case "transfer":
                yield from transfer(station, at, length)
            case "flawed":
                yield from transfer(station, at, length, flaw=some.choice(list(Flaw)))
            case "tripped":
                trip = Trip(at + length // 2, some.choice(list(Cause)))
                yield from transfer(station, at, length, trips=[trip])
            case "hookup":
                yield from hookup(station, at, float(some.choice([2.0, 5.0, 12.0, 400.0])), length)
            case "lossy":
                yield from transfer(station, at, length)
                yield from bond_loss(station, at + length // 2)
        at += length
    # The last that is heard, a moment before the days are over.
    yield Reading(over - SECOND, f"{station}.flow", 0)


@dataclass(frozen=True)
class Told:
    """A stage with a story on it, as the historian has it."""

    stage: Stage
    historian: Historian

    @cache  # noqa: B019 - asked many times, and gone when the tests are over
    def kpis(self, *more: str) -> Objects:
        return self.historian.show(
            "kpis", "--from", str(self.stage.first), "--to", str(self.end), *more
        )

    @property
    def end(self) -> dt.date:
        return self.stage.last + dt.timedelta(1)


@pytest.fixture(scope="module", params=STAGES)
def told(request: pytest.FixtureRequest, historian_of: Recorded) -> Told:
    stage: Stage = request.param
    readings = (
        reading for seed, station in enumerate(STATIONS) for reading in story(station, stage, seed)
    )
    return Told(stage, historian_of(site_text(STATIONS, zone=stage.zone, tables=SHIFTS), readings))


DERIVED = (
    "coverage",
    "time_to_bond_p50_s",
    "time_to_bond_p95_s",
    "time_to_stop_p50_s",
    "time_to_stop_p95_s",
)
"""Figures that do not add up."""


def sums(row: Mapping[str, Any]) -> dict[str, float]:
    """Return all of a row that should add up, by name."""
    found: dict[str, float] = {}
    for name, told in row.items():
        if isinstance(told, Mapping):
            parts = {part: told[part] for part in ("count", "of")} if "value" in told else told
            found |= {f"{name}.{part}": number for part, number in parts.items() if number}
        elif isinstance(told, int | float) and name not in DERIVED:
            found[name] = told
    return found


def total(rows: Iterable[Mapping[str, Any]]) -> dict[str, float]:
    """Return what rows add up to."""
    found: Counter[str] = Counter()
    for row in rows:
        found.update(sums(row))
    return dict(found)


def grouped(rows: Objects, *names: str) -> dict[tuple[Any, ...], dict[str, float]]:
    """Return what the rows with the same values under some names add up to."""
    groups = defaultdict(list)
    for row in rows:
        groups[tuple(row[name] for name in names)].append(row)
    return {key: total(members) for key, members in groups.items()}


def off(found: Mapping[str, float], expected: Mapping[str, float]) -> dict[str, Any]:
    """Return what is not as expected, by name: what was found and what was expected.

    Seconds are rounded to the microsecond in every row, and there are hundreds of rows.
    """
    return {
        name: (found.get(name, 0), value)
        for name, value in expected.items()
        if not isclose(found.get(name, 0), value, rel_tol=1e-9, abs_tol=1e-3)
    } | {name: (value, 0) for name, value in found.items() if value and name not in expected}


SPLITS = [(), ("--by", "day"), ("--by", "week"), ("--by", "month")]


@pytest.mark.parametrize("shifts", [(), ("--by-shift",)], ids=["whole", "by-shift"])
@pytest.mark.parametrize("split", SPLITS, ids=" ".join)
class TestEverySplit:
    def test_of_a_station_adds_up(
        self, told: Told, split: tuple[str, ...], shifts: tuple[str, ...]
    ) -> None:
        whole = {(row["station"],): sums(row) for row in told.kpis()}
        parts = grouped(told.kpis(*split, *shifts), "station")
        assert parts.keys() == whole.keys()
        for station, expected in whole.items():
            assert expected["transfers"] > 0
            assert off(parts[station], expected) == {}

    def test_of_an_area_is_that_of_its_stations(
        self, told: Told, split: tuple[str, ...], shifts: tuple[str, ...]
    ) -> None:
        stations = [{**row, "area": AREAS[row["station"]]} for row in told.kpis(*split, *shifts)]
        keys = ("area", "from", *(["shift"] if shifts else []))
        expected = grouped(stations, *keys)
        found = grouped(told.kpis(*split, *shifts, "--per", "area"), *keys)
        assert {key for key, row in expected.items() if off(found[key], row)} == set()

    def test_of_the_site_is_that_of_all(
        self, told: Told, split: tuple[str, ...], shifts: tuple[str, ...]
    ) -> None:
        keys = ("from", *(["shift"] if shifts else []))
        expected = grouped(told.kpis(*split, *shifts), *keys)
        found = grouped(told.kpis(*split, *shifts, "--per", "site"), *keys)
        assert {key for key, row in expected.items() if off(found[key], row)} == set()


def test_two_ranges_add_up_to_both(told: Told) -> None:
    stage = told.stage
    whole = {row["station"]: sums(row) for row in told.kpis()}
    for day in (stage.days()[1], stage.days()[len(stage.days()) // 3], stage.last):
        halves = [
            *told.historian.show("kpis", "--from", str(stage.first), "--to", str(day)),
            *told.historian.show("kpis", "--from", str(day), "--to", str(told.end)),
        ]
        for (station,), found in grouped(halves, "station").items():
            assert off(found, whole[station]) == {}


def test_sums_are_what_the_lists_hold(told: Told) -> None:
    site = total(told.kpis("--per", "site"))
    show = told.historian.show
    transfers, hookups, trips = show("transfers"), show("hookups"), show("trips")
    findings = Counter(row["kind"] for row in show("findings"))
    del findings["resistance_drift"]  # is about weeks, so that no day counts it
    alarms = Counter(row["kind"] for row in show("alarms", "--list"))
    assert min(len(transfers), len(hookups), len(trips), len(alarms)) > 3
    expected = {
        "transfers": len(transfers),
        "compliant_transfers": sum(row["compliant"] for row in transfers),
        "flow_s": sum(row["flow_s"] for row in transfers),
        "volume": sum(row["volume"] for row in transfers),
        "not_bonded_s": sum(row["not_bonded_s"] for row in transfers),
        "no_data_s": sum(row["no_data_s"] for row in transfers),
        "bypassed_s": sum(row["bypassed_s"] for row in transfers),
        "hookups": len(hookups),
        "failed_hookups": sum(row["outcome"] == "failed" for row in hookups),
        **{f"findings.{kind}": count for kind, count in findings.items()},
        **{f"alarms.{kind}": count for kind, count in alarms.items()},
        **{
            f"trips.{kind}": count
            for kind, count in Counter(f"{row['class']}/{row['cause']}" for row in trips).items()
        },
    }
    assert off({name: site[name] for name in expected}, expected) == {}


def test_each_counts_on_the_day_of_the_sites_calendar_on_which_it_began(told: Told) -> None:
    stage = told.stage
    days = {
        stage.local(row["from"]).date(): row for row in told.kpis("--by", "day", "--per", "site")
    }
    counts = {day: {**row, "trips": sum(row["trips"].values())} for day, row in days.items()}
    for what, moment in (("transfers", "start"), ("hookups", "start"), ("trips", "time")):
        began = Counter(stage.local(row[moment]).date() for row in told.historian.show(what))
        assert {day: row[what] for day, row in counts.items() if row[what]} == dict(began)


def test_each_day_is_as_long_as_the_clock_makes_it(told: Told) -> None:
    stage = told.stage
    rows = told.kpis("--by", "day", "--station", "quay-1")
    assert [stage.local(row["from"]).date() for row in rows] == stage.days()
    for day, row in zip(stage.days(), rows, strict=True):
        begin, end = stage.midnight(day), stage.midnight(day + dt.timedelta(1))
        assert (row["from"], row["to"]) == (iso(begin), iso(end))
        known = row["known_s"] + row["unknown_s"] + row["no_record_s"]
        assert known == pytest.approx((end - begin) / SECOND, abs=1e-5)


def shift_at(at: dt.datetime) -> str:
    """Return the shift that a clock on the wall says it is."""
    clock = at.time().replace(tzinfo=None)
    if dt.time(6) <= clock < dt.time(14):
        return "early"
    if dt.time(14) <= clock < dt.time(22, 30):
        return "late"
    begun = at.date() if clock >= dt.time(22, 30) else at.date() - dt.timedelta(1)
    return "night" if begun.strftime("%a") not in ("Fri", "Sat") else ""


def test_each_counts_in_the_shift_in_which_it_began(told: Told) -> None:
    began = Counter(
        shift_at(told.stage.local(row["start"])) for row in told.historian.show("transfers")
    )
    rows = told.kpis("--per", "site", "--by-shift")
    assert {row["shift"]: row["transfers"] for row in rows} == dict(began)


def test_each_shift_is_as_long_as_the_clock_makes_it(told: Told) -> None:
    # Shifts begin, and clocks change, at half hours only.
    stage, half_hour = told.stage, 1800
    begin, end = stage.midnight(stage.first), stage.midnight(told.end)
    moments = range(begin // SECOND, end // SECOND, half_hour)
    shown = (dt.datetime.fromtimestamp(moment, stage.clock) for moment in moments)
    lengths = {shift: half_hour * n for shift, n in Counter(map(shift_at, shown)).items()}
    rows = told.kpis("--by-shift", "--station", "quay-1")
    assert {
        row["shift"]: row["known_s"] + row["unknown_s"] + row["no_record_s"] for row in rows
    } == pytest.approx(lengths, abs=1e-3)
