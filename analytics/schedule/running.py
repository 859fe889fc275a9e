"""The schedule of a process: its jobs by the clock, each at most once at a time, none for ever.

Several processes may share a store. The store says whose turn a job is, and keeps how its last
run went; a job that just went well elsewhere is not done again here.
"""

from __future__ import annotations

import datetime as dt
import logging
import os
import socket
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import partial

from apscheduler.schedulers.background import BackgroundScheduler
from apscheduler.triggers.interval import IntervalTrigger

from analytics.clockwork import scheduler
from analytics.schedule.figures import show_figures
from analytics.schedule.tasks import ANALYSE_S, Task, tasks
from analytics.schedule.turn import NotWellError, StopRequestedError, Turn
from analytics.schedule.turns import held_until, is_due, is_due_today
from analytics.schedule.zone import UTC, SiteZone
from bondtrail.metrics import Metrics
from bondtrail.running import Job
from bondtrail.settings import hide_password
from bondtrail.site import SiteError
from bondtrail.times import format_time, nanoseconds
from store import Store, StoreError

LOOK_S = 60.0
"""How often it is looked whether the hour of a daily job has come. [s]"""
LOOK_AFTER_S = 5.0
"""How often it is looked whether the clock still turns. [s]"""
STOP_S = 30.0
"""How long a stop waits for the jobs at hand. [s]"""
FRESH_S = 180.0
"""An analysis that ended well so short a time ago is fresh, and so are three intervals. [s]"""
MOST_SAID = 1000
"""Characters kept of why a job failed."""

_log = logging.getLogger(__name__)


def this_process() -> str:
    """Return what names this process to others: host and process id."""
    return f"{socket.gethostname()}:{os.getpid()}"


class Jobs:
    """What a process does by itself, from `start` to `stop`.

    Parameters
    ----------
    open_store : callable
        Opens the store; called once, and again for as long as that fails.
    clock : callable
        Tells the time. [ns]
    metrics : Metrics
        Is kept up to date.
    analyse_s : float
        How often what is new is judged. [s]
    others : sequence of Task
        Jobs beside those that every schedule has.
    """

    def __init__(
        self,
        open_store: Callable[[], Store],
        *,
        clock: Callable[[], int],
        metrics: Metrics,
        analyse_s: float = ANALYSE_S,
        others: Sequence[Task] = (),
    ) -> None:
        self._tasks = [*tasks(metrics, analyse_s=analyse_s), *others]
        self._held = _HeldStore(open_store)
        self._zone = SiteZone()
        self._clock, self._metrics = clock, metrics
        self._analyse_s = analyse_s
        self._since = clock()
        self._by = this_process()
        self._stopping = threading.Event()
        self._at_work: Counter[str] = Counter()
        self._idle = threading.Condition()
        self._scheduler: BackgroundScheduler | None = None

    def start(self) -> None:
        """Begin: every job looks at once whether its turn has come."""
        clockwork = self._scheduler = scheduler(UTC)
        looks = [(task.name, partial(self._turn, task), _look_s(task)) for task in self._tasks]
        for name, look, every_s in [*looks, ("figures", self._figures, self._analyse_s)]:
            trigger = IntervalTrigger(seconds=every_s)
            clockwork.add_job(look, trigger, id=name, next_run_time=dt.datetime.now(UTC))
        clockwork.start()

    def keep(self, stop: threading.Event) -> None:
        """Start, look after the clock until told to stop, and stop.

        Raises
        ------
        RuntimeError
            If the clock ends by itself.
        """
        self.start()
        try:
            while not stop.wait(LOOK_AFTER_S):
                why = self.alive()
                if why is not None:
                    raise RuntimeError(why)
                self._catch_up()
        finally:
            self.stop()

    def stop(self, wait_s: float = STOP_S) -> bool:
        """Begin no further job, and wait for those at hand.

        Parameters
        ----------
        wait_s : float
            How long. What a job that takes longer has not committed by the end of the process is
            rolled back. [s]

        Returns
        -------
        bool
            Whether all have ended.
        """
        self._stopping.set()
        if self._scheduler is not None and self._scheduler.running:
            self._scheduler.shutdown(wait=False)
        with self._idle:
            ended = self._idle.wait_for(lambda: not self._at_work, wait_s)
            late = sorted(self._at_work)
        if ended:
            self._held.close()
        else:
            _log.warning("still at work, and left: %s", ", ".join(late))
        return ended

    def alive(self) -> str | None:
        """Return why its clock stands still; None if it does not, or was not started yet."""
        clockwork = self._scheduler
        if clockwork is None or self._stopping.is_set():
            return None
        return None if clockwork.running and clockwork._thread.is_alive() else "its clock has ended"

    def why_no_store(self) -> str | None:
        """Return why nothing can be written to the store; None if it can. Names no store."""
        try:
            self._held.store().probe()
        except StoreError as exc:
            _log.debug("the store is not ready: %s", exc)
            return "it cannot be reached, or not be written"
        return None

    def fresh(self, now: int) -> str | None:
        """Return why the last analysis is not fresh, whichever process does it; None if it is.

        Raises
        ------
        StoreError
            If the store does not answer.
        """
        store = self._held.store()
        last = _last(store, "analyse")
        ended = None if last is None else last.succeeded
        limit_s = max(FRESH_S, 3 * self._analyse_s)
        if ended is not None and abs(now - ended) <= nanoseconds(limit_s):
            return None
        if not store.waiting():
            return None
        if ended is None:
            return "readings wait, and no analysis has ended well yet"
        return f"readings wait, and the last analysis that ended well did at {format_time(ended)}"

    def _catch_up(self) -> None:
        """Have jobs look now that would be late: the clock of the machine was set back."""
        assert self._scheduler is not None
        now = dt.datetime.now(UTC)
        for job in self._scheduler.get_jobs():
            if job.next_run_time - now > 1.5 * job.trigger.interval:
                job.modify(next_run_time=now)

    # A turn, in a thread of its own

    def _turn(self, task: Task) -> None:
        """Do a job if it is due and nobody else does it. Whatever happens is said, and survived."""
        if self._stopping.is_set():
            return
        with self._working(task.name):
            try:
                self._take(task)
            except StoreError as exc:
                self._held.is_away(exc)
            except Exception as exc:
                _log.error("job %s could not be begun: %s", task.name, why(exc))
                _log.debug("job %s could not be begun", task.name, exc_info=True)

    @contextmanager
    def _working(self, name: str) -> Iterator[None]:
        with self._idle:
            self._at_work[name] += 1
        try:
            yield
        finally:
            with self._idle:
                del self._at_work[name]
                self._idle.notify_all()

    def _take(self, task: Task) -> None:
        store = self._held.store()
        is_due = self._is_due(store, task)
        self._held.is_there()
        if not is_due and not task.everywhere:
            return
        with store.jobs.claim(task.name) as is_mine:
            if is_mine and self._is_due(store, task):
                self._do(store, task)
                return
        if task.everywhere:
            task.work(self._turn_of(store))

    def _is_due(self, store: Store, task: Task) -> bool:
        """Tell whether a job is due; asked again once it is claimed: another may just be done."""
        now, last = self._clock(), _last(store, task.name)
        if now < held_until(last, task.every_s, self._since):
            return False
        if task.at is None:
            return is_due(last, task.every_s, now)
        return is_due_today(last, task.at, self._zone.of(store, now), now)

    def _do(self, store: Store, task: Task) -> None:
        before = _last(store, task.name)
        store.jobs.begin(task.name, self._clock(), self._by, task.every_s)
        began = time.monotonic()
        try:
            said, failed = task.work(self._turn_of(store)), False
        except StopRequestedError:
            said, failed = "asked to stop: the rest is for the next run", False
        except Exception as exc:
            said, failed = why(exc), True
            _log.debug("job %s failed", task.name, exc_info=True)
        store.jobs.end(task.name, self._clock(), said, failed)
        self._log_end(task, before, said, time.monotonic() - began, failed=failed)

    def _turn_of(self, store: Store) -> Turn:
        return Turn(store, self._clock(), self._clock, self._stopping.is_set)

    def _log_end(
        self, task: Task, before: Job | None, said: str, took_s: float, *, failed: bool
    ) -> None:
        """Tell each failure, the first success after one, and what is done once a day."""
        if failed:
            _log.warning("job %s failed: %s", task.name, said)
        elif (before is not None and before.failures) or task.at is not None:
            _log.info("job %s went well in %.1f s: %s", task.name, took_s, said)
        else:
            _log.debug("job %s: %s", task.name, said)

    def _figures(self) -> None:
        if self._stopping.is_set():
            return
        with self._working("figures"):
            try:
                show_figures(self._held.store(), self._metrics)
            except StoreError as exc:
                self._held.is_away(exc)
            except Exception:
                _log.debug("figures could not be told", exc_info=True)


class _HeldStore:
    """The store, opened by whoever needs it first; tells once when it is away and when back."""

    def __init__(self, open_store: Callable[[], Store]) -> None:
        self._open = open_store
        self._store: Store | None = None
        self._opening = threading.Lock()
        self._away: str | None = None
        self._is_over = False

    def store(self) -> Store:
        with self._opening:
            if self._is_over:
                raise RuntimeError("the schedule has stopped")
            if self._store is None:
                self._store = self._open()
            return self._store

    def is_away(self, exc: StoreError) -> None:
        told = str(exc)
        if self._away != told:
            _log.warning("jobs wait for the store: %s", told)
            self._away = told

    def is_there(self) -> None:
        if self._away is not None:
            _log.info("the store is back")
            self._away = None

    def close(self) -> None:
        with self._opening:
            self._is_over = True
            if self._store is not None:
                self._store.close()
                self._store = None


def why(exc: BaseException) -> str:
    """Return why something failed, in a sentence for people and without a secret."""
    match exc:
        case SiteError():
            told = f"{exc.source}: {'; '.join(map(str, exc.problems))}"
        case StoreError():
            told = str(exc)
        case NotWellError():
            told = str(exc)
        case OSError():
            told = f"{exc.filename}: {exc.strerror}" if exc.filename else str(exc)
        case _:
            told = f"unexpected {type(exc).__name__}: {exc}"
    return " ".join(hide_password(told).split())[:MOST_SAID]


def _last(store: Store, name: str) -> Job | None:
    return next((job for job in store.jobs.all() if job.name == name), None)


def _look_s(task: Task) -> float:
    """Return how often to look whether a job is due. [s]"""
    return task.every_s if task.at is None else LOOK_S
