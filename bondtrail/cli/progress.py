"""Progress on a terminal: what is done, how fast, and how long the rest will take."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from bondtrail.cli.faults import printable
from bondtrail.cli.output import console

Step = Callable[[int, int | None, str], None]
"""Called with what is done, of how much (None: nobody knows), and what is at hand."""


@contextmanager
def shown_progress(*, in_bytes: bool = False) -> Iterator[Step | None]:
    """Yield what a long run calls as it goes on; None where no person is watching."""
    if not sys.stderr.isatty():
        yield None
        return
    from rich.progress import (
        BarColumn,
        DownloadColumn,
        MofNCompleteColumn,
        Progress,
        TextColumn,
        TimeRemainingColumn,
        TransferSpeedColumn,
    )

    amounts = [DownloadColumn(), TransferSpeedColumn()] if in_bytes else [MofNCompleteColumn()]
    text = TextColumn("{task.description}", markup=False)
    bar = Progress(
        text,
        BarColumn(),
        *amounts,
        TimeRemainingColumn(),
        console=console(),
        transient=True,
    )
    with bar:
        task = bar.add_task("", total=None)

        def step(done: int, total: int | None, what: str) -> None:
            bar.update(task, completed=done, total=total, description=printable(what))

        yield step
