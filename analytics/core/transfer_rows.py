"""The rows of the transfers: each with its exposures, its ticket and what was found in it."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from itertools import accumulate, pairwise

import numpy as np

from analytics.core.case import Case
from analytics.core.spans import Moments, Spans, elapsed, total, within
from analytics.core.transfers import FlowRuns, bond_lead, ticket_of
from bondtrail.results import NON_COMPLIANT, Finding, Hookup, Ticket, Transfer, Trip
from bondtrail.times import seconds


def transfer_rows(
    case: Case, trips: Sequence[Trip], findings: Sequence[Finding], tickets: Sequence[Ticket]
) -> list[Transfer]:
    """Return the transfers of a case as rows, by start.

    Parameters
    ----------
    case : Case
        Of one station.
    trips, findings : sequence
        Of the same case; those that name a transfer are counted and listed with it.
    tickets : sequence of Ticket
        Of the station, in any order.
    """
    starts = np.array([transfer.start for transfer in case.transfers], np.int64)
    ends = np.array([transfer.end for transfer in case.transfers], np.int64)
    exposed = [
        _exposed(case, spans, starts, ends)
        for spans in (case.exposures.not_bonded, case.exposures.no_data, case.exposures.bypassed)
    ]
    product = _volumes(case)
    named = _by_transfer(findings)
    tripped = Counter(trip.transfer for trip in trips)
    hookups = _hookups(case, starts, ends)
    papers = _tickets(case.transfers, tickets)
    return [
        _row(
            case,
            transfer,
            product[k],
            [each[k] for each in exposed],
            hookups[k],
            papers[k],
            tripped[case.transfer_id(transfer)],
            named[case.transfer_id(transfer)],
        )
        for k, transfer in enumerate(case.transfers)
    ]


def _row(
    case: Case,
    transfer: FlowRuns,
    volume: float | None,
    exposed: Sequence[tuple[float, float | None]],
    hookup: Hookup | None,
    ticket: Ticket | None,
    trips: int,
    findings: Sequence[Finding],
) -> Transfer:
    station = case.station
    # A fixed item's bond may have held for months: how long it led the flow says nothing.
    lead = None if station.is_fixed else bond_lead(transfer, case.now.verified)
    not_bonded, no_data, bypassed = exposed
    return Transfer(
        station=station.id,
        start=transfer.start,
        end=transfer.end,
        flow_s=seconds(total(transfer.runs)),
        volume=volume,
        unit=station.volume_unit,
        batch=(ticket.batch or None) if ticket else None,
        product=((ticket.product or None) if ticket else None) or station.product,
        operator=(ticket.operator or None) if ticket else None,
        compliant=not any(finding.kind in NON_COMPLIANT for finding in findings),
        not_bonded_s=not_bonded[0],
        no_data_s=no_data[0],
        bypassed_s=bypassed[0],
        not_bonded_volume=not_bonded[1],
        no_data_volume=no_data[1],
        bypassed_volume=bypassed[1],
        trips=trips,
        time_to_bond_s=hookup.time_to_bond_s if hookup else None,
        bond_lead_s=None if lead is None else seconds(lead),
        findings=tuple(sorted(finding.id for finding in findings)),
    )


def _exposed(
    case: Case, spans: Spans, starts: Moments, ends: Moments
) -> list[tuple[float, float | None]]:
    """Return for each transfer the seconds and the volume of an exposure within it."""
    lasting = elapsed(spans, ends) - elapsed(spans, starts)
    nothing = None if case.meter is None else 0.0
    return [
        (seconds(length), case.volume(within(spans, start, end)) if length else nothing)
        for length, start, end in zip(lasting.tolist(), starts.tolist(), ends.tolist(), strict=True)
    ]


def _volumes(case: Case) -> list[float | None]:
    """Return for each transfer what flowed in all its runs, or None where that is not measured."""
    if case.meter is None:
        return [None] * len(case.transfers)
    cuts = accumulate((len(transfer.runs) for transfer in case.transfers), initial=0)
    return [round(sum(case.run_volumes[a:b], 0.0), 6) for a, b in pairwise(cuts)]


def _by_transfer(findings: Sequence[Finding]) -> dict[str, list[Finding]]:
    named: dict[str, list[Finding]] = defaultdict(list)
    for finding in findings:
        if finding.transfer is not None:
            named[finding.transfer].append(finding)
    return named


def _hookups(case: Case, starts: Moments, ends: Moments) -> list[Hookup | None]:
    """Return for each transfer the first hookup that overlaps it, or None."""
    until = np.array([hookup.end for hookup in case.hookups], np.int64)
    index = np.searchsorted(until, starts, side="right")
    return [
        case.hookups[k] if k < len(case.hookups) and case.hookups[k].start < end else None
        for k, end in zip(index.tolist(), ends.tolist(), strict=True)
    ]


def _tickets(transfers: Sequence[FlowRuns], tickets: Sequence[Ticket]) -> list[Ticket | None]:
    """Return the ticket of each transfer, or None."""
    starts = np.array([ticket.start for ticket in tickets], np.int64)
    ends = np.array([ticket.end for ticket in tickets], np.int64)
    found = []
    for transfer in transfers:
        near = np.flatnonzero((starts < transfer.end) & (ends > transfer.start))
        found.append(
            ticket_of(transfer, [tickets[k] for k in near.tolist()]) if near.size else None
        )
    return found
