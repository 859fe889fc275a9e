"""One way to have things done by the clock."""

from __future__ import annotations

import logging
import sys
import threading
from typing import Any
from zoneinfo import ZoneInfo

from apscheduler.executors.base import BaseExecutor, run_job
from apscheduler.schedulers.background import BackgroundScheduler


def scheduler(zone: ZoneInfo) -> BackgroundScheduler:
    """Return a scheduler whose jobs never overlap themselves, and are never too late to run.

    What was missed several times is done once. Each run has a thread of its own, so that one that
    takes long keeps no other from its turn.

    Parameters
    ----------
    zone : ZoneInfo
        Of the clock that triggers are read by.
    """
    logging.getLogger("apscheduler").setLevel(logging.ERROR)  # each run, and each turn left out
    return BackgroundScheduler(
        timezone=zone,
        executors={"default": _Threads()},
        job_defaults={
            "coalesce": True,
            "max_instances": 1,
            "misfire_grace_time": None,  # by default a second late is too late
        },
    )


class _Threads(BaseExecutor):  # type: ignore[misc]
    """Runs each job in a thread that the end of the process does not wait for.

    The pool that comes with the library is waited for without a limit, and a job that hangs in a
    database would then keep a service from being stopped.
    """

    def __init__(self) -> None:
        super().__init__()
        self._running: set[threading.Thread] = set()

    def shutdown(self, wait: bool = True) -> None:
        """End; with ``wait`` when the jobs at hand have."""
        for thread in list(self._running) if wait else ():
            thread.join()

    def _do_submit_job(self, job: Any, run_times: Any) -> None:
        thread = threading.Thread(
            target=self._run, args=(job, run_times), name=f"job {job.id}", daemon=True
        )
        self._running.add(thread)
        thread.start()

    def _run(self, job: Any, run_times: Any) -> None:
        try:
            events = run_job(job, job._jobstore_alias, run_times, self._logger.name)
        except BaseException:
            self._run_job_error(job.id, *sys.exc_info()[1:])
        else:
            self._run_job_success(job.id, events)
        finally:
            self._running.discard(threading.current_thread())
