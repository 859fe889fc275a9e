"""The scripted readings come out of the historian as what they were meant to be."""

from __future__ import annotations

import pytest

from tests.published.conftest import Recorded
from tests.published.historian import Historian
from tests.published.readings import (
    HOUR,
    MINUTE,
    SECOND,
    Cause,
    Flaw,
    Trip,
    bond_loss,
    hookup,
    idle,
    iso,
    moment,
    site_text,
    transfer,
)

BEGIN = moment("2026-03-02T06:00")


@pytest.fixture(scope="module")
def told(historian_of: Recorded) -> Historian:
    readings = [*idle("bay", BEGIN - HOUR), *transfer("bay", BEGIN)]
    for hour, flaw in enumerate(Flaw, 1):
        readings += transfer("bay", BEGIN + hour * HOUR, flaw=flaw)
    trips = [Trip(BEGIN + 10 * HOUR + n * MINUTE, cause) for n, cause in enumerate(Cause, 1)]
    readings += transfer("bay", BEGIN + 10 * HOUR, HOUR, trips=trips)
    readings += hookup("bay", BEGIN + 12 * HOUR, 7.25)
    readings += hookup("bay", BEGIN + 13 * HOUR, 400.0)
    readings += transfer("bay", BEGIN + 14 * HOUR, HOUR)
    readings += bond_loss("bay", BEGIN + 14 * HOUR + 7 * MINUTE)
    return historian_of(site_text(["bay"]), readings)


def test_transfers_are_compliant_unless_a_flaw_says_otherwise(told: Historian) -> None:
    found = {row["start"]: row for row in told.show("transfers")}
    assert {start: row["compliant"] for start, row in found.items()} == {
        **{iso(BEGIN + hour * HOUR): False for hour in range(1, 1 + len(Flaw))},
        **{iso(BEGIN + hour * HOUR): True for hour in (0, 10, 14)},
    }
    reasons = [row["findings"] for row in found.values() if not row["compliant"]]
    assert [[name.split("/")[1] for name in names] for names in reasons] == [
        ["no_bond_transfer"],
        ["unbonded_start"],
        ["bond_lost_in_flow"],
        ["unverifiable_flow"],
        ["bypassed_flow"],
    ]


def test_transfers_flow_for_as_long_as_they_were_told_to(told: Historian) -> None:
    flows = [row["flow_s"] for row in told.show("transfers")]
    assert flows == [60.0] * 6 + [3600.0] * 2


def test_trips_come_when_they_were_told_to(told: Historian) -> None:
    found = [(row["time"], row["class"], row["cause"]) for row in told.show("trips")]
    assert found == [
        (iso(BEGIN + 10 * HOUR + n * MINUTE), "nuisance", str(cause))
        for n, cause in enumerate(Cause, 1)
    ]


def test_hookups_have_the_resistance_they_were_given(told: Historian) -> None:
    found = {row["start"]: row for row in told.show("hookups")}
    good, bad = found[iso(BEGIN + 12 * HOUR)], found[iso(BEGIN + 13 * HOUR)]
    assert (good["outcome"], good["median_ohm"]) == ("verified", 7.25)
    assert (bad["outcome"], bad["cause"], bad["median_ohm"]) == ("failed", "layer", 400.0)


def test_alarms_begin_where_the_bond_is_lost(told: Historian) -> None:
    found = told.show("alarms", "--list", "--kind", "bond_lost", "--from", iso(BEGIN + 14 * HOUR))
    lost = BEGIN + 14 * HOUR + 7 * MINUTE
    assert [(row["start"], row["end"]) for row in found] == [(iso(lost), iso(lost + SECOND))]
