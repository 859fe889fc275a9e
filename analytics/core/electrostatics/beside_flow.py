"""Where flow that is unknown can belong to flow on record, so that it counts as flow."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from analytics.core.runs import Contact, Timeline
from analytics.core.situation import Signals
from analytics.core.spans import Spans, united, within
from bondtrail.site import Role, Station
from bondtrail.times import nanoseconds

Heard = Mapping[Role, tuple[int, int]]
"""The first and the last reading of each point that are on record. [ns]"""


def beside_flow(
    station: Station,
    signals: Signals,
    flow: Timeline,
    span: tuple[int, int],
    heard: Heard | None = None,
) -> Spans:
    """Return where flow is on record, or may have gone on beside it. [ns]

    Parameters
    ----------
    station : Station
        Its points, and ``resume_within_s``.
    signals : mapping of Role to Samples
        Samples that hold into the span.
    flow : Timeline
        Whether it flows, over at least the span; with codes of `Contact`.
    span : tuple of int
        Start and end, start before end. [ns]
    heard : mapping of Role to tuple of int, optional
        The first and the last reading of each point that are on record at all; left out, those of
        ``signals``. [ns]

    Returns
    -------
    ndarray of int64, shape (n, 2)
        From ``resume_within_s`` before a run of flow until as long after it, so that what the
        rules join to one transfer is in it as a whole. Not before the first reading of the signal
        that tells the flow, nor after the last reading of the station. All of the span where
        nothing tells of flow in it.

    Notes
    -----
    Time alone is no sign of flow. Without these bounds, a silence of days between two transfers
    would be charged at the greatest rate on record.
    """
    inside = (flow.edges[1:] > span[0]) & (flow.edges[:-1] < span[1])
    if (flow.state[inside] == Contact.UNKNOWN).all():
        return np.array([span], np.int64)
    reach = nanoseconds(station.limits.resume_within_s)
    wide = united(flow.where(Contact.ON) + np.array([-reach, reach]))
    start, end = _record(_read(signals) if heard is None else heard, span[1])
    return within(wide, max(start, span[0]), min(end, span[1]))


def _read(signals: Signals) -> Heard:
    return {
        role: (int(line.time[0]), int(line.time[-1])) for role, line in signals.items() if len(line)
    }


def _record(heard: Heard, until: int) -> tuple[int, int]:
    """Return from the first reading that tells of flow to the last reading of any kind. [ns]

    The meter tells where it was read before ``until``; else the run contact does.
    """
    telling = [role for role in (Role.FLOW, Role.RUNNING) if role in heard]
    first = next(heard[role][0] for role in telling if heard[role][0] < until)
    return first, max(last for _, last in heard.values())
