"""What can go wrong with a store; nothing of SQLAlchemy or a driver leaves this room."""

from __future__ import annotations

from bondtrail.times import format_time


class StoreError(Exception):
    """Base of every error of the store; ``where`` names the store, without its password."""

    def __init__(self, where: str, message: str) -> None:
        self.where = where
        super().__init__(f"{where}: {message}")


class StoreBusyError(StoreError):
    """Another program held the store for longer than this one may wait. Nothing was stored."""


class StoreFullError(StoreError):
    """The disk, or the room that the store may use on it, is full. Nothing was stored."""


class StoreUnavailableError(StoreError):
    """The database cannot be reached, opened or written."""


class StoreRefusedError(StoreError):
    """The database answers and does not let us in: waiting does not help."""


class NotAStoreError(StoreError):
    """The database is no store of ours: it holds other tables, or is no database at all."""


class NewerStoreError(StoreError):
    """A newer Bondtrail made this store; ``found`` and ``known`` are versions of its tables."""

    def __init__(self, where: str, found: str, known: str) -> None:
        self.found = found
        self.known = known
        super().__init__(
            where,
            f"its tables are version {found}, this Bondtrail knows up to {known}: "
            "install the newer Bondtrail; nothing was changed",
        )


class DamageError(StoreError):
    """A block that does not match its checksum, or cannot be read at all.

    Attributes
    ----------
    part : str
        ``segment`` (the samples of one point), ``journal`` (a batch of several), ``arrival``
        (when samples of one point arrived; the samples themselves are there) or ``replaced``
        (earlier samples of one point; those in their place are there).
    id : int
        The row's id in the table of that name.
    point : str or None
        Whose samples they are; None for a journal row, which may hold any point.
    start, end : int
        The span of the damaged samples, half-open. [ns]
    """

    def __init__(
        self, where: str, *, part: str, row_id: int, point: str | None, start: int, end: int
    ) -> None:
        self.part = part
        self.id = row_id
        self.point = point
        self.start = start
        self.end = end
        super().__init__(
            where,
            f"{part} {row_id} of {point or 'several points'}, {format_time(start)} to "
            f"{format_time(end)}, is damaged: its checksum does not match. "
            "All else can be read; restore the database from a backup to get it back",
        )
