"""Trips: flow stopped by the permissive or by a loss of bond, and what was behind each."""

from __future__ import annotations

from dataclasses import dataclass

from analytics.core.spans import Moments, Spans, lengths, total, touches, within
from analytics.core.transfers import FlowRuns
from bondtrail.results import TripCause
from bondtrail.samples import Samples
from bondtrail.site import Limits
from bondtrail.times import nanoseconds

EVIDENCE_NS = nanoseconds(5.0)
"""How long before a trip its evidence begins."""


@dataclass(frozen=True, slots=True)
class FlowStop:
    """A flow run that a trip ended: when it began, when the trip came, when flow was off. [ns]"""

    run_start: int
    time: int
    flow_off: int


def stops_by(triggers: Moments, transfer: FlowRuns, window_ns: int) -> list[FlowStop]:
    """Return the flow runs of a transfer that a trigger ended.

    Parameters
    ----------
    triggers : ndarray of int64, shape (n,)
        Rising moments at which the permissive opened, or a verified bond was lost. [ns]
    transfer : FlowRuns
        Its runs; one that is not known to go off is no trip.
    window_ns : int
        Flow must go off within this of the trigger. [ns]
    """
    found = []
    for (start, end), known_off in zip(transfer.runs.tolist(), transfer.stops, strict=True):
        index = int(triggers.searchsorted(end, side="right")) - 1
        if known_off and index >= 0 and triggers[index] >= max(start, end - window_ns):
            found.append(FlowStop(start, int(triggers[index]), end))
    return found


def verified_losses(losses: Spans, low: Spans, hold_ns: int) -> Moments:
    """Return the moments of the losses before which the last low run had been verified. [ns]

    Unknown may lie between; a low run that never served its hold may not.
    """
    before = low[:, 1].searchsorted(losses[:, 0], side="right") - 1
    moments: Moments = losses[lengths(low)[before] > hold_ns, 0]
    return moments


def loss_behind(stop: FlowStop, not_low: Spans) -> tuple[int, int] | None:
    """Return the stretch without bond that explains a trip, or None.

    It touches the evidence, from 5 s before the trip to the end of flow; of several the one that
    precedes the trip most closely, else the first that follows it.
    """
    first = int(not_low[:, 1].searchsorted(stop.time - EVIDENCE_NS, side="right"))
    beyond = int(not_low[:, 0].searchsorted(stop.flow_off, side="right"))
    if first >= beyond:
        return None
    preceding = int(not_low[:, 0].searchsorted(stop.time, side="right")) - 1
    start, end = not_low[max(preceding, first)].tolist()
    return start, end


def cause_of_loss(loss: tuple[int, int], open_spans: Spans, brief_ns: int) -> TripCause:
    """Return what a loss of bond was: the clamp off, high resistance, or a brief break."""
    longest_open = lengths(within(open_spans, *loss)).max(initial=-1)
    if longest_open >= brief_ns:
        return TripCause.CLAMP_OFF
    if loss[1] - loss[0] >= brief_ns:
        return TripCause.HIGH_RESISTANCE
    return TripCause.BRIEF_CONTACT_LOSS


def cause_without_loss(stop: FlowStop, faulty: Spans, low: Spans) -> TripCause:
    """Return the cause of a trip around which no loss of bond is seen.

    Parameters
    ----------
    stop : FlowStop
        The trip.
    faulty : ndarray of int64, shape (n, 2)
        Where the monitor says fault or its data are bad; what is in force as flow goes off
        counts. [ns]
    low : ndarray of int64, shape (m, 2)
        Where the bond is low. [ns]
    """
    start = stop.time - EVIDENCE_NS
    if touches(faulty, start, stop.flow_off + 1):
        return TripCause.MONITOR_FAULT
    if total(within(low, start, stop.flow_off)) == stop.flow_off - start:
        return TripCause.NO_LOSS_SEEN
    return TripCause.NO_DATA


def is_marginal(loss: tuple[int, int], resistance: Samples, limits: Limits) -> bool:
    """Return whether no reading in force during a loss was above the marginal band.

    Parameters
    ----------
    loss : tuple of int
        Start and end; it begins with a reading. [ns]
    resistance : Samples
        Of the resistance point, in ohm; False when there are none.
    limits : Limits
        Of the station.
    """
    readings = resistance.between(*loss).value
    return bool(readings.size and readings.max() <= limits.marginal_factor * limits.limit_ohm)
