"""The schedule of a command that stays: what to wait for, what to tell, when to end."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING

import click

from bondtrail.cli import opening
from bondtrail.cli.faults import Fault
from bondtrail.pauses import Pauses
from bondtrail.settings import hide_password

if TYPE_CHECKING:
    from analytics.schedule import Jobs
    from bondtrail.metrics import Metrics
    from store import Store

SHORTEST_S, LONGEST_S = 1.0, 3600.0
_FIRST_WAIT_S, _LONGEST_WAIT_S = 0.5, 15.0

_log = logging.getLogger(__name__)


class Every(click.ParamType[float]):
    """A time with its unit, such as ``60s``, in seconds."""

    name = "time"

    def convert(
        self, value: object, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Return the seconds."""
        from bondtrail.quantities import DURATION, quantity
        from bondtrail.units import UnitError

        try:
            every_s = quantity(str(value), DURATION)
        except UnitError as exc:
            self.fail(f"{exc.wrong}: write a time with its unit, such as 60s or 5min", param, ctx)
        if not SHORTEST_S <= every_s <= LONGEST_S:
            self.fail(f"{value} is not between 1 second and 1 hour", param, ctx)
        return every_s


def wait_for_store(open_it: Callable[[], Store], stop: threading.Event) -> bool:
    """Open the store once and close it again, as soon as that can be done.

    Parameters
    ----------
    open_it : callable
        Opens it, and settles what must be settled in it.
    stop : Event
        Ends the wait.

    Returns
    -------
    bool
        False where it was told to stop before.

    Raises
    ------
    StoreError
        If waiting does not mend it.
    """
    from store import StoreBusyError, StoreFullError, StoreUnavailableError

    pauses, said = Pauses(_FIRST_WAIT_S, _LONGEST_WAIT_S), ""
    while not stop.is_set():
        try:
            open_it().close()
            return True
        except (StoreUnavailableError, StoreBusyError, StoreFullError) as exc:
            if str(exc) != said:
                said = str(exc)
                _log.warning("waiting for the store: %s", said)
        stop.wait(pauses.next_s())
    return False


def jobs_of(db: str, metrics: Metrics, every_s: float | None = None) -> Jobs:
    """Return the schedule over a store; ``every_s`` is how often what is new is judged. [s]"""
    from analytics.schedule import Jobs
    from store import open_store

    if every_s is None:
        return Jobs(lambda: open_store(db), clock=opening.clock_ns, metrics=metrics)
    return Jobs(lambda: open_store(db), clock=opening.clock_ns, metrics=metrics, analyse_s=every_s)


def readiness(jobs: Jobs) -> Mapping[str, Callable[[], str | None]]:
    """Return what a schedule needs to be ready, by name."""
    return {"store": jobs.why_no_store, "analysis": lambda: jobs.fresh(opening.clock_ns())}


def refuse_missing(db: str) -> None:
    """Refuse a SQLite file that does not exist, where no site file says what to begin.

    Raises
    ------
    Fault
        If there is none.
    """
    if opening.is_missing(db):
        raise Fault(
            f"no store at {hide_password(db)}",
            "Name a site file by --site to begin one, or another store by --db.",
        )
