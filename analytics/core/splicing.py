"""A situation made of several: each station's limits for the stretch in which they count."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analytics.core.runs import Contact, States, Timeline, joined
from analytics.core.situation import Situation
from analytics.core.spans import NOWHERE, Mask, Moments, Spans, distinct, united, within

Part = tuple[int, int, Situation]
"""A stretch ``[start, end)`` and the situation that counts in it, which holds over it. [ns]"""


def spliced(parts: Sequence[Part]) -> Situation:
    """Return the situation that follows each of some parts over its own stretch.

    Parameters
    ----------
    parts : sequence of Part
        At least one; adjoining, in order, none of them empty.
    """
    if len(parts) == 1 and tuple(parts[0][2].edges[[0, -1]]) == parts[0][:2]:
        return parts[0][2]
    edges = distinct(np.concatenate([_cuts(*part) for part in parts]))
    begins = edges[:-1]
    permissive = None
    if any(now.permissive is not None for _, _, now in parts):
        permissive = _line(
            [(a, b, _unknown(a, b) if now.permissive is None else now.permissive)
             for a, b, now in parts]
        )  # fmt: skip
    return Situation(
        edges=edges,
        bond=_line([(a, b, now.bond) for a, b, now in parts]),
        flow=_line([(a, b, now.flow) for a, b, now in parts]),
        bypass=_line([(a, b, now.bypass) for a, b, now in parts]),
        permissive=permissive,
        verified=_verified(parts),
        is_verified=_mask([(a, b, now.edges, now.is_verified) for a, b, now in parts], begins),
        bond_known=_mask([(a, b, now.edges, now.bond_known) for a, b, now in parts], begins),
        flowing=_mask([(a, b, now.edges, now.flowing) for a, b, now in parts], begins),
        bypassed=_mask([(a, b, now.edges, now.bypassed) for a, b, now in parts], begins),
        faulty=_mask([(a, b, now.edges, now.faulty) for a, b, now in parts], begins),
    )


def _unknown(start: int, end: int) -> Timeline:
    return Timeline(np.array([start, end], np.int64), np.array([Contact.UNKNOWN], np.uint8))


def _cuts(start: int, end: int, now: Situation) -> Moments:
    return np.clip(now.edges, start, end)


def _line(parts: Sequence[tuple[int, int, Timeline]]) -> Timeline:
    """Return the timeline that follows each of some over its own stretch."""
    clipped = [joined(np.clip(line.edges, start, end), line.state) for start, end, line in parts]
    edges = np.concatenate([*(line.edges[:-1] for line in clipped), clipped[-1].edges[-1:]])
    states: States = np.concatenate([line.state for line in clipped])
    return joined(edges, states)


def _verified(parts: Sequence[Part]) -> Spans:
    """Return where the bond is verified; what goes on from one part to the next is one span."""
    found = [within(now.verified, start, end) for start, end, now in parts]
    return united(np.concatenate([NOWHERE, *found]))


def _mask(parts: Sequence[tuple[int, int, Moments, Mask]], begins: Moments) -> Mask:
    """Return what holds over each interval, by the part in which it lies."""
    found = np.zeros(begins.size, bool)
    for start, end, edges, mask in parts:
        mine = (begins >= start) & (begins < end)
        found[mine] = mask[edges.searchsorted(begins[mine], side="right") - 1]
    return found
