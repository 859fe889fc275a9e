"""Which stretch of time is replayed: a transfer with what belongs to it, or around a moment."""

from __future__ import annotations

from collections.abc import Sequence

from bondtrail.results import Hookup, Transfer
from bondtrail.times import NS_PER_S, nanoseconds

DAY_NS = 86_400 * NS_PER_S
LONGEST_DAYS = 7
"""A span is read as a whole and looked at moment by moment; a transfer may be longer."""
AROUND_NS = 300 * NS_PER_S
"""So much is shown on either side of a moment that lies in no transfer, and at most of one."""
LEAST_NS = 20 * NS_PER_S
BESIDE_NS = 10 * NS_PER_S
"""What is shown before a clamp comes on, and after it is off."""
CLAMP_NS = 1800 * NS_PER_S
"""A clamp that came on earlier before the flow, or off later after it, is not waited for."""
LONGEST_LEAD_NS = 600 * NS_PER_S
FARTHEST_NS = CLAMP_NS + BESIDE_NS
"""Nothing that is shown of a transfer lies farther from it."""


def shown_span(transfer: Transfer) -> tuple[int, int]:
    """Return the span around a transfer that is shown (ns): a tenth more, 20 s to 5 min.

    It reaches back to before the bond was verified, up to 10 min.
    """
    margin = min(max((transfer.end - transfer.start) // 10, LEAST_NS), AROUND_NS)
    lead = nanoseconds(max(transfer.bond_lead_s or 0.0, 0.0)) + BESIDE_NS
    return transfer.start - max(margin, min(lead, LONGEST_LEAD_NS)), transfer.end + margin


def replayed_span(
    transfer: Transfer, hookups: Sequence[Hookup], others: Sequence[Transfer]
) -> tuple[int, int]:
    """Return the span in which a transfer is replayed. [ns]

    Parameters
    ----------
    transfer : Transfer
        Shown with the margins of `shown_span`.
    hookups : sequence of Hookup
        Of the station: from clamp on to clamp off is shown of those that overlap the transfer,
        unless that is more than half an hour away.
    others : sequence of Transfer
        Of the station: no flow of theirs is shown.
    """
    start, end = shown_span(transfer)
    for hookup in hookups:
        if hookup.start >= transfer.end or hookup.end <= transfer.start:
            continue
        if hookup.start >= transfer.start - CLAMP_NS:
            start = min(start, hookup.start - BESIDE_NS)
        if hookup.end <= transfer.end + CLAMP_NS:
            end = max(end, hookup.end + BESIDE_NS)
    for other in others:
        if other.end <= transfer.start:
            start = max(start, other.end)
        if other.start >= transfer.end:
            end = min(end, other.start)
    return start, end
