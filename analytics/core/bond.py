"""Bond state: low, high, open or unknown; when it is verified, and when it is lost."""

from __future__ import annotations

from enum import IntEnum

import numpy as np

from analytics.core.runs import States, Timeline, last_known
from analytics.core.spans import Spans
from bondtrail.samples import Status, ValueArray


class Bond(IntEnum):
    """What the bond of a station is like."""

    LOW = 0
    HIGH = 1
    OPEN = 2
    UNKNOWN = 3


def resistance_states(value: ValueArray, limit_ohm: float, open_ohm: float) -> States:
    """Return the bond state of each resistance: at the limit is low, at ``open_ohm`` open."""
    state = (value > limit_ohm).view(np.uint8)
    state += (value >= open_ohm).view(np.uint8)
    return state


def status_states(value: ValueArray) -> States:
    """Return the bond state that each status code tells: fault and off tell nothing."""
    told = np.full(256, Bond.UNKNOWN, np.uint8)
    told[Status.BONDED] = Bond.LOW
    told[Status.NOT_BONDED] = Bond.OPEN
    return told[value.astype(np.uint8)]


def contact_states(value: ValueArray) -> States:
    """Return the bond state that a permissive contact tells: closed is low, open is open."""
    return np.where(value >= 0.5, np.uint8(Bond.LOW), np.uint8(Bond.OPEN))


def verified(bond: Timeline, hold_ns: int) -> Spans:
    """Return where the bond is verified: from ``hold_ns`` after a low run begins to its end."""
    low = bond.where(Bond.LOW)
    kept = low[low[:, 1] - low[:, 0] > hold_ns]
    return kept + np.array([hold_ns, 0], np.int64)


def not_low(bond: Timeline) -> Spans:
    """Return the stretches in which the bond is known and not low."""
    return bond.where(Bond.HIGH, Bond.OPEN)


def losses(bond: Timeline) -> Spans:
    """Return the stretches, known and not low, before which the last known state was low.

    Each begins with a loss of bond. Unknown between low and the loss is skipped: it is neither.
    """
    begins = np.isin(bond.state, (Bond.HIGH, Bond.OPEN))
    begins &= last_known(bond, Bond.UNKNOWN) == Bond.LOW
    stretches = not_low(bond)
    return stretches[np.isin(stretches[:, 0], bond.edges[:-1][begins])]
