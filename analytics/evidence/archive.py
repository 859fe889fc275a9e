"""The zip of a package: one layout only, so that every byte of it can be told again.

A package is written in one way: members by name, no dates, no attributes, nothing between or
behind them. So the whole file follows from the names and contents of its members, and any byte
that differs is seen. Reading takes any zip, so that it can be said what is wrong with one; sizes
are bounded, and nothing is ever written to a disk.
"""

from __future__ import annotations

import io
import re
import struct
import zipfile
import zlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from analytics.evidence.faults import EvidenceError, UnreadableError

MOST_MEMBERS = 200
MOST_ARCHIVE = 512 * 2**20
MOST_CONTENT = 1024 * 2**20
"""Bytes of the file, and of all members together when unpacked."""

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]*(?:[./][A-Za-z0-9_-]+){0,4}\Z", re.ASCII)
"""Letters, digits and folders: no path that leaves where it is unpacked."""

_STORED, _DEFLATED = 0, 8
_AS_IT_IS = (".parquet", ".sig", "MANIFEST")
"""Ends of names that are not compressed: they are already, or are to be seen in the file."""

_VERSION, _UNIX = 20, 3
_DAY_ONE = 0x21  # 1980-01-01, the first day that a zip can tell
_PLAIN_FILE = 0o100644 << 16
_LOCAL = struct.Struct("<4s5H3I2H")
_CENTRAL = struct.Struct("<4s6H3I5H2I")
_END = struct.Struct("<4s4H2IH")


@dataclass(frozen=True, slots=True)
class Member:
    """One file of a package: its content, and the same as it lies in the zip."""

    name: str
    content: bytes
    packed: bytes

    @property
    def crc(self) -> int:
        """The checksum that a zip keeps."""
        return zlib.crc32(self.content)


@dataclass(frozen=True, slots=True)
class Archive:
    """What was read from a zip.

    Attributes
    ----------
    members : tuple of Member
        In the order of the file.
    flaw : str or None
        How the file differs from what `pack` writes of these members; None where it does not.
    """

    members: tuple[Member, ...]
    flaw: str | None

    def contents(self) -> dict[str, bytes]:
        """Return the contents by name."""
        return {member.name: member.content for member in self.members}


def member(name: str, content: bytes) -> Member:
    """Return a member, packed as `pack` wants it.

    Raises
    ------
    ValueError
        If the name is none for a package.
    """
    if not _NAME.match(name):
        raise ValueError(f"no name for a file of a package: {name!r}")
    return Member(name, content, content if _is_stored(name) else _deflated(content))


def pack(members: Iterable[Member]) -> bytes:
    """Return the zip of some members, by name: the same members give the same bytes.

    Raises
    ------
    EvidenceError
        If they are more or larger than a package may be.
    """
    ordered = sorted(members, key=lambda item: item.name)
    if len(ordered) > MOST_MEMBERS:
        raise EvidenceError(f"{len(ordered)} files: a package holds {MOST_MEMBERS}")
    if sum(len(item.content) for item in ordered) > MOST_CONTENT:
        raise EvidenceError(
            f"the package would hold more than {MOST_CONTENT // 2**20} MiB",
            "Take a shorter --margin.",
        )
    packed = _layout(ordered)
    if len(packed) > MOST_ARCHIVE:
        raise EvidenceError(
            f"the package would be larger than {MOST_ARCHIVE // 2**20} MiB",
            "Take a shorter --margin.",
        )
    return packed


def _is_stored(name: str) -> bool:
    return name.endswith(_AS_IT_IS)


def _deflated(content: bytes) -> bytes:
    packer = zlib.compressobj(6, zlib.DEFLATED, -zlib.MAX_WBITS)
    return packer.compress(content) + packer.flush()


def _layout(members: Sequence[Member]) -> bytes:
    """Return the bytes of a zip with these members in this order."""
    parts, directory, at = [], [], 0
    for item in members:
        name = item.name.encode("ascii")
        method = _STORED if _is_stored(item.name) else _DEFLATED
        told = (0, method, 0, _DAY_ONE, item.crc, len(item.packed), len(item.content), len(name))
        parts += [_LOCAL.pack(b"PK\3\4", _VERSION, *told, 0), name, item.packed]
        made_by = _UNIX << 8 | _VERSION
        directory += [
            _CENTRAL.pack(b"PK\1\2", made_by, _VERSION, *told, 0, 0, 0, 0, _PLAIN_FILE, at),
            name,
        ]
        at += _LOCAL.size + len(name) + len(item.packed)
    count, length = len(members), sum(map(len, directory))
    return b"".join((*parts, *directory, _END.pack(b"PK\5\6", 0, 0, count, count, length, at, 0)))


def read_archive(path: Path) -> bytes:
    """Return the bytes of a package's file.

    Raises
    ------
    UnreadableError
        If it is larger than any package.
    OSError
        If it cannot be read.
    """
    with path.open("rb") as file:
        data = file.read(MOST_ARCHIVE + 1)
    if len(data) > MOST_ARCHIVE:
        raise UnreadableError(f"larger than {MOST_ARCHIVE // 2**20} MiB: no package")
    return data


def unpack(data: bytes) -> Archive:
    """Return what is in a zip, in memory.

    Raises
    ------
    UnreadableError
        If it is none, or one that is no package: damaged, encrypted, too large when unpacked,
        with names that are no plain relative path, or with one name twice.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as opened:
            infos = _sound(opened.infolist())
            members = tuple(_read(opened, info, data) for info in infos)
    except UnreadableError:
        raise
    except _BROKEN as exc:
        raise UnreadableError(f"not a zip that can be read: {_said(exc)}") from exc
    return Archive(members, _flaw(members, data))


_BROKEN = (
    zipfile.BadZipFile,
    zlib.error,
    EOFError,
    OSError,
    ValueError,
    NotImplementedError,
    RuntimeError,
    OverflowError,
    struct.error,
)
"""What the zip reader raises at what is no zip, by experience."""


def _said(exc: BaseException) -> str:
    return " ".join(str(exc).split())[:200] or type(exc).__name__


def _sound(infos: Sequence[zipfile.ZipInfo]) -> Sequence[zipfile.ZipInfo]:
    """Return the entries if what they claim is within bounds."""
    if len(infos) > MOST_MEMBERS:
        raise UnreadableError(f"{len(infos)} files: a package holds {MOST_MEMBERS} at most")
    seen = set()
    for info in infos:
        if not _NAME.match(info.orig_filename):
            raise UnreadableError(f"a file named {info.orig_filename[:80]!r}: no name of a package")
        if info.orig_filename in seen:
            raise UnreadableError(f"two files named {info.orig_filename}")
        seen.add(info.orig_filename)
        if info.flag_bits & 1 or info.compress_type not in (_STORED, _DEFLATED):
            raise UnreadableError(f"{info.orig_filename} is encrypted or packed in another way")
    if sum(info.file_size for info in infos) > MOST_CONTENT:
        raise UnreadableError(f"more than {MOST_CONTENT // 2**20} MiB when unpacked: no package")
    return infos


def _read(opened: zipfile.ZipFile, info: zipfile.ZipInfo, data: bytes) -> Member:
    """Return a member; its checksum and its length are checked, and no more is unpacked."""
    with opened.open(info) as file:
        content = file.read(info.file_size + 1)
    if len(content) != info.file_size:
        raise UnreadableError(f"{info.filename} is not of the length that the zip tells")
    begin = info.header_offset + _LOCAL.size + len(info.orig_filename)
    return Member(info.orig_filename, content, data[begin : begin + info.compress_size])


def _flaw(members: Sequence[Member], data: bytes) -> str | None:
    """Return how a file differs from the one layout, or None."""
    expected = _layout(sorted(members, key=lambda item: item.name))
    if expected == data:
        return None
    shared = min(len(expected), len(data))
    place = next((k for k in range(shared) if expected[k] != data[k]), shared)
    return f"the zip is not as it was written, from byte {place:,} on"
