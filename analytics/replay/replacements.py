"""Which readings of a span are not the first ones: what stood there before, and since when not."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np

from analytics.core.situation import Signals
from analytics.replay.replayed import Replacement
from analytics.source import Source
from bondtrail.samples import Replaced, Samples
from bondtrail.site import Role
from store import DamageError


def replacements(
    store: Source,
    station: str,
    signals: Signals,
    span: tuple[int, int],
    on_damage: Callable[[DamageError], None],
) -> Iterator[Replacement]:
    """Yield what was replaced of the readings that a span is told from, by point and commit.

    Parameters
    ----------
    store : Source
        In a snapshot.
    station : str
        Its id.
    signals : mapping of Role to Samples
        The readings, from before the span on.
    span : tuple of int
        Start and end of what the replay is told from. A reading that holds as it begins is of it,
        too. [ns]
    on_damage : callable
        Told of what is on record of it and cannot be read.
    """
    for role, line in signals.items():
        since = _holding_at(line, span[0])
        for each in store.replaced(f"{station}.{role}", since, span[1], on_damage=on_damage):
            yield _summed(role, each)


def _holding_at(line: Samples, moment: int) -> int:
    """Return the time of the last reading up to a moment; the moment if there is none. [ns]"""
    place = int(np.searchsorted(line.time, moment, "right")) - 1
    return int(line.time[place]) if place >= 0 else moment


def _summed(role: Role, replaced: Replaced) -> Replacement:
    time, value = replaced.samples.time, replaced.samples.value
    return Replacement(
        role=role,
        at=replaced.at,
        count=len(replaced.samples),
        first=int(time[0]),
        last=int(time[-1]),
        lowest=float(value.min()),
        highest=float(value.max()),
    )
