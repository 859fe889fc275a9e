"""A station's recorded signals, read from the store."""

from __future__ import annotations

from collections.abc import Callable

from analytics.core.situation import Signals
from analytics.source import HasReadings
from bondtrail.site import Station
from bondtrail.times import nanoseconds
from store import DamageError


def load_signals(
    store: HasReadings,
    station: Station,
    start: int,
    end: int,
    on_damage: Callable[[DamageError], None] | None = None,
) -> Signals:
    """Return the samples of every point of a station that hold within ``[start, end)``. [ns]

    Each point is read from as long before as a sample of it can hold.
    """
    return {
        role: store.read(
            point.name, start - nanoseconds(point.stale_after_s), end, on_damage=on_damage
        )
        for role, point in station.points.items()
    }
