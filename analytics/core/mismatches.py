"""Permissive and bond in disagreement."""

from __future__ import annotations

from analytics.core.exposures import longer_than
from analytics.core.runs import Contact, Timeline
from analytics.core.spans import Spans, intersection


def permissive_without_bond(permissive: Timeline, not_low: Spans, mismatch_ns: int) -> Spans:
    """Return where the permissive is closed and the bond known and not low for too long.

    ``mismatch_ns`` is exceeded, not reached. All in ns.
    """
    return longer_than(intersection(permissive.where(Contact.ON), not_low), mismatch_ns)


def permissive_withheld(permissive: Timeline, verified: Spans, mismatch_ns: int) -> Spans:
    """Return where the permissive is open although the bond is verified, for too long.

    ``mismatch_ns`` is exceeded, not reached. All in ns.
    """
    return longer_than(intersection(permissive.where(Contact.OFF), verified), mismatch_ns)
