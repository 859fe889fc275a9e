"""Bringing results up to date: the rules run over the store, window by window.

Each station is analysed from a quiet moment before the earliest new data on, in windows of about
a month that end at quiet moments too. The outcome is the same as analysing everything at once.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

from analytics.core.days import Episodes, added, counted, measured
from analytics.core.drift import drift_findings
from analytics.core.shifts import Cells, cells, has_shifts, whole_days
from analytics.core.station import Verdict, results_of
from analytics.epochs import FOREVER, Epoch, limits_at, merged, select
from analytics.history import (
    History,
    examined,
    history_of,
    quiet_before,
    quiet_of,
)
from analytics.site_files import stored_sites
from bondtrail.results import (
    RULES_VERSION,
    DaySums,
    Finding,
    Hookup,
    StationResults,
)
from bondtrail.times import NS_PER_S, day_start, local_day
from store import DamageError, Store, Touch

DAY_NS = 86_400 * NS_PER_S
WINDOW_NS = 31 * DAY_NS


@dataclass(slots=True)
class AnalysisReport:
    """What an analysis did: stations and windows judged, findings written, damage met."""

    stations: int = 0
    windows: int = 0
    findings: int = 0
    damaged: list[DamageError] = field(default_factory=list)

    def note(self, damage: DamageError) -> None:
        """Keep a damage that was met; a block read for several windows is told once."""
        if not any(_same(damage, seen) for seen in self.damaged):
            self.damaged.append(damage)


def _same(a: DamageError, b: DamageError) -> bool:
    return (a.part, a.id, a.point, a.start) == (b.part, b.id, b.point, b.start)


@dataclass(frozen=True, slots=True)
class _Window:
    """A stretch to judge: episodes from ``since`` on, days from ``midnight`` on. [ns]"""

    since: int
    context: int
    midnight: int


def analyse(
    store: Store,
    *,
    now: int,
    everything: bool = False,
    by_present_limits: bool = False,
    progress: Callable[[str], None] | None = None,
) -> AnalysisReport:
    """Bring the results of every station that new data touched up to date.

    Parameters
    ----------
    store : Store
        With at least one site file in it; without one nothing is done.
    now : int
        The clock: nothing is claimed of what lies beyond it, nor beyond the last sample. [ns]
    everything : bool
        Whether to judge all of history anew. That is done too where results by another version
        of the rules are found.
    by_present_limits : bool
        Whether to judge history by the limits in force now instead of those of its day. The next
        analysis without it judges all of that again by the limits of its day.
    progress : callable, optional
        Told the id of each station as its analysis begins.
    """
    report = AnalysisReport()
    if everything or store.rules_of_findings() - {RULES_VERSION}:
        for station_id in {
            station.id for _, site in stored_sites(store) for station in site.stations
        }:
            store.touch(station_id, -FOREVER)
    # Marks first: what changes after they are read, the site file too, raises them again.
    marks = store.touched()
    sites = stored_sites(store)
    if not sites:
        return report
    one_off = by_present_limits and len(sites) > 1
    if by_present_limits:
        sites = sites[-1:]
    heard = {point.point: point for point in store.points() if point.samples}
    floors = store.floors()
    for station_id, touch in sorted(marks.items()):
        if progress:
            progress(station_id)
        floor = floors.get(station_id)
        history = history_of(store, station_id, sites, heard, floor, now, one_off=one_off)
        if history is None:
            _clear(store, station_id, touch)
        else:
            _analyse_station(store, history, touch, report)
        report.stations += 1
    return report


def _clear(store: Store, station_id: str, touch: Touch) -> None:
    """Take away the results of a station that has no readings or is in no site file."""
    store.save_results(
        StationResults(station_id, drift=()), since=-FOREVER, since_day=dt.date.min, touch=touch
    )


def _analyse_station(store: Store, history: History, touch: Touch, report: AnalysisReport) -> None:
    first = window = _first_window(store, history, touch, report)
    length = WINDOW_NS
    while True:
        end = min(window.midnight + length, history.end)
        verdicts = examined(store, history, window.context, end, report)
        following = None
        if end < history.end:
            following = _next_window(history, window, verdicts, end)
            if following is None:
                length *= 2
                continue
        results = _results(history, window, following, verdicts)
        is_alone = window is first and length == WINDOW_NS
        if following is None and not (
            is_alone and _drift_stands(store, history, window, results.hookups)
        ):
            drift = _drift(store, history, window, results.hookups)
            results = replace(results, drift=tuple(drift))
        _save(store, history, window, following, results, touch)
        report.windows += 1
        report.findings += len(results.findings) + len(results.drift or ())
        if following is None:
            return
        window, length = following, WINDOW_NS


def _first_window(store: Store, history: History, touch: Touch, report: AnalysisReport) -> _Window:
    """Return where to begin: at a quiet moment before the day that new data first touched.

    Never below the station's floor: there the readings are gone.
    """
    floor = history.floor
    beginning = _Window(
        -FOREVER if floor is None else floor.since, history.start, history.first_midnight
    )
    last_day = store.last_day(history.station)
    if last_day is None or touch.since <= history.start:
        return beginning
    if bool(store.shift_days(history.station, last_day, last_day)) != has_shifts(history.rosters):
        # Shifts are new to the site, or gone from it: that tells of every day.
        return beginning
    # The last day on record ended where its data did, so it is always judged again.
    day = min(local_day(touch.since, history.zone), last_day)
    midnight = day_start(day, history.zone)
    if midnight <= beginning.midnight:
        return beginning
    quiet = quiet_before(store, history, midnight, report)
    if quiet is None or quiet.at < beginning.since:
        return beginning
    return _Window(quiet.at, quiet.context, midnight)


def _next_window(
    history: History,
    window: _Window,
    verdicts: Sequence[tuple[Epoch, Verdict]],
    end: int,
) -> _Window | None:
    """Return the window after one that ends at ``end``, or None where it must reach further.

    The days before its midnight are over, and all that began in them has ended by a quiet moment.
    """
    whole = history.is_whole(window.context)
    settled = quiet_of(verdicts, end, whole=whole)
    if settled is None:
        return None
    midnight = day_start(local_day(settled.at, history.zone), history.zone)
    quiet = quiet_of(verdicts, midnight, whole=whole)
    if quiet is None or midnight <= window.midnight or quiet.at < window.since:
        return None
    return _Window(quiet.at, quiet.context, midnight)


def _results(
    history: History,
    window: _Window,
    following: _Window | None,
    verdicts: Sequence[tuple[Epoch, Verdict]],
) -> StationResults:
    until = following.since if following else FOREVER
    emitted = merged(select(verdicts, window.since, until))
    last = (following.midnight if following else history.end) - 1
    days = local_day(window.midnight, history.zone), local_day(last, history.zone)
    # What began on these days: not all of it is of this window.
    begun = merged(select(verdicts, -FOREVER, FOREVER))
    by_shift = None
    if has_shifts(history.rosters):
        by_shift = cells(*days, history.zone, history.rosters)
    return results_of(
        history.station,
        emitted,
        days=_sums(history.station, begun, verdicts, whole_days(*days, history.zone)),
        shifts=_sums(history.station, begun, verdicts, by_shift) if by_shift else (),
        drift=None,
    )


def _sums(
    station: str, begun: Episodes, verdicts: Sequence[tuple[Epoch, Verdict]], parts: Cells
) -> list[DaySums]:
    """Return the sums of days or shifts: time by the limits in force, the rest as it was judged."""
    rows = [*counted(station, begun, parts)]
    for epoch, verdict in verdicts:
        rows += measured(verdict.case, parts.clipped(epoch.start, epoch.end))
    return added(rows)


def _drift_stands(
    store: Store, history: History, window: _Window, hookups: Sequence[Hookup]
) -> bool:
    """Tell whether resistance cannot drift otherwise than the store has it.

    It is judged by all hookups of a station's life, and a service looks at each station several
    times a minute: most often nothing of what a drift is judged by has changed. Where more than one
    window of the usual length is judged, an analysis may have been stopped between them that had
    changed the hookups already; so then this is not asked.
    """
    since = window.since
    if history.one_off or any(moment >= since for moment, _ in history.rosters):
        return False
    if any(item.start >= since for item in history.work):
        return False
    stored = store.hookups(history.station, start=since)
    return [item for item in stored if item.start >= since] == list(hookups)


def _drift(
    store: Store, history: History, window: _Window, hookups: Sequence[Hookup]
) -> list[Finding]:
    """Return where resistance drifts, over all of a station's history up to its last window."""
    earlier = store.hookups(history.station, end=window.since)
    return drift_findings(
        history.station,
        [*earlier, *hookups],
        history.work,
        lambda moment: limits_at(history.epochs, moment),
    )


def _save(
    store: Store,
    history: History,
    window: _Window,
    following: _Window | None,
    results: StationResults,
    touch: Touch,
) -> None:
    zone = history.zone
    if following:
        store.save_results(
            results,
            since=window.since,
            since_day=local_day(window.midnight, zone),
            until=following.since,
            until_day=local_day(following.midnight, zone),
            touch=touch,
            still_since=touch.since,
        )
        return
    store.save_results(
        results,
        since=window.since,
        since_day=dt.date.min if window.since == -FOREVER else local_day(window.midnight, zone),
        touch=touch,
        still_since=_unsettled(history),
    )


def _unsettled(history: History) -> int | None:
    """Return from when a station must be looked at again, if its results are not final. [ns]"""
    if history.one_off:
        return -FOREVER
    return history.end if history.end < history.open_until else None
