"""What a store holds of a station's span beside its readings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from analytics.source import Source
from bondtrail.results import Finding, Hookup, Ticket, Transfer, Trip, WorkWindow
from bondtrail.site import Station


@dataclass(frozen=True, slots=True)
class Found:
    """What was judged of a span and written down of it.

    Attributes
    ----------
    trips, findings, hookups, transfers : sequence
        As the last analysis judged them.
    work, tickets : sequence
        That overlap the span.
    waiting_since : int or None
        From when on readings wait for an analysis, where that is within the span. [ns]
    """

    trips: Sequence[Trip]
    findings: Sequence[Finding]
    hookups: Sequence[Hookup]
    transfers: Sequence[Transfer]
    work: Sequence[WorkWindow]
    tickets: Sequence[Ticket]
    waiting_since: int | None

    @classmethod
    def of(cls, store: Source, station: str, span: tuple[int, int]) -> Found:
        """Return what a store, in a snapshot, holds of a station's span."""
        mark = store.waiting().get(station)
        return cls(
            trips=store.trips(station, *span),
            findings=store.findings(station, *span),
            hookups=store.hookups(station, *span),
            transfers=store.transfers(station, *span),
            work=[each for each in store.work(station) if _meets(each, span)],
            tickets=[each for each in store.tickets(station) if _meets(each, span)],
            waiting_since=mark.since if mark is not None and mark.since < span[1] else None,
        )


def _meets(paper: WorkWindow | Ticket, span: tuple[int, int]) -> bool:
    return paper.start < span[1] and paper.end > span[0]


def product_of(station: Station, tickets: Sequence[Ticket], span: tuple[int, int]) -> str | None:
    """Return the product on the ticket that overlaps a span most, else the station's own."""

    def overlap(ticket: Ticket) -> int:
        return min(ticket.end, span[1]) - max(ticket.start, span[0])

    named = [ticket for ticket in tickets if ticket.product]
    if not named:
        return station.product
    return min(named, key=lambda t: (-overlap(t), t.start, t.batch)).product
