"""Bytes from a file, a compressed file or standard input, whatever its name says."""

from __future__ import annotations

import glob
import io
import sys
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, cast

import pyarrow as pa

STDIN = "-"
SUFFIXES = (".csv", ".csv.gz", ".csv.zst", ".tsv", ".tsv.gz", ".tsv.zst", ".parquet")
"""What is taken from a directory; a file that is named may be called anything."""

_PIECE = 1 << 16
"""Bytes unpacked at once: so many are lost before the place where a file is damaged."""
_GZIP, _ZSTD, _PARQUET = b"\x1f\x8b", b"\x28\xb5\x2f\xfd", b"PAR1"
_KNOWN_FORMS = {
    b"PK\x03\x04": "a zip archive or a spreadsheet: save its sheet as CSV",
    b"\xd0\xcf\x11\xe0": "an old spreadsheet: save its sheet as CSV",
    b"\xff\xfe": "UTF-16 text: save it as UTF-8",
    b"\xfe\xff": "UTF-16 text: save it as UTF-8",
    b"BZh": "compressed with bzip2: use gzip or zstd",
    b"\xfd7zXZ": "compressed with xz: use gzip or zstd",
    b"SQLite format 3": "a database, not readings",
    b"%PDF": "a PDF document, not readings",
}


class DamagedSourceError(Exception):
    """Bytes stop coming before the end: cut off, or not what the compression promised."""


def expand(paths: Iterable[str | Path]) -> list[str]:
    """Return the files that paths stand for: patterns and directories are looked into.

    A path that stands for nothing is returned as it is: opening it says why.
    """
    found: list[str] = []
    for path in map(str, paths):
        if path == STDIN or not (glob.has_magic(path) or Path(path).is_dir()):
            found.append(path)
        elif Path(path).is_dir():
            found.extend(_in_directory(Path(path)) or [path])
        elif Path(path).exists():  # a name that merely looks like a pattern
            found.append(path)
        else:
            found.extend(sorted(map(str, _matching(path))) or [path])
    return list(dict.fromkeys(found))


def _matching(pattern: str) -> list[Path]:
    anchor = Path(pattern).anchor
    return list(Path(anchor or ".").glob(pattern[len(anchor) :]))


def _in_directory(folder: Path) -> list[str]:
    return sorted(str(file) for file in folder.iterdir() if file.name.lower().endswith(SUFFIXES))


def size_of(path: str) -> int | None:
    """Return the bytes on disk, or None when nobody knows."""
    try:
        return None if path == STDIN else Path(path).stat().st_size
    except OSError:
        return 0


@dataclass(slots=True)
class Source:
    """An open file: its first bytes told what it is.

    ``unusable`` says what is wrong with a file of a known but useless form.
    """

    name: str
    raw: BinaryIO
    stream: BinaryIO
    is_packed: bool
    is_parquet: bool
    unusable: str | None
    counter: _Counted
    trouble: str | None = None

    def read(self, size: int) -> bytes:
        """Return up to ``size`` bytes, unpacked; nothing at the end.

        Raises
        ------
        DamagedSourceError
            If what is left cannot be read or unpacked. All before it has been returned.
        """
        pieces: list[bytes] = []
        while size > 0 and self.trouble is None:
            try:
                piece = self.stream.read(min(size, _PIECE) if self.is_packed else size)
            except OSError as exc:
                self.trouble = _plain(exc)
                break
            if not piece:
                break
            pieces.append(piece)
            size -= len(piece)
        if self.trouble is not None and not pieces:
            raise DamagedSourceError(self.trouble)
        return pieces[0] if len(pieces) == 1 else b"".join(pieces)

    @property
    def consumed(self) -> int:
        """Bytes taken from the disk so far."""
        return self.counter.count

    def close(self) -> None:
        """Close the file; standard input stays open."""
        self.stream.close()
        if self.raw is not sys.stdin.buffer:
            self.raw.close()


class _Counted(io.RawIOBase):
    """A file that begins with bytes already read, and counts what is taken from it."""

    def __init__(self, head: bytes, rest: BinaryIO) -> None:
        self._head, self._rest = head, rest
        self.count = 0

    def readable(self) -> bool:
        return True

    def read(self, size: int = -1) -> bytes:
        data, self._head = self._head, b""
        data += self._rest.read(-1 if size < 0 else max(0, size - len(data)))
        self.count += len(data)
        return data


def open_source(path: str) -> Source:
    """Open a file, or standard input for ``-``.

    Raises
    ------
    OSError
        If there is no such file, or it may not be read.
    """
    raw: BinaryIO = sys.stdin.buffer if path == STDIN else Path(path).open("rb")  # noqa: SIM115
    name = "standard input" if path == STDIN else Path(path).name
    head = raw.read(16)
    counter = _Counted(head, raw)
    packing = _packing(head)
    stream = cast(BinaryIO, counter)
    if packing:
        stream = pa.CompressedInputStream(pa.PythonFile(counter, mode="r"), packing)
    form = _known_form(head)
    return Source(name, raw, stream, packing is not None, head[:4] == _PARQUET, form, counter)


def known_form(head: bytes) -> str | None:
    """Return what a file that begins so is, when it is none that can be loaded."""
    return _known_form(head)


def _known_form(head: bytes) -> str | None:
    return next((told for magic, told in _KNOWN_FORMS.items() if head.startswith(magic)), None)


def _packing(head: bytes) -> str | None:
    if head.startswith(_GZIP):
        return "gzip"
    return "zstd" if head.startswith(_ZSTD) else None


def _plain(exc: OSError) -> str:
    text = str(exc)
    if "Truncated" in text:
        return "the compressed file ends early"
    if "decompress" in text or "inflate" in text:
        return "the compressed file is damaged"
    return exc.strerror or text
