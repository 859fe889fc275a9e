"""One run of a job: what it works on, and whether it may go on."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from store import Store


class StopRequestedError(Exception):
    """A job was asked to stop and did so between two steps; what it had done stays done."""


class NotWellError(Exception):
    """A job did what it could and somebody must look after the rest; its text says why."""


@dataclass(frozen=True, slots=True)
class Turn:
    """One run of a job.

    Attributes
    ----------
    store : Store
        What it works on.
    now : int
        The clock. [ns]
    clock : callable
        Tells the time while the run goes on. [ns]
    is_stopping : callable
        Whether the process is to end.
    """

    store: Store
    now: int
    clock: Callable[[], int]
    is_stopping: Callable[[], bool]

    def go_on(self) -> None:
        """Return where the run may go on.

        Raises
        ------
        StopRequestedError
            If the process is to end.
        """
        if self.is_stopping():
            raise StopRequestedError
