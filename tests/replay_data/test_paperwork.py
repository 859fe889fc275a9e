"""Tickets cover what was done; work orders name what was worked on."""

from __future__ import annotations

import csv
import io

import pytest

from replay_data import paperwork
from replay_data.filling import Filled
from replay_data.paperwork import ITEMS, Ticket
from replay_data.recording import Span
from replay_data.shifts import HOUR, MINUTE, at, march
from replay_data.traffic import Done

MORNING = at(march(10), "06:00")
PRODUCTS = {
    "road-1": "toluene",
    "drum-1": "acetone",
    "dryer-bowl": "polystyrene",
    "dryer-sieve": "polystyrene",
}


def done(station: str, *minutes: int) -> list[Done]:
    spans = [Span(MORNING + m * MINUTE, MORNING + (m + 3) * MINUTE) for m in minutes]
    return [Done(station, Filled(span, span)) for span in spans]


def tickets(*listed: Done) -> list[Ticket]:
    return [t for t in paperwork.tickets(listed, PRODUCTS) if not t.station.startswith("dryer")]


def test_a_tanker_has_a_ticket_of_its_own_and_a_driver() -> None:
    made = tickets(*done("road-1", 0, 60))
    assert [ticket.batch for ticket in made] == ["R1-0001", "R1-0002"]
    assert all(ticket.operator.startswith("driver ") for ticket in made)
    assert made[0].span.start < MORNING < MORNING + 3 * MINUTE < made[0].span.end


def test_drums_share_a_ticket_a_shift() -> None:
    made = tickets(*done("drum-1", 10, 20, 30, 8 * 60 + 30))
    assert [ticket.product for ticket in made] == ["acetone", "acetone"]
    assert made[0].span.end < MORNING + HOUR < made[1].span.start


def test_bowl_and_sieve_have_a_ticket_a_batch() -> None:
    made = paperwork.tickets([], PRODUCTS)
    assert {ticket.station for ticket in made} == {"dryer-bowl", "dryer-sieve"}


def test_batch_csv_has_the_designed_columns_on_the_local_clock() -> None:
    row = Ticket(Span(at(march(30), "08:00"), at(march(30), "09:00")), "s", "b", "p", "o")
    assert paperwork.batch_csv([row]) == (
        "start,end,station,batch,product,operator\n"
        "2026-03-30T08:00+01:00,2026-03-30T09:00+01:00,s,b,p,o\n"
    )


@pytest.mark.parametrize(
    "station", [*ITEMS, "rail-3", "road-2", "road-4", "drum-1", "drum-2", "dryer-sieve"]
)
def test_work_csv_names_what_was_worked_on(station: str) -> None:
    rows = list(csv.DictReader(io.StringIO(paperwork.work_csv())))
    assert list(rows[0]) == ["start", "end", "station", "what"]
    assert any(row["station"] == station and row["what"] for row in rows)
    assert [row["start"] for row in rows] != []


def test_nobody_wrote_a_work_order_for_the_worn_clamp() -> None:
    assert "rail-2" not in paperwork.work_csv()
