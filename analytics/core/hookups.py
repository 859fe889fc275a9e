"""Hookups: from first contact of a clamp until it is off again, and why one failed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analytics.core.bond import Bond
from analytics.core.runs import Timeline
from analytics.core.spans import Moments, Spans
from bondtrail.results import Hookup, HookupCause, Outcome
from bondtrail.samples import Quality, Samples, ValueArray
from bondtrail.site import Limits
from bondtrail.times import seconds

UNSTEADY_DECADES = 0.3
"""Standard deviation of the change in log10 r from one reading to the next."""


@dataclass(frozen=True, slots=True, eq=False)
class Contacts:
    """Every stretch of contact of a clamp, touches included.

    Attributes
    ----------
    spans : ndarray of int64, shape (n, 2)
        First contact to the end of the contact. [ns]
    off : ndarray of int64, shape (n,)
        When the clamp was seen off; the largest integer where it was not. [ns]
    """

    spans: Spans
    off: Moments


NEVER = np.iinfo(np.int64).max


def contacts(bond: Timeline, detach_ns: int) -> Contacts:
    """Return the stretches of contact.

    One begins when low or high is seen and none is under way. It ends at the start of the first
    open stretch of at least ``detach_ns``; or, where unknown is followed by open, where that
    unknown began.
    """
    state, begins, ends = bond.state, bond.edges[:-1], bond.edges[1:]
    after_unknown = np.concatenate(([False], state[:-1] == Bond.UNKNOWN)) if state.size else False
    closing = (state == Bond.OPEN) & ((ends - begins >= detach_ns) | after_unknown)
    group = np.cumsum(closing)
    touching = np.flatnonzero((state == Bond.LOW) | (state == Bond.HIGH))
    _, firsts = np.unique(group[touching], return_index=True)
    first = touching[firsts]
    closers = np.append(np.flatnonzero(closing), state.size)
    closer = closers[group[first]] if first.size else first
    seen_off = closer < state.size
    off = np.full(first.size, NEVER)
    off[seen_off] = begins[closer[seen_off]]
    # The run before the closing one is where it ended, unless that run is itself unknown.
    last = closer - 1
    end = np.where(state[last] == Bond.UNKNOWN, begins[last], ends[last]) if first.size else off
    return Contacts(np.column_stack((begins[first], end)), off)


def hookups(
    station: str, spans: Spans, verified: Spans, resistance: Samples, limits: Limits
) -> list[Hookup]:
    """Return the hookups with their outcome and figures.

    Parameters
    ----------
    station : str
        Id of the station.
    spans : ndarray of int64, shape (n, 2)
        Contacts that last long enough. [ns]
    verified : ndarray of int64, shape (m, 2)
        Where the bond is verified. [ns]
    resistance : Samples
        Of the resistance point, in ohm; empty where there is none.
    limits : Limits
        Of the station.
    """
    index = np.searchsorted(verified[:, 1], spans[:, 0], side="right")
    good = resistance.quality != int(Quality.BAD)
    time, value = resistance.time, resistance.value
    if not good.all():
        time, value = time[good], value[good]
    cuts = np.searchsorted(time, spans).tolist()
    found = []
    for k, (start, end) in enumerate(spans.tolist()):
        first = _first_verified(verified, int(index[k]), start, end)
        found.append(_hookup(station, start, end, first, value[slice(*cuts[k])], limits))
    return found


def _first_verified(verified: Spans, index: int, start: int, end: int) -> int | None:
    if index == len(verified):
        return None
    first = max(int(verified[index, 0]), start)
    return first if first < end else None


def _hookup(
    station: str, start: int, end: int, first: int | None, reading: ValueArray, limits: Limits
) -> Hookup:
    contact = in_contact(reading, limits.open_ohm)
    failed = first is None
    return Hookup(
        station=station,
        start=start,
        end=end,
        outcome=Outcome.FAILED if failed else Outcome.VERIFIED,
        time_to_bond_s=None if first is None else seconds(first - start),
        lowest_ohm=float(contact.min()) if contact.size else None,
        median_ohm=median(contact) if contact.size else None,
        cause=failure_cause(reading, limits) if failed else None,
    )


def in_contact(reading: ValueArray, open_ohm: float) -> ValueArray:
    """Return the readings below open circuit. [ohm]"""
    if reading.size and reading.max() < open_ohm:
        return reading
    return reading[reading < open_ohm]


def median(values: ValueArray) -> float:
    """Return the median of at least one value."""
    middle = values.size // 2
    if values.size % 2:
        return float(np.partition(values, middle)[middle])
    low, high = np.partition(values, (middle - 1, middle))[middle - 1 : middle + 1]
    return float((low + high) / 2)


def failure_cause(reading: ValueArray, limits: Limits) -> HookupCause | None:
    """Return why a hookup is suspected to have failed, or None without a reading in contact.

    Parameters
    ----------
    reading : ndarray of float64, shape (n,)
        Its readings in order, none of bad quality. [ohm]
    limits : Limits
        Of the station.
    """
    contact = in_contact(reading, limits.open_ohm)
    if not contact.size:
        return None
    if contact.min() <= limits.marginal_factor * limits.limit_ohm:
        return HookupCause.MARGINAL
    jumps = np.diff(np.log10(np.minimum(reading, limits.open_ohm)))
    if jumps.size >= 2 and jumps.std() > UNSTEADY_DECADES:
        return HookupCause.UNSTEADY
    third = contact.size // 3
    if third and median(contact[-third:]) < median(contact[:third]) / 2:
        return HookupCause.FALLING
    return HookupCause.LAYER
