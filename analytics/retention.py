"""Removing readings that are older than the site file says to keep them; off by default.

Results are kept for ever. So that they are never judged again from readings that are gone, each
station gets a floor: a quiet moment before a local midnight. From there on judging gives what it
gave before, to the last bit; what is before it stays as it was judged.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from analytics.history import DAY_NS, history_of, quiet_before
from analytics.site_files import stored_sites
from bondtrail.results import RULES_VERSION
from bondtrail.site import Site
from bondtrail.times import day_start, local_day, nanoseconds
from store import DamageError, Floor, PointSummary, Removed, Store, Touch


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

    def __add__(self, removed: Removed) -> Retained:
        return Retained(
            self.stations + bool(removed.samples),
            self.samples + removed.samples,
            self.kept_for_holds + removed.kept_for_holds,
            self.kept_for_findings + removed.kept_for_findings,
        )


@dataclass(frozen=True, slots=True)
class _Policy:
    """What is to be removed, and what is known of the store as a run begins.

    ``midnight`` begins the oldest day whose readings stay. [ns]
    """

    now: int
    midnight: int
    day: dt.date
    sites: Sequence[tuple[int, Site]]
    points: Mapping[str, PointSummary]
    floors: Mapping[str, Floor]
    marks: Mapping[str, Touch]
    is_judged: bool
    """Whether all that can be judged is so by the rules of this version."""


@dataclass(slots=True)
class _Damage:
    """Damage that is met: the integrity check tells of it."""

    met: list[DamageError] = field(default_factory=list)

    def note(self, damage: DamageError) -> None:
        self.met.append(damage)


def retain(store: Store, *, now: int) -> Retained:
    """Remove what the site file in force says need not be kept any longer.

    Of a station that waits to be analysed only as much as was removed of it before: the next run
    removes the rest. What it commits stays where it is interrupted, and the next run goes on.

    Parameters
    ----------
    store : Store
        Its site files say for how long.
    now : int
        The clock. [ns]
    """
    sites = stored_sites(store)
    in_force = [site for since, site in sites if since <= now]
    days = in_force[-1].retention.readings_days if in_force else None
    if days is None:
        return Retained()
    store.fold()
    policy = _policy(store, sites, in_force[-1], now, days)
    done = Retained()
    for station in sorted({station.id for _, site in sites for station in site.stations}):
        floor = _floor(store, policy, station)
        if floor is not None:
            before = min(floor.kept, policy.midnight)
            done += store.retention.remove(floor, before=before, settled=policy.midnight)
    return done


def _policy(
    store: Store, sites: Sequence[tuple[int, Site]], site: Site, now: int, days: int
) -> _Policy:
    points = {point.point: point for point in store.points() if point.samples}
    # A clock that is ahead makes nothing old: days count from the newest reading at the latest.
    newest = max((point.last for point in points.values()), default=now)
    day = local_day(min(now, newest) - days * DAY_NS, site.zone)
    return _Policy(
        now=now,
        midnight=day_start(day, site.zone),
        day=day,
        sites=sites,
        points=points,
        floors=store.floors(),
        marks=store.touched(),
        is_judged=store.rules_of_findings() <= {RULES_VERSION},
    )


def _floor(store: Store, policy: _Policy, station: str) -> Floor | None:
    """Return the floor that a station can have now; the one it has where there is no later one."""
    held = policy.floors.get(station)
    if held is not None:
        held = replace(held, at=policy.now)
    mark = policy.marks.get(station)
    waits = mark is not None and mark.since < policy.midnight
    if waits or not policy.is_judged or (held is not None and held.day >= policy.day):
        return held
    history = history_of(store, station, policy.sites, policy.points, held, policy.now)
    last_day = store.last_day(station)
    if history is None or last_day is None or history.start >= policy.midnight:
        return held
    quiet = quiet_before(store, history, policy.midnight, _Damage())
    if quiet is None or (held is not None and quiet.at <= held.since):
        return held
    longest = max(
        nanoseconds(point.stale_after_s)
        for epoch in history.epochs
        for point in epoch.station.points.values()
    )
    return Floor(
        station=station,
        day=policy.day,
        since=quiet.at,
        context=quiet.context,
        kept=quiet.context - longest,
        at=policy.now,
    )
