"""MANIFEST: the name, SHA-256 and size of every other file. It is what a signature is of.

It is a file that ``sha256sum --check MANIFEST`` reads, so nobody needs Bondtrail to check the
hashes of an unpacked package: what begins with ``#`` is skipped by it.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from analytics.evidence.archive import Archive, Member
from analytics.evidence.faults import UnreadableError

NAME = "MANIFEST"
SIGNATURE = "MANIFEST.sig"
SIGNER = "signer.pem"

_HEAD = """\
# Bondtrail evidence, format 1
# To check without Bondtrail, where this is unpacked: sha256sum --check MANIFEST
# Each file has a line with its size, and the SHA-256 of how it lies in the zip.
"""
_ENTRY = re.compile(
    r"# size (?P<size>0|[1-9]\d{0,11}) packed (?P<packed>[0-9a-f]{64})\n"
    r"(?P<sha256>[0-9a-f]{64})  (?P<name>[A-Za-z0-9./_-]+)\n",
    re.ASCII,
)


@dataclass(frozen=True, slots=True)
class Entry:
    """What is said of one file; ``packed`` is the SHA-256 of how it lies in the zip."""

    size: int
    packed: str
    sha256: str


def sha256(content: bytes) -> str:
    """Return the SHA-256 in hexadecimal (FIPS 180-4)."""
    return hashlib.sha256(content).hexdigest()


def manifest(members: Iterable[Member]) -> bytes:
    """Return the content of MANIFEST for all other members of a package."""
    return _rendered({item.name: _entry(item) for item in members})


def _entry(item: Member) -> Entry:
    return Entry(len(item.content), sha256(item.packed), sha256(item.content))


def _rendered(entries: Mapping[str, Entry]) -> bytes:
    lines = [_HEAD]
    for name, entry in sorted(entries.items()):
        lines.append(f"# size {entry.size} packed {entry.packed}\n{entry.sha256}  {name}\n")
    return "".join(lines).encode("ascii")


def parse_manifest(content: bytes) -> dict[str, Entry]:
    """Return the entries by name.

    Raises
    ------
    UnreadableError
        If it is not written as `manifest` writes it.
    """
    text = content.decode("ascii", errors="replace")
    entries = {
        found["name"]: Entry(int(found["size"]), found["packed"], found["sha256"])
        for found in _ENTRY.finditer(text)
    }
    if _rendered(entries) != content:
        raise UnreadableError("MANIFEST is not written as a manifest of format 1")
    return entries


def differences(entries: Mapping[str, Entry], archive: Archive) -> Iterator[str]:
    """Yield what of an archive is not as its MANIFEST says, a sentence each."""
    found = {item.name: item for item in archive.members}
    for name in sorted(set(entries) - set(found)):
        yield f"{name} is missing: MANIFEST names it"
    for name in sorted(set(found) - set(entries) - {NAME, SIGNATURE}):
        yield f"{name} is not named in MANIFEST"
    for name in sorted(set(found) & set(entries)):
        said, item = entries[name], found[name]
        if said.sha256 != sha256(item.content):
            yield f"{name} was changed: its SHA-256 is not the one in MANIFEST"
        elif said.size != len(item.content):
            yield f"{name} has {len(item.content)} bytes, MANIFEST says {said.size}"
        elif archive.flaw is None and said.packed != sha256(item.packed):
            yield f"{name} is packed in another way than it was written"
