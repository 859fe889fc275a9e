"""Which database of time zones tells the local times: the machine's own, or the library's."""

from __future__ import annotations

import hashlib
import zoneinfo
from importlib import metadata, resources
from pathlib import Path

SYSTEM, LIBRARY = "the system", "the tzdata library"


def zone_version(zone: zoneinfo.ZoneInfo) -> str:
    """Return version and source of the rules by which a zone's local times are told.

    `zoneinfo` takes the machine's files where there are any, whatever library is installed. The
    digest is of the rules of this zone: where two of them agree, so do all local times.

    Parameters
    ----------
    zone : ZoneInfo
        With a key, as every site has one.
    """
    for folder in map(Path, zoneinfo.TZPATH):
        path = folder.joinpath(zone.key)
        if path.is_file():
            return _told(_system_version(folder), SYSTEM, path.read_bytes())
    *folders, name = zone.key.split("/")
    place = resources.files(".".join(("tzdata", "zoneinfo", *folders))).joinpath(name)
    return _told(metadata.version("tzdata"), LIBRARY, place.read_bytes())


def _told(version: str, source: str, rules: bytes) -> str:
    return f"{version} of {source}, {hashlib.sha256(rules).hexdigest()[:16]}"


def _system_version(folder: Path) -> str:
    """Return the version that a folder of zones tells of itself, as far as it does."""
    named = folder / "+VERSION"
    if named.is_file():
        return named.read_text("ascii", "replace").strip()[:20]
    listed = folder / "tzdata.zi"
    if listed.is_file():
        with listed.open(encoding="ascii", errors="replace") as file:
            first = file.readline(100)
        if first.startswith("# version "):
            return first.removeprefix("# version ").strip()[:20]
    return "unknown version"
