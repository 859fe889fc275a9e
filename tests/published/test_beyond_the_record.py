"""Nothing is concluded from time of which there is no record."""

from __future__ import annotations

import json

import pytest

from tests.published.conftest import Recorded
from tests.published.historian import Historian
from tests.published.readings import (
    DAY,
    HOUR,
    Reading,
    Trip,
    bond_loss,
    idle,
    iso,
    moment,
    site_text,
    transfer,
)

BEGIN = moment("2026-03-02T00:00")
DAYS = 20


@pytest.fixture(scope="module")
def told(historian_of: Recorded) -> Historian:
    """A bay with a trip every day, and eight alarms an hour for all of that time."""
    trips = [Trip(BEGIN + day * DAY + 12 * HOUR) for day in range(DAYS)]
    readings = [*idle("bay", BEGIN), *transfer("bay", BEGIN + HOUR, DAYS * DAY, trips=trips)]
    for n in range(8 * 24 * DAYS):
        readings += bond_loss("bay", BEGIN + 2 * HOUR + n * HOUR // 8)
    readings.append(Reading(BEGIN + (DAYS + 1) * DAY, "bay.flow", 0))
    return historian_of(site_text(["bay"]), readings)


WIDE = ("--from", iso(BEGIN), "--to", "2026-07-01")
INSIDE = ("--from", iso(BEGIN), "--to", iso(BEGIN + DAYS * DAY))


def test_a_wider_period_makes_no_trend_of_trips(told: Historian) -> None:
    (inside,) = told.show("trends", "--station", "bay", *INSIDE)
    (wide,) = told.show("trends", "--station", "bay", *WIDE)
    assert inside["verdict"] == wide["verdict"] == "no sign of a trend"


def test_a_wider_period_makes_no_alarms_acceptable(told: Historian) -> None:
    (inside,) = told.show("alarms", *INSIDE)
    (wide,) = told.show("alarms", *WIDE)
    assert inside["average_per_hour"]["judgement"] == "within manageable"
    assert wide["average_per_hour"]["judgement"] != "within acceptable"


def test_a_station_that_was_hardly_watched_has_no_time_between_trips(
    historian_of: Recorded,
) -> None:
    (found,) = historian_of(site_text(["bay"]), idle("bay", BEGIN)).show(
        "trends", "--station", "bay"
    ) or [None]
    assert found is None or found["mtbf_h"]["low"] is None


def test_comparing_counts_the_flow_that_the_figures_of_merit_count(told: Historian) -> None:
    periods = (("2026-03-04", "2026-03-08"), ("2026-03-10", "2026-03-14"))
    (first, last), (begin, end) = periods
    asked = ("--from", first, "--to", last, "--and-from", begin, "--and-to", end)
    rows = json.loads(told.done("compare", *asked, "--format", "json").out)
    compared = {row["figure"]: row for row in rows}["nuisance_per_1000_flow_h"]
    for side, (start, stop) in zip(("first", "second"), periods, strict=True):
        (kpis,) = told.show("kpis", "--from", start, "--to", stop)
        of = kpis["nuisance_per_1000_flow_h"]["of"]
        assert of > 90
        assert compared[side]["of"] == pytest.approx(of, rel=0.01)
