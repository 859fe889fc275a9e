"""Sums and counts of each local day, from the cells and rows of a station."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from bondtrail.results import AlarmKind, DaySums, Finding, Hookup, Outcome, Transfer, Trip
from bondtrail.site import Role
from bondtrail.times import local_day, seconds
from tests.reference.episodes import Flow, flowing
from tests.reference.timeline import HIGH, LOW, OPEN, UNKNOWN, Cell, Span

S = 10**9


@dataclass(frozen=True, slots=True)
class Story:
    """All that has been found of a station."""

    station: str
    cells: Sequence[Cell]
    flows: Sequence[Flow]
    transfers: Sequence[Transfer]
    hookups: Sequence[Hookup]
    touches: Sequence[Span]
    trips: Sequence[Trip]
    findings: Sequence[Finding]
    alarms: Mapping[AlarmKind, Sequence[int]]


def day_sums(story: Story, zone: ZoneInfo) -> tuple[DaySums, ...]:
    """Return a row for every day that the history reaches into; no histograms."""
    if not story.cells:
        return ()
    day = local_day(story.cells[0].start, zone)
    last = local_day(story.cells[-1].end - 1, zone)
    rows = []
    while day <= last:
        rows.append(one_day(story, day, zone))
        day += dt.timedelta(days=1)
    return tuple(rows)


def one_day(story: Story, day: dt.date, zone: ZoneInfo) -> DaySums:
    today = Span(first_moment(day, zone), first_moment(day + dt.timedelta(days=1), zone))
    seen = [cell for cell in story.cells if cell.start < today.end and cell.end > today.start]
    on = [
        cell
        for flow in story.flows
        for cell in flowing(story.cells, flow)
        if cell.start < today.end and cell.end > today.start
    ]

    def length(cell: Cell) -> float:
        return seconds(min(cell.end, today.end) - max(cell.start, today.start))

    def spent(cells: Sequence[Cell], test: Callable[[Cell], object]) -> float:
        return sum(length(cell) for cell in cells if test(cell))

    def is_today(moment: int) -> bool:
        return today.start <= moment < today.end

    transfers = [transfer for transfer in story.transfers if is_today(transfer.start)]
    hookups = [hookup for hookup in story.hookups if is_today(hookup.start)]
    alarms = {kind: sum(map(is_today, times)) for kind, times in story.alarms.items()}
    return DaySums(
        station=story.station,
        day=day,
        transfers=len(transfers),
        compliant_transfers=sum(transfer.compliant for transfer in transfers),
        flow_s=spent(on, lambda _cell: True),
        not_bonded_s=spent(on, lambda cell: cell.is_unbonded),
        no_data_s=spent(on, lambda cell: cell.bond == UNKNOWN),
        bypassed_s=spent(on, lambda cell: cell.known(Role.BYPASS) == 1),
        volume=sum((cell.known(Role.FLOW) or 0.0) * length(cell) / 60 for cell in on),
        hookups=len(hookups),
        failed_hookups=sum(hookup.outcome == Outcome.FAILED for hookup in hookups),
        touches=sum(is_today(touch.start) for touch in story.touches),
        low_s=spent(seen, lambda cell: cell.bond == LOW),
        high_s=spent(seen, lambda cell: cell.bond == HIGH),
        open_s=spent(seen, lambda cell: cell.bond == OPEN),
        known_s=spent(seen, lambda cell: cell.is_known),
        unknown_s=spent(seen, lambda cell: cell.bond == UNKNOWN),
        trips=Counter(f"{t.trip_class}/{t.cause}" for t in story.trips if is_today(t.time)),
        findings=Counter(f.kind for f in story.findings if is_today(f.start)),
        alarms={kind: count for kind, count in alarms.items() if count},
    )


def first_moment(day: dt.date, zone: ZoneInfo) -> int:
    """Return the midnight at which a local day begins, in ns."""
    return int(dt.datetime(day.year, day.month, day.day, tzinfo=zone).timestamp()) * S
