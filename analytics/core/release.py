"""Early release: the clamp came off before the charge had its time to relax."""

from __future__ import annotations

import numpy as np

from analytics.core.hookups import Contacts


def early_release(
    transfer_end: int, next_start: int, clamp: Contacts, release_wait_ns: int
) -> int | None:
    """Return when the clamp came off, if that was too soon after the last flow, else None. [ns]

    Parameters
    ----------
    transfer_end : int
        End of the last flow of a transfer. [ns]
    next_start : int
        First flow of the next transfer: a clamp that stays on for it is not off after this one.
        [ns]
    clamp : Contacts
        Hookups of the station; only one under way as flow ended can be released early.
    release_wait_ns : int
        How long the clamp is to stay on; 0 asks for nothing. [ns]
    """
    index = int(np.searchsorted(clamp.off, transfer_end, side="left"))
    if index == clamp.off.size or clamp.spans[index, 0] > transfer_end:
        return None
    off = int(clamp.off[index])
    return off if off - transfer_end < release_wait_ns and off <= next_start else None
