"""Removing readings that are older than the site file says to keep them; off by default."""

from __future__ import annotations

from dataclasses import dataclass

from store import Store


@dataclass(frozen=True, slots=True)
class Retained:
    """What a run removed and left alone.

    Attributes
    ----------
    stations : int
        Stations of which readings were removed.
    samples : int
        How many readings were removed.
    kept_for_holds, kept_for_findings : int
        Readings old enough to go that stay for a hold, or for an open finding.
    """

    stations: int = 0
    samples: int = 0
    kept_for_holds: int = 0
    kept_for_findings: int = 0


def retain(store: Store, *, now: int) -> Retained:
    """Remove what the site file in force says need not be kept any longer.

    Parameters
    ----------
    store : Store
        Its site files say for how long.
    now : int
        The clock. [ns]
    """
    return Retained()
