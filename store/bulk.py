"""Load much at once, straight into segments, in a bounded amount of memory."""

from __future__ import annotations

from collections.abc import Callable
from types import TracebackType
from typing import Self

from bondtrail.samples import Samples, concatenate
from store import journal, writing
from store.engine import Database
from store.errors import StoreError
from store.merging import Written, piece

FLUSH_ROWS = 2_500_000


class BulkWriter:
    """Collects samples and commits them ``flush_rows`` at a time, one transaction each.

    Leaving the ``with`` block commits the rest; leaving it by an exception does not. Samples
    may come in any order; of two at one time the later given wins.

    ``arrived`` is asked for the time, in ns, at each commit: that is when its samples arrived.
    """

    def __init__(
        self,
        db: Database,
        *,
        flush_rows: int = FLUSH_ROWS,
        arrived: Callable[[], int] | None = None,
    ) -> None:
        if flush_rows < 1:
            raise ValueError(f"flush_rows must be at least 1, got {flush_rows}")
        self.written = Written()
        """What is committed so far."""
        self._db = db
        self._most = flush_rows
        self._arrived = arrived
        self._parts: dict[str, list[Samples]] = {}
        self._held = 0

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, exc: BaseException | None, _: TracebackType | None
    ) -> None:
        if kind is None:
            self.flush()

    def add(self, point: str, samples: Samples) -> None:
        """Take samples of a point, in any order and number.

        The arrays must not change afterwards: they are kept until they are committed.

        Raises
        ------
        ValueError
            If the point is not ``<station>.<role>`` or a value is NaN.
        StoreError
            If a full buffer cannot be committed; it is kept, so `flush` may be tried again.
        """
        writing.check_batch({point: samples})
        low = 0
        while low < len(samples):
            high = min(len(samples), low + self._most - self._held)
            self._hold(point, piece(samples, low, high))
            low = high
            if self._held >= self._most:
                try:
                    self.flush()
                except StoreError:
                    self._hold(point, piece(samples, low, len(samples)))
                    raise

    def _hold(self, point: str, samples: Samples) -> None:
        self._parts.setdefault(point, []).append(samples)
        self._held += len(samples)

    def flush(self) -> None:
        """Commit what is held, in one transaction."""
        if not self._held:
            return
        fold(self._db, down_to=journal.CHUNK)
        batch = {name: concatenate(parts) for name, parts in self._parts.items()}
        arrived = writing.check_arrival(self._arrived() if self._arrived else None)
        with self._db.writing() as tx:
            written = writing.into_segments(tx, batch, arrived)
        self.written += written
        self._parts, self._held = {}, 0


def fold(db: Database, *, down_to: int = 0) -> int:
    """Fold the journal chunk by chunk, each in a transaction; return how many rows.

    Parameters
    ----------
    db : Database
        The store's.
    down_to : int
        Samples that may stay in the journal.
    """
    folded, last = 0, 0
    while True:
        with db.reading() as tx:
            if journal.waiting(tx) <= down_to:
                return folded
        with db.writing() as tx:
            rows, end = journal.fold_some(tx, last, journal.CHUNK)
        folded += rows
        if end is None:
            return folded
        last = end
