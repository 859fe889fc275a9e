"""What is done by the schedule: each job as a function that ends with a plain sentence."""

from __future__ import annotations

import datetime as dt
import logging
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from analytics.core.alarm_wording import counted
from analytics.retention import retain
from analytics.runs import AnalysisReport, analyse
from analytics.schedule.reporting import write_reports
from analytics.schedule.silence import Watch
from analytics.schedule.turn import NotWellError, Turn
from analytics.site_files import stored_sites
from bondtrail.metrics import Metrics
from bondtrail.running import LINGERING_S
from bondtrail.times import nanoseconds, seconds
from store import DamageError, Store

DAY_S = 86_400.0
FOLD_S = SILENCE_S = 60.0
ANALYSE_S = 20.0
REPORTS_S = 600.0
RETENTION_AT = dt.time(2, 30)
INTEGRITY_AT = dt.time(3, 0)
"""On the site's clock, when least goes on."""

_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Task:
    """A job of the schedule.

    Attributes
    ----------
    name : str
        Such as ``analyse``.
    every_s : float
        How often it is done; of a daily job, how long the first wait after a failure is. [s]
    work : callable
        Does it; returns one plain sentence of what it came to.
    at : time, optional
        Of a daily job: the hour of the site at which it is done.
    everywhere : bool
        Whether each process does it for itself: it only looks, and only keeps figures.
    """

    name: str
    every_s: float
    work: Callable[[Turn], str]
    at: dt.time | None = None
    everywhere: bool = False


def tasks(metrics: Metrics, *, analyse_s: float = ANALYSE_S) -> Sequence[Task]:
    """Return all jobs; ``analyse_s`` is how often what is new is judged. [s]"""
    return [
        Task("fold", FOLD_S, lambda turn: _fold(turn, metrics)),
        Task("analyse", analyse_s, lambda turn: _analyse(turn, metrics)),
        Task("silence", SILENCE_S, Watch(metrics).look, everywhere=True),
        Task("reports", REPORTS_S, write_reports),
        Task("retention", DAY_S, _retain, at=RETENTION_AT),
        Task("integrity", DAY_S, _verify, at=INTEGRITY_AT),
    ]


def _fold(turn: Turn, metrics: Metrics) -> str:
    folded = turn.store.fold()
    metrics.folds.inc(folded)
    return f"{counted(folded, 'commit')} folded into segments" if folded else "nothing to fold"


def _analyse(turn: Turn, metrics: Metrics) -> str:
    if not is_anything_to_judge(turn.store, turn.now):
        return "nothing new to judge"
    if not turn.store.sites():
        return "nothing can be judged: the store has no site file yet"
    with metrics.analysis.time():
        report = analyse(turn.store, now=turn.now, progress=lambda _station: turn.go_on())
    return judged_sentence(report)


def is_anything_to_judge(store: Store, now: int) -> bool:
    """Tell whether an analysis would find more than the last one.

    That is so where there are new readings, and also where the last ones went on holding for a
    while: a bypass that was turned on and reports on change only makes a finding by lasting.
    """
    if store.waiting():
        return True
    longest = nanoseconds(LINGERING_S)
    return any(mark.since <= now - longest for mark in store.touched().values())


def judged_sentence(report: AnalysisReport) -> str:
    """Return what an analysis came to."""
    judged = f"{counted(report.stations, 'station')} judged, {counted(report.findings, 'finding')}"
    return f"{judged}{_damage_clause(report.damaged)}"


def _damage_clause(damaged: Sequence[DamageError]) -> str:
    if not damaged:
        return ""
    for each in damaged:
        _log.warning("%s", each)
    return f"; {counted(len(damaged), 'block')} could not be read, the first: {damaged[0]}"


def _retain(turn: Turn) -> str:
    sites = stored_sites(turn.store)
    if not sites or sites[-1][1].retention.readings_days is None:
        return "off: the site file keeps every reading"
    done = retain(turn.store, now=turn.now)
    kept = done.kept_for_holds + done.kept_for_findings
    told = f"{counted(done.samples, 'reading')} of {counted(done.stations, 'station')} removed"
    return f"{told}; {counted(kept, 'reading')} kept for holds or open findings" if kept else told


def _verify(turn: Turn) -> str:
    """Verify all checksums; damage is a failure, so that it stays seen until it is mended.

    Raises
    ------
    NotWellError
        If something is damaged.
    """
    begun = turn.clock()
    damaged = turn.store.check()
    if damaged:
        raise NotWellError(f"damage found{_damage_clause(damaged)}")
    points = sum(1 for point in turn.store.points() if point.samples)
    took = seconds(turn.clock() - begun)
    return f"no damage in what is stored of {counted(points, 'point')}, looked at in {took:.0f} s"
