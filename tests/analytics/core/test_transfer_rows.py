"""The row of a transfer: its exposures, its ticket, and what was found in it."""

from __future__ import annotations

from typing import Any

import pytest

from analytics.core.station import examine
from analytics.core.transfer_rows import transfer_rows
from bondtrail.results import Ticket, Transfer
from bondtrail.site import Role, Station
from tests.analytics.core.build import GAP, OPEN, Stretch, case, ns, station, told

Told = dict[str, list[Stretch]]

GOOD: Told = {
    "resistance": [(5, OPEN), (45, 2.0), (10, OPEN)],
    "flow": [(8, 0), (30, 60), (22, 0)],
}
"""Clamped from 5 to 50 s, flowing a litre a second from 8 to 38 s."""


def only(reported: Told, tickets: list[Ticket] | None = None, **how: Any) -> Transfer:
    (row,) = transfer_rows(case(told(**reported), until=60, **how), [], [], tickets or [])
    return row


def of_product(product: str | None) -> Station:
    place = station(Role.RESISTANCE, Role.FLOW)
    return place.model_copy(update={"product": product})


def test_without_transfers_there_are_no_rows() -> None:
    assert transfer_rows(case({}, until=60), [], [], []) == []


def test_a_good_transfer() -> None:
    row = only(GOOD)
    assert (row.id, row.start, row.end) == ("spot/19700101T000008.000Z", ns(8), ns(38))
    assert (row.flow_s, row.volume, row.unit) == (30.0, 30.0, "L")
    assert (row.not_bonded_s, row.no_data_s, row.bypassed_s) == (0.0, 0.0, 0.0)
    assert (row.not_bonded_volume, row.no_data_volume, row.bypassed_volume) == (0.0, 0.0, 0.0)
    assert row.compliant
    assert (row.trips, row.findings) == (0, ())


def test_exposures_in_seconds_and_volume() -> None:
    row = only(
        {
            "resistance": [(12, OPEN), (8, 2.0), (5, GAP), (35, 2.0)],
            "bypass": [(36, 0), (24, 1)],
            "flow": [(8, 0), (30, 120), (22, 0)],
        }
    )
    # Verified from 13 s to 20 s and, after 5 s of silence, from 26 s on.
    assert (row.not_bonded_s, row.no_data_s, row.bypassed_s) == (6.0, 5.0, 2.0)
    assert (row.not_bonded_volume, row.no_data_volume, row.bypassed_volume) == (12.0, 10.0, 4.0)
    assert row.volume == 60.0


def test_unmeasured_flow_has_seconds_but_no_volume() -> None:
    row = only({"resistance": [(60, OPEN)], "running": [(8, 0), (30, 1), (22, 0)]})
    assert (row.flow_s, row.not_bonded_s) == (30.0, 30.0)
    assert (row.volume, row.unit, row.not_bonded_volume) == (None, None, None)


@pytest.mark.parametrize(
    ("resistance", "lead", "time_to_bond"),
    [
        pytest.param([(5, OPEN), (55, 2.0)], 2.0, 1.0, id="verified-before-flow"),
        pytest.param([(9, OPEN), (51, 2.0)], -2.0, 1.0, id="verified-only-after-flow-began"),
        pytest.param([(7, OPEN), (53, 2.0)], 0.0, 1.0, id="verified-as-flow-begins"),
        pytest.param([(60, OPEN)], None, None, id="no-hookup"),
        pytest.param([(5, OPEN), (40, 300.0), (15, OPEN)], None, None, id="failed-hookup"),
        pytest.param(
            [(2, OPEN), (12, 300.0), (4, OPEN), (42, 2.0)],
            -11.0,
            None,
            id="the-first-hookup-counts",
        ),
        pytest.param([(8, 2.0), (4, OPEN), (48, 2.0)], -5.0, 1.0, id="clamp-off-as-flow-begins"),
    ],
)
def test_how_the_bond_led_the_flow(
    resistance: list[Stretch], lead: float | None, time_to_bond: float | None
) -> None:
    row = only({**GOOD, "resistance": resistance})
    assert (row.bond_lead_s, row.time_to_bond_s) == (lead, time_to_bond)


def test_a_fixed_item_has_no_lead() -> None:
    row = only(GOOD, kind="fixed_item")
    assert (row.bond_lead_s, row.time_to_bond_s) == (None, None)


@pytest.mark.parametrize(
    ("tickets", "expected"),
    [
        pytest.param([], (None, "xylene", None), id="no-ticket-has-the-station's-product"),
        pytest.param(
            [("B-17", "toluene", "op-3")], ("B-17", "toluene", "op-3"), id="the-ticket-names-it"
        ),
        pytest.param([("", "", "")], (None, "xylene", None), id="empty-text-says-nothing"),
    ],
)
def test_tickets(
    tickets: list[tuple[str, str, str]], expected: tuple[str | None, str | None, str | None]
) -> None:
    papers = [Ticket("spot", ns(0), ns(60), *names) for names in tickets]
    row = only(GOOD, papers, of=of_product("xylene"))
    assert (row.batch, row.product, row.operator) == expected


def test_without_ticket_and_product_nothing_is_made_up() -> None:
    assert only(GOOD, of=of_product(None)).product is None


def test_each_transfer_has_its_own_ticket_and_figures() -> None:
    signals = told(resistance=[(60, OPEN)], flow=[(12, 60), (8, 0), (15, 120), (5, 0), (20, 60)])
    papers = [
        Ticket("spot", ns(40), ns(99), "third", "", ""),
        Ticket("spot", ns(0), ns(15), "first", "", ""),
    ]
    rows = transfer_rows(case(signals, until=60, resume_within_s=1), [], [], papers)
    assert [(row.batch, row.volume, row.not_bonded_s) for row in rows] == [
        ("first", 12.0, 12.0),
        (None, 30.0, 15.0),
        ("third", 20.0, 20.0),
    ]


def test_what_was_found_in_a_transfer_is_listed_and_counted() -> None:
    signals = told(
        resistance=[(20, OPEN), (20, 2.0), (20, 40.0)],
        permissive=[(41, 1), (19, 0)],
        flow=[(10, 0), (35, 60), (15, 0)],
    )
    episodes = examine(station(*signals), signals, (0, ns(60))).episodes
    (row,) = episodes.transfers
    named = [finding.id for finding in episodes.findings if finding.transfer == row.id]
    assert row.findings == tuple(sorted(named))
    assert [finding.split("/")[1] for finding in row.findings] == [
        "permissive_without_bond",
        "unbonded_start",
    ]
    assert row.trips == len(episodes.trips) == 1
    assert not row.compliant
