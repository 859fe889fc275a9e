"""A report and the commands tell the same figures of the same days."""

from __future__ import annotations

import json
from typing import Any

import pytest

from tests.published.conftest import Recorded
from tests.published.historian import Historian
from tests.published.readings import (
    DAY,
    HOUR,
    MINUTE,
    Cause,
    Flaw,
    Reading,
    Trip,
    Work,
    bond_loss,
    hookup,
    idle,
    moment,
    site_text,
    transfer,
)

FIRST, END, DAYS = "2026-01-05", "2026-03-06", 60
BEGIN = moment(FIRST)
BAYS = ("bay-1", "bay-2")


def busy(station: str, every: int) -> list[Reading]:
    """Transfers, trips and losses of a bay on record from the first day to the last."""
    readings = idle(station, BEGIN)
    for day in range(DAYS):
        at = BEGIN + day * DAY + 6 * HOUR
        flaw = tuple(Flaw)[day % len(Flaw)] if day % every == 0 else None
        readings += transfer(station, at, HOUR, flaw=flaw)
        trips = [Trip(at + 3 * HOUR, tuple(Cause)[day % len(Cause)])] if day % every else []
        readings += transfer(station, at + 2 * HOUR, 2 * HOUR, trips=trips)
        readings += bond_loss(station, at + 2 * HOUR + 10 * MINUTE)
    return [*readings, Reading(BEGIN + DAYS * DAY, f"{station}.flow", 0)]


def wearing(station: str) -> list[Reading]:
    """One hookup a day, at ever higher resistance."""
    hookups = (hookup(station, BEGIN + day * DAY + HOUR, 4 + 0.05 * day) for day in range(DAYS))
    over = Reading(BEGIN + DAYS * DAY, f"{station}.flow", 0)
    return [*idle(station, BEGIN), *(row for pair in hookups for row in pair), over]


@pytest.fixture(scope="module")
def told(historian_of: Recorded) -> Historian:
    readings = [row for n, bay in enumerate(BAYS, 3) for row in busy(bay, n)]
    work = [
        Work(BEGIN + n * 5 * DAY, BEGIN + n * 5 * DAY + HOUR, "bay-1", "clamp replaced")
        for n in range(10)
    ]
    return historian_of(site_text([*BAYS, "worn"]), [*readings, *wearing("worn")], work)


@pytest.fixture(scope="module")
def report(told: Historian) -> dict[str, list[dict[str, Any]]]:
    path = told.folder / "report.json"
    assert told.run("report", "--from", FIRST, "--to", END, "--out", str(path)).status == 0
    tables: dict[str, list[dict[str, Any]]] = json.loads(path.read_text(encoding="utf-8"))
    return tables


PERIOD = ("--from", FIRST, "--to", END)
PARTS = ("value", "low", "high", "count", "of")


@pytest.mark.parametrize(
    ("table", "figure"),
    [
        ("stations", "compliance"),
        ("nuisance_rates", "nuisance_per_100_transfers"),
        ("nuisance_rates", "nuisance_per_1000_flow_h"),
    ],
)
def test_figures_of_merit(
    told: Historian, report: dict[str, list[dict[str, Any]]], table: str, figure: str
) -> None:
    kpis = told.by_station("kpis", *PERIOD)
    found = {row["station"]: row[figure] for row in report[table]}
    for station in BAYS:
        told_of = kpis[station][figure]
        assert told_of["count"] > 0
        assert [found[station][part] for part in PARTS] == pytest.approx(
            [told_of[part] for part in PARTS]
        )


@pytest.mark.parametrize(("trips", "kind"), [("all trips", ()), ("nuisance trips", ("nuisance",))])
def test_trends_of_trips(
    told: Historian,
    report: dict[str, list[dict[str, Any]]],
    trips: str,
    kind: tuple[str, ...],
) -> None:
    asked = [word for name in kind for word in ("--kind", name)]
    trends = {row["station"] or "all together": row for row in told.show("trends", *PERIOD, *asked)}
    found = {row["station"]: row for row in report["trip_trends"] if row["trips"] == trips}
    for name in ("all together", *BAYS):
        row = trends[name]
        assert row["trips"] > 30
        assert (found[name]["verdict"], found[name]["words"]) == (row["verdict"], row["words"])
        assert found[name]["beta"] == pytest.approx(row["power_law"]["maximum_likelihood"]["beta"])
        assert found[name]["mean_time_between"] == pytest.approx(row["mtbf_h"])


def test_alarms(told: Historian, report: dict[str, list[dict[str, Any]]]) -> None:
    (figures,) = told.show("alarms", *PERIOD)
    load = {row["figure"]: row for row in report["alarm_load"]}
    assert figures["alarms"] > 100
    assert {"average_per_hour", "peak_per_10_min", "time_in_flood", "fleeting"} <= load.keys()
    for name, row in load.items():
        for part in ("value", "acceptable", "manageable"):
            assert row[part] == pytest.approx(figures[name][part]), name
        assert (row["judgement"] or None) == figures[name]["judgement"]


def test_drift(told: Historian, report: dict[str, list[dict[str, Any]]]) -> None:
    due = {row["station"]: row for row in told.show("drift") if row["within_90_days"]}
    found = {row["station"]: row for row in report["drift_watch"]}
    assert due.keys() == {"worn"}
    for station, row in due.items():
        assert found[station]["slope_ohm_per_day"] == row["slope_ohm_per_day"]["value"]
        assert found[station]["reaches_limit_on"] == row["reaches_limit"]["on"]
        assert found[station]["hookups"] == row["hookups"]


def test_lives(told: Historian, report: dict[str, list[dict[str, Any]]]) -> None:
    wear = {row["part"]: row for row in told.show("wear")}
    lives = {row["part"]: row for row in report["part_lives"]}
    clamp = lives["clamp"]
    assert (clamp["replaced"], clamp["words"]) == (
        wear["clamp"]["replaced"],
        wear["clamp"]["words"],
    )
    assert clamp["replaced"] == 9
