"""Sums and counts of each local day and shift, from the cells and rows of a station."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from zoneinfo import ZoneInfo

from bondtrail.results import Alarm, DaySums, Finding, Hookup, Outcome, Transfer, Trip
from bondtrail.site import Role, Shift
from bondtrail.times import local_day, seconds
from tests.reference.episodes import Flow, flowing
from tests.reference.timeline import HIGH, LOW, OPEN, UNKNOWN, Cell, Span

S = 10**9
DAY = dt.timedelta(days=1)


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
    alarms: Sequence[Alarm]


def day_sums(story: Story, zone: ZoneInfo) -> tuple[DaySums, ...]:
    """Return a row for every day that the history reaches into; no histograms."""
    return tuple(
        sums_within(story, day, None, [the_day(day, zone)]) for day in days_of(story, zone)
    )


def shift_sums(
    story: Story, zone: ZoneInfo, rosters: Sequence[tuple[int, tuple[Shift, ...]]]
) -> tuple[DaySums, ...]:
    """Return a row for every shift of every day, and for the time outside any: its name is empty.

    There are none where there was never a shift.
    """
    if not any(roster for _, roster in rosters):
        return ()
    return tuple(
        sums_within(story, day, shift, spans)
        for day in days_of(story, zone)
        for shift, spans in sorted(parts_of(day, zone, rosters).items())
        if spans
    )


def days_of(story: Story, zone: ZoneInfo) -> Iterator[dt.date]:
    if not story.cells:
        return
    day = local_day(story.cells[0].start, zone)
    last = local_day(story.cells[-1].end - 1, zone)
    while day <= last:
        yield day
        day += DAY


def the_day(day: dt.date, zone: ZoneInfo) -> Span:
    midnight = dt.time()
    return Span(first_moment(day, midnight, zone), first_moment(day + DAY, midnight, zone))


def parts_of(
    day: dt.date, zone: ZoneInfo, rosters: Sequence[tuple[int, tuple[Shift, ...]]]
) -> dict[str, list[Span]]:
    """Return what of a day lies in each shift, and what in none."""
    today = the_day(day, zone)
    parts: dict[str, list[Span]] = {}
    for n, (holds_from, roster) in enumerate(rosters):
        start = today.start if n == 0 else max(today.start, holds_from)
        end = today.end if n + 1 == len(rosters) else min(today.end, rosters[n + 1][0])
        for shift in roster:
            for began in (day - DAY, day):
                if began.weekday() not in shift.days:
                    continue
                over = began if shift.end > shift.begin else began + DAY
                worked = Span(
                    max(start, first_moment(began, shift.begin, zone)),
                    min(end, first_moment(over, shift.end, zone)),
                )
                if worked.length > 0:
                    parts.setdefault(shift.name, []).append(worked)
    free_from = today.start
    parts[""] = []
    for span in sorted(span for spans in list(parts.values()) for span in spans):
        if free_from < span.start:
            parts[""].append(Span(free_from, span.start))
        free_from = span.end
    if free_from < today.end:
        parts[""].append(Span(free_from, today.end))
    return parts


@cache
def first_moment(day: dt.date, clock: dt.time, zone: ZoneInfo) -> int:
    """Return when a clock in the zone first shows a time of a day, or a later one, in ns.

    It is watched from before any zone on Earth can show it, minute by minute, then by the second.
    """
    wanted = dt.datetime.combine(day, clock)

    def reached(second: int) -> bool:
        return dt.datetime.fromtimestamp(second, zone).replace(tzinfo=None) >= wanted

    second = int(wanted.replace(tzinfo=dt.UTC, second=0).timestamp()) - 15 * 3600
    while not reached(second):
        second += 60
    second -= 60
    while not reached(second):
        second += 1
    return second * S


def sums_within(story: Story, day: dt.date, shift: str | None, spans: Sequence[Span]) -> DaySums:
    """Return the sums of some spans of a day."""

    def reaches_in(cell: Cell) -> bool:
        return any(cell.start < span.end and cell.end > span.start for span in spans)

    seen = [cell for cell in story.cells if reaches_in(cell)]
    on = [cell for flow in story.flows for cell in flowing(story.cells, flow) if reaches_in(cell)]

    def length(cell: Cell) -> float:
        inside = (min(cell.end, span.end) - max(cell.start, span.start) for span in spans)
        return seconds(sum(part for part in inside if part > 0))

    def spent(cells: Sequence[Cell], test: Callable[[Cell], object]) -> float:
        return sum(length(cell) for cell in cells if test(cell))

    def is_in(moment: int) -> bool:
        return any(span.start <= moment < span.end for span in spans)

    transfers = [transfer for transfer in story.transfers if is_in(transfer.start)]
    hookups = [hookup for hookup in story.hookups if is_in(hookup.start)]
    return DaySums(
        station=story.station,
        day=day,
        shift=shift,
        transfers=len(transfers),
        compliant_transfers=sum(transfer.compliant for transfer in transfers),
        flow_s=spent(on, lambda _cell: True),
        flow_unknown_s=spent(seen, lambda cell: cell.flow == UNKNOWN),
        not_bonded_s=spent(on, lambda cell: cell.is_unbonded),
        no_data_s=spent(on, lambda cell: cell.bond == UNKNOWN),
        bypassed_s=spent(on, lambda cell: cell.known(Role.BYPASS) == 1),
        bypass_unknown_s=spent(on, lambda cell: cell.known(Role.BYPASS) is None),
        volume=sum((cell.known(Role.FLOW) or 0.0) * length(cell) / 60 for cell in on),
        hookups=len(hookups),
        failed_hookups=sum(hookup.outcome == Outcome.FAILED for hookup in hookups),
        touches=sum(is_in(touch.start) for touch in story.touches),
        low_s=spent(seen, lambda cell: cell.bond == LOW),
        high_s=spent(seen, lambda cell: cell.bond == HIGH),
        open_s=spent(seen, lambda cell: cell.bond == OPEN),
        known_s=spent(seen, lambda cell: cell.is_known),
        unknown_s=spent(seen, lambda cell: cell.bond == UNKNOWN),
        trips=Counter(f"{t.trip_class}/{t.cause}" for t in story.trips if is_in(t.time)),
        findings=Counter(f.kind for f in story.findings if is_in(f.start)),
        alarms=Counter(a.kind for a in story.alarms if is_in(a.start)),
    )
