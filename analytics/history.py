"""A station's history: what of it can still be judged, and the quiet moments to begin at."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol
from zoneinfo import ZoneInfo

from analytics.core.quiet import Quiet, last_quiet
from analytics.core.shifts import Roster
from analytics.core.station import Verdict, examine
from analytics.epochs import Epoch, epochs_of
from analytics.signals import load_signals
from bondtrail.results import WorkWindow
from bondtrail.site import Site
from bondtrail.times import NS_PER_S, day_start, local_day, nanoseconds
from store import DamageError, Floor, PointSummary, Store

DAY_NS = 86_400 * NS_PER_S
LOOK_BACK_NS = 2 * DAY_NS


class Notes(Protocol):
    """Where damage goes that is met."""

    def note(self, damage: DamageError) -> None:
        """Keep a damage."""
        ...


@dataclass(frozen=True, slots=True)
class History:
    """One station's history: where it begins and ends, and all that is needed to judge it. [ns]

    ``open_until`` is later than ``end`` where a sample still holds: the end is not final. Results
    of a ``one_off`` analysis are to be judged again by the next. With a ``floor`` it begins where
    that says: what was before stays as it was judged.
    """

    station: str
    start: int
    end: int
    open_until: int
    one_off: bool
    epochs: Sequence[Epoch]
    rosters: Sequence[Roster]
    zone: ZoneInfo
    work: Sequence[WorkWindow]
    floor: Floor | None

    def is_whole(self, start: int) -> bool:
        """Tell whether nothing came before a moment, not even what was removed. [ns]"""
        return self.floor is None and start <= self.start

    @property
    def first_midnight(self) -> int:
        """Where the first day begins that is judged. [ns]"""
        if self.floor is None:
            return day_start(local_day(self.start, self.zone), self.zone)
        return floor_midnight(self.floor, self.zone)


def floor_midnight(floor: Floor, zone: ZoneInfo) -> int:
    """Return where the first day begins that is judged above a floor. [ns]

    A site whose clock was moved since may have its midnights before what is left: then it is the
    day after.
    """
    midnight = day_start(floor.day, zone)
    return midnight if midnight > floor.since else day_start(floor.day + dt.timedelta(days=1), zone)


def history_of(
    store: Store,
    station_id: str,
    sites: Sequence[tuple[int, Site]],
    points: Mapping[str, PointSummary],
    floor: Floor | None,
    now: int,
    *,
    one_off: bool = False,
) -> History | None:
    """Return the history of a station, or None if it has no readings or is in no site file.

    Parameters
    ----------
    store : Store
        Has its work.
    station_id : str
        Its id.
    sites : sequence of (int, Site)
        The site files with the moments they hold from, in order; not empty. [ns]
    points : mapping of str to PointSummary
        Those with readings, by name.
    floor : Floor or None
        The station's, if it has one.
    now : int
        The clock. [ns]
    one_off : bool
        Whether what is found is to be judged again.
    """
    epochs = epochs_of(station_id, sites)
    stale = {
        point.name: nanoseconds(point.stale_after_s)
        for epoch in epochs
        for point in epoch.station.points.values()
    }
    heard = [points[name] for name in stale if name in points]
    if not heard:
        return None
    held = max(point.last + stale[point.point] for point in heard)
    latest = max(point.last for point in heard)
    first = min(point.first for point in heard)
    return History(
        station=station_id,
        start=first if floor is None else floor.context,
        end=min(held, max(now, latest + 1)),
        open_until=held,
        one_off=one_off,
        epochs=epochs,
        rosters=[(start, site.shifts) for start, site in sites],
        zone=sites[-1][1].zone,
        work=store.work(station_id),
        floor=floor,
    )


def examined(
    store: Store, history: History, start: int, end: int, notes: Notes, *, over: bool = False
) -> list[tuple[Epoch, Verdict]]:
    """Return what each epoch that holds within a stretch says of it. [ns]

    With ``over`` also those that are over by then: what began in one is judged by it to the end.
    """
    start = max(start, history.start)
    tickets = store.tickets(history.station, start, end)
    found = []
    for epoch in history.epochs:
        if epoch.start >= end or (epoch.end <= start and not over):
            continue
        signals = load_signals(store, epoch.station, start, end, notes.note)
        verdict = examine(epoch.station, signals, (start, end), work=history.work, tickets=tickets)
        found.append((epoch, verdict))
    return found


def quiet_before(store: Store, history: History, midnight: int, notes: Notes) -> Quiet | None:
    """Return the latest quiet moment before a midnight, or None where there is none. [ns]"""
    back, start = LOOK_BACK_NS, midnight
    while start > history.start:
        start = max(midnight - back, history.start)
        verdicts = examined(store, history, start, midnight, notes, over=True)
        found = quiet_of(verdicts, midnight, whole=history.is_whole(start))
        if found is not None:
            return found
        back *= 4
    return None


def quiet_of(
    verdicts: Sequence[tuple[Epoch, Verdict]], before: int, *, whole: bool
) -> Quiet | None:
    """Return the latest quiet moment that verdicts over one stretch show; see `last_quiet`."""
    if not verdicts:
        return None
    return last_quiet([verdict.case for _, verdict in verdicts], before, whole=whole)
