"""The whole analysis of one station, slowly: what the fast rules are held against."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from statistics import median
from zoneinfo import ZoneInfo

from bondtrail.results import (
    NON_COMPLIANT,
    Alarm,
    AlarmKind,
    DaySums,
    Finding,
    Hookup,
    Kind,
    Outcome,
    Ticket,
    Transfer,
    Trip,
    WorkWindow,
)
from bondtrail.site import Role, Shift, Station
from bondtrail.times import nanoseconds, seconds, stamp
from tests.reference import findings as rules
from tests.reference.days import Story, day_sums, shift_sums
from tests.reference.episodes import (
    Contact,
    Flow,
    Stop,
    contacts,
    flowing,
    flows,
    hold_served,
    is_faulty,
    losses,
    readings_in,
    stops,
    suspected,
)
from tests.reference.findings import Found
from tests.reference.timeline import LOW, UNKNOWN, Cell, Series, Span, stretches, walk


@dataclass(frozen=True, slots=True)
class Reference:
    """What the slow evaluator says of a station.

    ``summary``, ``evidence`` and ``limits`` of a finding are empty, but for ``after_work``.
    """

    station: str
    transfers: tuple[Transfer, ...]
    hookups: tuple[Hookup, ...]
    trips: tuple[Trip, ...]
    findings: tuple[Finding, ...]
    alarms: tuple[Alarm, ...]
    days: tuple[DaySums, ...]
    shifts: tuple[DaySums, ...]
    touches: tuple[Span, ...]


def evaluate(
    station: Station,
    series: Series,
    *,
    zone: ZoneInfo | None = None,
    work: Sequence[WorkWindow] = (),
    tickets: Sequence[Ticket] = (),
    rosters: Sequence[tuple[int, tuple[Shift, ...]]] = (),
    end: int | None = None,
) -> Reference:
    """Judge the whole history of a station; without a zone there are no sums of days or shifts."""
    cells = walk(station, series, end)
    least = nanoseconds(station.limits.hookup_min_s)
    touching = [] if station.is_fixed else contacts(station, cells)
    hookups = [contact for contact in touching if contact.span.length >= least]
    touches = [contact.span for contact in touching if contact.span.length < least]
    transfers = flows(station, cells)
    trips = [(stop, flow) for flow in transfers for stop in stops(station, cells, flow)]
    found = everything_found(station, cells, transfers, hookups, trips, work)
    named = [named_finding(station, item, transfers) for item in found]
    named.sort(key=lambda finding: (finding.start, finding.kind))
    told = [
        transfer_row(station, cells, flow, hookups, trips, named, tickets) for flow in transfers
    ]
    rows = tuple(hookup_row(station, cells, series, contact) for contact in hookups)
    trip_rows = tuple(trip_row(station, stop, flow) for stop, flow in trips)
    alarms = sorted(
        all_alarms(station, cells, transfers, named), key=lambda alarm: (alarm.start, alarm.kind)
    )
    story = Story(station.id, cells, transfers, told, rows, touches, trip_rows, named, alarms)
    return Reference(
        station=station.id,
        transfers=tuple(told),
        hookups=rows,
        trips=tuple(sorted(trip_rows, key=lambda trip: trip.time)),
        findings=tuple(named),
        alarms=tuple(alarms),
        days=day_sums(story, zone) if zone is not None else (),
        shifts=shift_sums(story, zone, rosters) if zone is not None else (),
        touches=tuple(touches),
    )


def everything_found(
    station: Station,
    cells: Sequence[Cell],
    transfers: Sequence[Flow],
    hookups: Sequence[Contact],
    trips: Sequence[tuple[Stop, Flow]],
    work: Sequence[WorkWindow],
) -> list[Found]:
    found: list[Found] = []
    for flow in transfers:
        found += rules.of_transfer(station, cells, flow)
        found += rules.early_release(station, flow, transfers, hookups)
    failed = [contact for contact in hookups if hold_served(cells, contact.span) is None]
    found += rules.failed_hookups(cells, failed)
    found += [
        rules.nuisance_trip(stop, flow) for stop, flow in trips if stop.trip_class == "nuisance"
    ]
    found += rules.chattering(station, cells)
    found += rules.mismatches(station, cells)
    if station.is_fixed:
        found += rules.isolated(station, cells, work)
    return found


def transfer_id(station: Station, flow: Flow) -> str:
    return f"{station.id}/{stamp(flow.span.start)}"


def named_finding(station: Station, found: Found, transfers: Sequence[Flow]) -> Finding:
    """Name a finding and the transfer that it belongs to: its own, or the first it overlaps."""
    start, end = found.span
    reach = Span(start, max(end, start + 1))
    overlapped = [flow for flow in transfers if flow.span.overlaps(reach)]
    own = found.flow if found.flow is not None else next(iter(overlapped), None)
    return Finding(
        kind=found.kind,
        severity=found.severity,
        station=station.id,
        transfer=None if own is None else transfer_id(station, own),
        start=start,
        end=end,
        summary="",
        evidence={} if found.after_work is None else {"after_work": found.after_work},
        limits={},
    )


def hookup_row(station: Station, cells: Sequence[Cell], series: Series, contact: Contact) -> Hookup:
    span = contact.span
    served = hold_served(cells, span)
    has_readings = Role.RESISTANCE in station.points
    readings = readings_in(series, span) if has_readings else []
    touching = [ohm for ohm in readings if ohm < station.limits.open_ohm]
    return Hookup(
        station=station.id,
        start=span.start,
        end=span.end,
        outcome=Outcome.FAILED if served is None else Outcome.VERIFIED,
        time_to_bond_s=None if served is None else seconds(served - span.start),
        lowest_ohm=min(touching, default=None),
        median_ohm=median(touching) if touching else None,
        cause=suspected(station.limits, readings) if served is None else None,
    )


def trip_row(station: Station, stop: Stop, flow: Flow) -> Trip:
    return Trip(
        station=station.id,
        time=stop.time,
        transfer=transfer_id(station, flow),
        trip_class=stop.trip_class,
        cause=stop.cause,
        marginal=stop.marginal,
        loss_s=stop.loss_s,
        stop_s=stop.stop_s,
    )


def transfer_row(
    station: Station,
    cells: Sequence[Cell],
    flow: Flow,
    hookups: Sequence[Contact],
    trips: Sequence[tuple[Stop, Flow]],
    named: Sequence[Finding],
    tickets: Sequence[Ticket],
) -> Transfer:
    own = transfer_id(station, flow)
    findings = [finding for finding in named if finding.transfer == own]
    ticket = best_ticket(station, flow.span, tickets)
    on = flowing(cells, flow)
    overlapping = [contact.span for contact in hookups if contact.span.overlaps(flow.span)]
    first = overlapping[0] if overlapping else None
    served = None if first is None else hold_served(cells, first)

    def told(test: Callable[[Cell], object]) -> tuple[float, float | None]:
        return exposure(station, [cell for cell in on if test(cell)])

    flow_s, volume = told(lambda _cell: True)
    not_bonded_s, not_bonded_volume = told(lambda cell: cell.is_unbonded)
    no_data_s, no_data_volume = told(lambda cell: cell.bond == UNKNOWN)
    bypassed_s, bypassed_volume = told(lambda cell: cell.known(Role.BYPASS) == 1)
    return Transfer(
        station=station.id,
        start=flow.span.start,
        end=flow.span.end,
        flow_s=flow_s,
        volume=volume,
        unit=station.volume_unit if Role.FLOW in station.points else None,
        batch=(ticket.batch or None) if ticket else None,
        product=((ticket.product or None) if ticket else None) or station.product,
        operator=(ticket.operator or None) if ticket else None,
        compliant=not any(finding.kind in NON_COMPLIANT for finding in findings),
        not_bonded_s=not_bonded_s,
        no_data_s=no_data_s,
        bypassed_s=bypassed_s,
        not_bonded_volume=not_bonded_volume,
        no_data_volume=no_data_volume,
        bypassed_volume=bypassed_volume,
        trips=sum(1 for _stop, of in trips if of is flow),
        time_to_bond_s=None if first is None or served is None else seconds(served - first.start),
        bond_lead_s=None if station.is_fixed else bond_lead(cells, flow.span),
        findings=tuple(sorted(finding.id for finding in findings)),
    )


def exposure(station: Station, cells: Sequence[Cell]) -> tuple[float, float | None]:
    """Return the seconds and the volume of some cells; flow is per minute."""
    length = seconds(sum(cell.length for cell in cells))
    if Role.FLOW not in station.points:
        return length, None
    return length, sum((cell.known(Role.FLOW) or 0.0) * seconds(cell.length) / 60 for cell in cells)


def bond_lead(cells: Sequence[Cell], span: Span) -> float | None:
    """Return how long the bond was verified before flow began, less than 0 where after."""
    for verified in stretches(cells, lambda cell: cell.verified):
        if verified.start <= span.start < verified.end:
            return seconds(span.start - verified.start)
    served = hold_served(cells, span)
    return None if served is None else -seconds(served - span.start)


def best_ticket(station: Station, span: Span, tickets: Sequence[Ticket]) -> Ticket | None:
    """Return the ticket that overlaps most, then the earlier one, then by batch."""
    overlapping = [
        ticket
        for ticket in tickets
        if ticket.station == station.id and Span(ticket.start, ticket.end).overlaps(span)
    ]

    def rank(ticket: Ticket) -> tuple[int, int, str]:
        shared = min(ticket.end, span.end) - max(ticket.start, span.start)
        return -shared, ticket.start, ticket.batch

    return min(overlapping, key=rank, default=None)


def all_alarms(
    station: Station,
    cells: Sequence[Cell],
    transfers: Sequence[Flow],
    named: Sequence[Finding],
) -> Iterator[Alarm]:
    """Yield every alarm, with the moment that its condition cleared."""

    def alarm(kind: AlarmKind, span: Span) -> Alarm:
        return Alarm(station.id, kind, span.start, span.end)

    for loss in losses(cells):
        if station.is_fixed:
            yield alarm(AlarmKind.ITEM_BOND_LOST, loss.span)
            continue
        lost = loss.span.start
        for flow in transfers:
            if flow.span.start <= lost < flow.span.end:
                low = (cell.start for cell in cells if cell.start > lost and cell.bond == LOW)
                over = min(next(low, flow.span.end), flow.span.end)
                yield alarm(AlarmKind.BOND_LOST, Span(lost, over))
    for span in stretches(cells, lambda cell: is_faulty(station, cell)):
        yield alarm(AlarmKind.MONITOR_FAULT, span)
    for finding in named:
        if finding.kind in (Kind.PERMISSIVE_WITHOUT_BOND, Kind.PERMISSIVE_WITHHELD):
            yield alarm(AlarmKind.DISAGREEMENT, Span(finding.start, finding.end))
    for span in bypasses(cells):
        yield alarm(AlarmKind.BYPASS_ON, span)


def bypasses(cells: Sequence[Cell]) -> Iterator[Span]:
    """Yield from when the bypass is on until it is known to be off again."""
    began: int | None = None
    for cell in cells:
        bypass = cell.known(Role.BYPASS)
        if bypass == 1 and began is None:
            began = cell.start
        if bypass == 0 and began is not None:
            yield Span(began, cell.start)
            began = None
    if began is not None:
        yield Span(began, cells[-1].end)
