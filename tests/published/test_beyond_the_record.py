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


def test_a_hole_in_the_record_makes_no_trend(historian_of: Recorded) -> None:
    """Ten days with a trip every 12 h, and as many in which the monitor tells nothing good."""
    over = BEGIN + 10 * DAY
    trips = [Trip(BEGIN + n * 12 * HOUR) for n in range(1, 20)]
    readings = [*idle("bay", BEGIN - HOUR), *transfer("bay", BEGIN, 10 * DAY, trips=trips)]
    blind = Reading(over + HOUR, "bay.flow", 0.0, quality=2)
    readings += [blind, Reading(over + 10 * DAY, "bay.flow", 0)]
    told = historian_of(site_text(["bay"]), readings)
    (row,) = told.show("trends", "--station", "bay")
    assert row["known"] == pytest.approx(0.5, abs=0.05)
    assert row["laplace"]["p_value"] < 0.001  # as if they had stopped
    assert row["verdict"] == "not told"
    assert row["words"].startswith("not told: only 52 % of this time is on record")
    table = told.done("show", "trends").out
    assert "not told: only 52 % of" in table
    assert "getting better" not in table
    (before,) = told.show("trends", "--station", "bay", "--to", iso(BEGIN + 10 * DAY))
    assert (before["known"], before["verdict"]) == (1.0, "no sign of a trend")


def test_a_side_of_a_comparison_tells_how_much_of_it_is_known(told: Historian) -> None:
    asked = ("--at", iso(BEGIN + 15 * DAY), "--days", "20", "--station", "bay")
    rows = json.loads(told.done("compare", *asked, "--format", "json").out)
    before, after = rows[0]["first"], rows[0]["second"]
    assert before["known"] == pytest.approx(15 / 20, abs=0.01)  # none before the first reading
    assert after["known"] == pytest.approx(6 / 20, abs=0.01)  # nor after the last
    shown = " ".join(told.done("compare", *asked).out.split())
    assert "CAUTION, after: the bond state is known for less than 90 % of its time" in shown


def test_a_moment_after_the_last_reading_has_nothing_to_compare(told: Historian) -> None:
    shown = told.run("compare", "--at", "2026-07-01", "--format", "json")
    assert shown.status == 0
    assert "--at 2026-07-01 is after the last reading" in shown.err
    assert {row["verdict"] for row in json.loads(shown.out)} == {"nothing to compare"}
