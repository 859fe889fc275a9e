"""The worst that is behind a transfer that is not compliant."""

from __future__ import annotations

from collections.abc import Iterable
from enum import StrEnum

from bondtrail.results import Kind

BAD_BOND_KINDS = frozenset({Kind.NO_BOND_TRANSFER, Kind.UNBONDED_START, Kind.BOND_LOST_IN_FLOW})
"""Findings of a bond that is known to have been bad."""


class Worst(StrEnum):
    """What a transfer that is not compliant counts as: each counts once."""

    BAD_BOND = "bad bond"
    BYPASSED = "bypassed"
    UNVERIFIABLE = "not verifiable"


def worst_of(kinds: Iterable[Kind]) -> Worst:
    """Return the worst of the kinds of finding of a transfer.

    Bad bond comes before bypassed, and that before not verifiable: what happened is not known.
    """
    found = frozenset(kinds)
    if found & BAD_BOND_KINDS:
        return Worst.BAD_BOND
    return Worst.BYPASSED if Kind.BYPASSED_FLOW in found else Worst.UNVERIFIABLE
