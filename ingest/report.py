"""What a load did, file by file, and how far it has got."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum


class FileKind(StrEnum):
    """What a file holds, as its header tells."""

    LONG = "readings, long"
    WIDE = "readings, wide"
    WORK = "work windows"
    BATCH = "transfer tickets"


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a load has got; bytes are those on disk, compressed or not.

    ``total_bytes`` is None when nobody knows, as with standard input.
    """

    file: str
    read_bytes: int
    total_bytes: int | None
    rows: int


@dataclass(slots=True)
class FileReport:
    """The counts of one file; ``read = new + repeated + replaced + rejected``.

    Counted are readings: a row of a long file, a filled cell of a wide one. A row that cannot
    be taken as a whole counts as one.
    """

    name: str
    kind: FileKind | None = None
    read: int = 0
    new: int = 0
    repeated: int = 0
    replaced: int = 0
    rejected: int = 0
    notes: list[str] = field(default_factory=list)
    error: str | None = None
    """Why the file could not be read at all, such as no such file."""

    @property
    def is_repeat(self) -> bool:
        """Whether everything that could be taken was already stored."""
        return self.repeated > 0 and not self.new and not self.replaced


@dataclass(frozen=True, slots=True)
class LoadReport:
    """The outcome of a load: its files in the order in which they were read."""

    files: tuple[FileReport, ...]

    @property
    def read(self) -> int:
        """Readings seen."""
        return sum(file.read for file in self.files)

    @property
    def new(self) -> int:
        """Readings stored for the first time."""
        return sum(file.new for file in self.files)

    @property
    def repeated(self) -> int:
        """Readings that were stored already, with the same value and quality."""
        return sum(file.repeated for file in self.files)

    @property
    def replaced(self) -> int:
        """Readings that took the place of another one at the same point and time."""
        return sum(file.replaced for file in self.files)

    @property
    def rejected(self) -> int:
        """Readings that could not be taken; they are kept as rejects."""
        return sum(file.rejected for file in self.files)

    @property
    def errors(self) -> tuple[FileReport, ...]:
        """Files that could not be read at all."""
        return tuple(file for file in self.files if file.error is not None)

    @property
    def is_clean(self) -> bool:
        """Whether every file was read and every reading taken."""
        return not self.rejected and not self.errors
