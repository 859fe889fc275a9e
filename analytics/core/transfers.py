"""Transfers: the flow runs that belong together at a station, pauses included."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from analytics.core.runs import Contact, Timeline
from analytics.core.spans import Mask, Spans, elapsed, lengths, touches
from bondtrail.results import Ticket


@dataclass(frozen=True, slots=True, eq=False)
class FlowRuns:
    """The flow of one transfer.

    Attributes
    ----------
    start, end : int
        First flow, and end of the last. [ns]
    runs : ndarray of int64, shape (n, 2)
        Its flow runs, in order; at least one. [ns]
    opens : ndarray of bool, shape (n,)
        Whether a run is the first, or follows a pause: a gap in which flow is known to be off.
        A gap in which flow is unknown throughout is no pause.
    stops : ndarray of bool, shape (n,)
        Whether flow is known to go off at the end of a run.
    """

    start: int
    end: int
    runs: Spans
    opens: Mask
    stops: Mask


def flow_runs(flow: Timeline, resume_within_ns: int, transfer_min_ns: int) -> list[FlowRuns]:
    """Return the transfers: flow runs joined over gaps of at most ``resume_within_ns``.

    Those that flow for less than ``transfer_min_ns`` in all are left out.
    """
    runs = flow.where(Contact.ON)
    if not len(runs):
        return []
    off = flow.where(Contact.OFF)
    stops = np.isin(runs[:, 1], off[:, 0])
    gaps = np.column_stack((runs[:-1, 1], runs[1:, 0]))
    paused = elapsed(off, gaps[:, 1]) > elapsed(off, gaps[:, 0])
    opens = np.concatenate(([True], paused))
    breaks = np.flatnonzero(lengths(gaps) > resume_within_ns) + 1
    opens[breaks] = True
    cuts = np.concatenate(([0], breaks, [len(runs)])).tolist()
    found = []
    for a, b in pairwise(cuts):
        if lengths(runs[a:b]).sum() >= transfer_min_ns:
            start, end = int(runs[a, 0]), int(runs[b - 1, 1])
            found.append(FlowRuns(start, end, runs[a:b], opens[a:b], stops[a:b]))
    return found


def bond_lead(transfer: FlowRuns, verified: Spans) -> int | None:
    """Return for how long the bond was verified when a transfer began. [ns]

    Negative: it was verified only so long after the first flow. None: never during the transfer.
    """
    index = int(verified[:, 1].searchsorted(transfer.start, side="right"))
    if index == len(verified) or verified[index, 0] >= transfer.end:
        return None
    return transfer.start - int(verified[index, 0])


def ticket_of(transfer: FlowRuns, tickets: Sequence[Ticket]) -> Ticket | None:
    """Return the ticket that overlaps a transfer most; of equals the earlier, then by batch."""

    def overlap(ticket: Ticket) -> int:
        return min(ticket.end, transfer.end) - max(ticket.start, transfer.start)

    named = [ticket for ticket in tickets if overlap(ticket) > 0]
    return min(named, key=lambda t: (-overlap(t), t.start, t.batch), default=None)


def ever_in(spans: Spans, transfer: FlowRuns) -> bool:
    """Return whether any moment of some spans lies in the flow of a transfer."""
    return any(touches(spans, start, end) for start, end in transfer.runs.tolist())
