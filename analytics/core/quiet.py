"""Quiet moments: where a station's history can be cut without cutting through anything.

Analysing from a quiet moment on gives what analysing everything would give from there on. All
that began before it has ended by then, whatever comes later, and nothing that begins later looks
back past it further than the given context.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce

import numpy as np

from analytics.core.alarms import last_known_on
from analytics.core.bond import Bond
from analytics.core.case import Case
from analytics.core.runs import Contact, Timeline
from analytics.core.spans import NOWHERE, Spans, distinct, intersection, where
from analytics.core.trips import EVIDENCE_NS
from bondtrail.site import Role
from bondtrail.times import NS_PER_S, nanoseconds


@dataclass(frozen=True, slots=True)
class Quiet:
    """A quiet moment, and from where on signals must be read to judge what follows it. [ns]"""

    at: int
    context: int


def last_quiet(cases: Sequence[Case], before: int, *, whole: bool) -> Quiet | None:
    """Return the latest quiet moment before another, or None where the cases show none.

    Parameters
    ----------
    cases : sequence of Case
        Of one station over the same span, one for each set of limits that holds in it.
    before : int
        The moment itself does not count: what is written at it may change. [ns]
    whole : bool
        Whether the cases begin where the station's history begins. Otherwise what came before
        them is taken to be busy.
    """
    spans = reduce(intersection, (_quiet_spans(case, whole=whole) for case in cases))
    spans = spans[spans[:, 0] < before]
    if not len(spans):
        return None
    at = min(int(spans[-1, 1]), before) - 1
    return Quiet(at, min(_context(case, at) for case in cases))


def _quiet_spans(case: Case, *, whole: bool) -> Spans:
    start, end = int(case.now.edges[0]), int(case.now.edges[-1])
    limits = case.limits
    settled = nanoseconds(max(limits.resume_within_s, limits.release_wait_s)) + NS_PER_S
    busy = [
        np.array([[start, start if whole else start + settled]]),
        case.flow + np.array([0, settled]),
        case.losses[:, :1] + np.array([0, nanoseconds(limits.cluster_s) + NS_PER_S]),
        *_disagreeing(case),
        case.now.where(case.now.faulty),
        last_known_on(case.now.bypass),
    ]
    calm = [_outside(np.concatenate(busy), start, end), _bond_at_rest(case, whole=whole)]
    calm += [_remembered(line, whole=whole) for line in _contacts(case)]
    return reduce(intersection, calm)


def _bond_at_rest(case: Case, *, whole: bool) -> Spans:
    """Return where the bond shows that no hookup, isolation or loss of a trip is under way."""
    edges = case.now.edges
    everywhere = np.array([[edges[0], edges[-1]]])
    if case.station.bond_role is None:
        return everywhere
    if not np.any(case.now.bond.state != Bond.UNKNOWN):
        return everywhere if whole else NOWHERE
    if case.station.is_fixed:
        return case.now.verified
    rests = []
    detach = nanoseconds(case.limits.detach_s)
    for start, end in case.open.tolist():
        stretch = _stretch(case, start)
        unseen = stretch == edges[0] and not whole
        # Flow that ends while the bond is away may be a trip, whose loss is read to its end.
        index = np.searchsorted(case.flow[:, 1], stretch, side="left")
        tripped = int(case.flow[index, 1]) if index < len(case.flow) else end
        if not unseen and start + detach < min(end, tripped):
            rests.append((start + detach, min(end, tripped)))
    return np.array(rests, np.int64).reshape(-1, 2)


def _stretch(case: Case, moment: int) -> int:
    """Return where the known and not low stretch that holds a moment begins. [ns]"""
    index = int(np.searchsorted(case.not_low[:, 0], moment, side="right")) - 1
    return int(case.not_low[index, 0])


def _disagreeing(case: Case) -> list[Spans]:
    permissive = case.now.permissive
    if permissive is None:
        return []
    return [
        intersection(permissive.where(Contact.ON), case.not_low),
        intersection(permissive.where(Contact.OFF), case.now.verified),
    ]


def _contacts(case: Case) -> list[Timeline]:
    """Return the signals of which the rules remember what was last known, across silence."""
    bypass = case.now.bypass if Role.BYPASS in case.station.points else None
    return [line for line in (bypass, case.now.permissive) if line is not None]


def _remembered(line: Timeline, *, whole: bool) -> Spans:
    """Return from where on it is known what was last known of a contact."""
    known = line.where(Contact.ON, Contact.OFF)
    if whole or not len(known):
        return np.array([[line.edges[0], line.edges[-1]]]) if whole else NOWHERE
    return np.array([[known[0, 0], line.edges[-1]]])


def _outside(busy: Spans, start: int, end: int) -> Spans:
    """Return what a set of spans, in any order and overlapping, leaves of ``[start, end)``."""
    clipped = np.clip(busy, start, end)
    edges = distinct(np.concatenate((clipped.ravel(), [start, end])))
    opened = np.searchsorted(np.sort(clipped[:, 0]), edges[:-1], side="right")
    closed = np.searchsorted(np.sort(clipped[:, 1]), edges[:-1], side="right")
    return where(edges, opened == closed)


def _context(case: Case, at: int) -> int:
    """Return from where on the signals around a quiet moment must be read. [ns]"""
    context = at - EVIDENCE_NS - nanoseconds(case.limits.hold_s) - NS_PER_S
    index = int(np.searchsorted(case.not_low[:, 0], at, side="right")) - 1
    if index >= 0 and case.not_low[index, 1] > at:
        context = min(context, int(case.not_low[index, 0]))
    for line in _contacts(case):
        known = line.where(Contact.ON, Contact.OFF)
        before = int(np.searchsorted(known[:, 0], at, side="right")) - 1
        if before >= 0:
            context = min(context, int(known[before, 1]) - 1)
    return context
