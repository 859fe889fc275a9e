"""The parts of one process, each in a thread of its own: they begin, and end, together."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field

import click

from bondtrail.cli.faults import print_warning, translated

DIED = 1
"""The status where a part ended by itself: whoever watches the process begins it anew."""
STOP_S = 30.0
"""How long a part may take to end in good order. [s]"""

_log = logging.getLogger(__name__)


@dataclass(eq=False)
class Part:
    """A part of the process.

    Attributes
    ----------
    name : str
        What people call it.
    work : callable
        Goes on until the event that it is given is set.
    failure : Exception or None
        What ended it before it was told to.
    has_ended : bool
        Whether it has.
    """

    name: str
    work: Callable[[threading.Event], None]
    failure: Exception | None = None
    has_ended: bool = False
    thread: threading.Thread | None = field(default=None, repr=False)

    def alive(self) -> str | None:
        """Return why it does not work; None while it does, or has not begun yet."""
        return "it has ended" if self.has_ended else None


def run_together(parts: list[Part], stop: threading.Event) -> Part | None:
    """Run parts until told to stop, or until one of them ends by itself; then end all.

    Parameters
    ----------
    parts : list of Part
        None has begun.
    stop : Event
        Ends all.

    Returns
    -------
    Part or None
        The one that ended by itself, if one did.
    """
    first: list[Part] = []
    for part in parts:
        part.thread = threading.Thread(
            target=_run, args=(part, stop, first), name=part.name, daemon=True
        )
        part.thread.start()
    stop.wait()
    give_up = time.monotonic() + STOP_S
    for part in parts:
        assert part.thread is not None
        part.thread.join(max(0.0, give_up - time.monotonic()))
        if part.thread.is_alive():
            _log.warning(
                "%s does not end: it is left, and undone what it had not committed", part.name
            )
    return first[0] if first else None


def _run(part: Part, stop: threading.Event, first: list[Part]) -> None:
    try:
        part.work(stop)
    except Exception as exc:
        part.failure = exc
        _log.debug("%s ended", part.name, exc_info=True)
    part.has_ended = True
    if not stop.is_set():
        first.append(part)
        stop.set()


def end_of(died: Part | None) -> None:
    """Say which part ended the process, if one did.

    Raises
    ------
    Fault
        If a person must mend what ended it.
    Exit
        With status 1, if it should not have ended.
    """
    if died is None:
        return
    failure = died.failure
    fault = failure if isinstance(failure, click.ClickException) else None
    if fault is None and failure is not None and not isinstance(failure, OSError):
        fault = translated(failure)
    if fault is not None:
        raise fault
    why = f": {type(failure).__name__}: {failure}" if failure else ""
    print_warning(f"{died.name} ended by itself{why}\n  The rest was ended in good order.")
    raise click.exceptions.Exit(DIED)
