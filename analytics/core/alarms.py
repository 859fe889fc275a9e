"""Alarms: the moments at which a station calls for its operator."""

from __future__ import annotations

import numpy as np

from analytics.core.runs import Contact, Timeline, last_known
from analytics.core.situation import Situation
from analytics.core.spans import Moments, Spans, covers
from bondtrail.results import AlarmKind


def alarm_starts(
    now: Situation, losses: Spans, transfers: Spans, disagreements: Spans, *, is_fixed: bool
) -> dict[AlarmKind, Moments]:
    """Return the moments at which each kind of alarm began. [ns]

    Parameters
    ----------
    now : Situation
        Of the station.
    losses : ndarray of int64, shape (n, 2)
        Losses of bond. [ns]
    transfers : ndarray of int64, shape (m, 2)
        First flow to end of last flow of each transfer. [ns]
    disagreements : ndarray of int64, shape (k, 2)
        Where permissive and bond disagreed for longer than allowed. [ns]
    is_fixed : bool
        Whether the station is a fixed item.
    """
    lost = losses[:, 0]
    return {
        AlarmKind.BOND_LOST: lost[:0] if is_fixed else lost[covers(transfers, lost)],
        AlarmKind.ITEM_BOND_LOST: lost if is_fixed else lost[:0],
        AlarmKind.MONITOR_FAULT: now.where(now.faulty)[:, 0],
        AlarmKind.DISAGREEMENT: np.sort(disagreements[:, 0]),
        AlarmKind.BYPASS_ON: turned_on(now.bypass),
    }


def turned_on(contact: Timeline) -> Moments:
    """Return the moments at which a contact turned on: on, and not last known to be on. [ns]"""
    on = contact.state == Contact.ON
    on &= last_known(contact, Contact.UNKNOWN) != Contact.ON
    moments: Moments = contact.edges[:-1][on]
    return moments
