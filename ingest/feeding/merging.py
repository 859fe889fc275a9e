"""The readings of several files in one order of time.

Files of one site mostly follow each other, a day or a week each. Only those whose times overlap
are open at once.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Sequence
from contextlib import closing

import numpy as np

from ingest.feeding.stretches import Stretch, joined

Begin = Callable[[], Generator[Stretch, None, None]]
"""Begins to read a file; what it yields is sorted by time, and no stretch is empty."""

KEPT_OPEN = 4
"""Files that are open from the beginning; of further ones the first reading is looked at."""
_NEVER, _AT_ONCE = 2**63 - 1, -(2**63)


def merged(
    files: Sequence[tuple[Begin, Begin | None]],
) -> Generator[Stretch, None, None]:
    """Yield the readings of all files in the order of time.

    Parameters
    ----------
    files : sequence of (callable, callable or None)
        What begins to read a file, and what begins to read it only to look at its first reading,
        where that can be done. Of readings of one time, those of a later file come later, as they
        would be loaded.
    """
    cursors = [_Cursor(begin) for begin, _ in files]
    try:
        for number, (cursor, (_, look)) in enumerate(zip(cursors, files, strict=True)):
            if number < KEPT_OPEN or look is None:
                cursor.open()
            else:
                cursor.look(look)
        while any(cursor.is_left for cursor in cursors):
            _open_what_is_due(cursors)
            ready = [cursor for cursor in cursors if cursor.head is not None]
            if ready:
                bound = min(cursor.last for cursor in ready)
                yield joined([cursor.take(bound) for cursor in ready]).by_time()
    finally:
        for cursor in cursors:
            cursor.close()


def _open_what_is_due(cursors: Sequence[_Cursor]) -> None:
    """Open each file that may hold something before the end of what is at hand."""
    while True:
        bound = min((cursor.last for cursor in cursors if cursor.head is not None), default=_NEVER)
        due = [cursor for cursor in cursors if cursor.opens_at is not None]
        nearest = min(due, key=lambda cursor: cursor.opens_at or 0, default=None)
        if nearest is None or (nearest.opens_at or 0) > bound:
            return
        nearest.open()


class _Cursor:
    """A place in a file.

    Attributes
    ----------
    head : Stretch or None
        What comes next; None before the file is open, and at its end.
    opens_at : int or None
        Time of the first reading of a file that is still to be opened. [ns]
    """

    def __init__(self, begin: Begin) -> None:
        self._begin = begin
        self._rest: Generator[Stretch, None, None] | None = None
        self.head: Stretch | None = None
        self.opens_at: int | None = _AT_ONCE

    @property
    def is_left(self) -> bool:
        """Whether there is more to come."""
        return self.head is not None or self.opens_at is not None

    @property
    def last(self) -> int:
        """The time up to which all that is in the file is at hand, in ns."""
        assert self.head is not None
        return int(self.head.time[-1])

    def look(self, look: Begin) -> None:
        """Look when the file has to be opened; one without readings at once, to be counted."""
        with closing(look()) as stretches:
            first = next(stretches, None)
        self.opens_at = _AT_ONCE if first is None else int(first.time[0])

    def open(self) -> None:
        """Begin to read the file."""
        self.opens_at = None
        self._rest = self._begin()
        self.head = next(self._rest, None)

    def take(self, bound: int) -> Stretch:
        """Return what is at hand up to ``bound`` (ns, included), and go on to what follows."""
        assert self.head is not None
        assert self._rest is not None
        count = int(np.searchsorted(self.head.time, bound, side="right"))
        taken = self.head.part(slice(0, count))
        if count == len(self.head):
            self.head = next(self._rest, None)
        else:
            self.head = self.head.part(slice(count, None))
        return taken

    def close(self) -> None:
        """Close the file."""
        if self._rest is not None:
            self._rest.close()
