"""Alarms: when a station calls for its operator, and when the condition behind a call cleared."""

from __future__ import annotations

import numpy as np

from analytics.core.case import Case
from analytics.core.runs import Contact, Timeline, last_known
from analytics.core.spans import NOWHERE, Moments, Spans, covers
from bondtrail.results import Alarm, AlarmKind


def alarms_of(case: Case, disagreements: Spans) -> list[Alarm]:
    """Return the alarms of a case, by start and then by kind.

    Parameters
    ----------
    case : Case
        Of one station. What is still active where it ends, ends there.
    disagreements : ndarray of int64, shape (n, 2)
        Where permissive and bond disagreed for longer than allowed, in any order. [ns]
    """
    fixed = case.station.is_fixed
    active = {
        AlarmKind.BOND_LOST: NOWHERE if fixed else lost_in_transfers(case),
        AlarmKind.ITEM_BOND_LOST: case.losses if fixed else NOWHERE,
        AlarmKind.MONITOR_FAULT: case.now.where(case.now.faulty),
        AlarmKind.DISAGREEMENT: disagreements,
        AlarmKind.BYPASS_ON: last_known_on(case.now.bypass),
    }
    found = [
        Alarm(case.station.id, kind, start, end)
        for kind, spans in active.items()
        for start, end in spans.tolist()
    ]
    return sorted(found, key=lambda alarm: (alarm.start, alarm.kind))


def lost_in_transfers(case: Case) -> Spans:
    """Return the losses of bond during a transfer, until the bond is low again or flow is over.

    Unknown after a loss does not clear it. [ns]
    """
    edges = np.array([(item.start, item.end) for item in case.transfers], np.int64).reshape(-1, 2)
    lost = case.losses[:, 0]
    lost = lost[covers(edges, lost)]
    flow_over = edges[np.searchsorted(edges[:, 0], lost, side="right") - 1, 1]
    return np.column_stack((lost, np.minimum(_next(case.low[:, 0], lost), flow_over)))


def last_known_on(contact: Timeline) -> Spans:
    """Return from when a contact is on until it is known to be off again. [ns]

    Unknown after on stays on, so that silence neither ends nor repeats it.
    """
    turned = contact.state == Contact.ON
    turned &= last_known(contact, Contact.UNKNOWN) != Contact.ON
    begins = contact.edges[:-1][turned]
    off = _next(contact.edges[:-1][contact.state == Contact.OFF], begins)
    return np.column_stack((begins, np.minimum(off, contact.edges[-1])))


def _next(moments: Moments, after: Moments) -> Moments:
    """Return for each moment the first of some others after it; the largest integer if none."""
    never = np.iinfo(np.int64).max
    return np.append(moments, never)[np.searchsorted(moments, after, side="right")]
