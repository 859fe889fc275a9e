"""A package made from a store, and written to a file.

The same state of the store gives the same bytes, wherever and whenever it is made with the same
versions: no clock, no path, no name of a machine or a person goes in but those on record.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from analytics.core.situation import situation
from analytics.evidence import documents, manifest, replaced, signing
from analytics.evidence.archive import member, pack
from analytics.evidence.documents import About
from analytics.evidence.figures import drawings
from analytics.evidence.gathering import MARGIN_S, Gathered, gathered
from analytics.evidence.page import page
from analytics.evidence.readings import csv, parquet, signals_of
from analytics.evidence.rows import json_bytes
from analytics.files import write_files
from bondtrail.times import stamp
from store import Store

PAGE = "evidence.html"


@dataclass(frozen=True, slots=True)
class Package:
    """A package, and what to say of it.

    Attributes
    ----------
    name : str
        A name for its file.
    content : bytes
        The zip.
    sha256, manifest_sha256 : str
        Of the zip and of its MANIFEST: to be kept elsewhere.
    files : int
        How many are in it.
    span : (int, int)
        From the first enclosed reading of any point on, to the end of what is enclosed. [ns]
    station, transfer : str
        What it is about.
    beyond : sequence of str
        Results that reach beyond the enclosed readings, and why, a line each.
    unexplained : sequence of str
        Results that the rules do not give again, a line each. There should be none.
    damaged : sequence of str
        Stored readings that cannot be read, a line each.
    signer : str or None
        The fingerprint of the key that it is signed by.
    """

    name: str
    content: bytes
    sha256: str
    manifest_sha256: str
    files: int
    span: tuple[int, int]
    station: str
    transfer: str
    beyond: Sequence[str]
    unexplained: Sequence[str]
    damaged: Sequence[str]
    signer: str | None


def build(
    store: Store,
    transfer_id: str,
    *,
    margin_s: float = MARGIN_S,
    key: signing.Ed25519PrivateKey | None = None,
) -> Package:
    """Return the evidence of a transfer as a package.

    Parameters
    ----------
    store : Store
        Analysed. It is read in one snapshot and not changed.
    transfer_id : str
        As `bondtrail show transfers` tells it.
    margin_s : float
        Shown on both sides of the transfer, 0 to a week; more readings are enclosed where the
        rules need them. [s]
    key : Ed25519PrivateKey, optional
        Signs the package.

    Raises
    ------
    EvidenceError
        If there is no such transfer, its station is to be analysed first, or the package would be
        too large.
    """
    found = gathered(store, transfer_id, margin_s)
    about = documents.about(found, margin_s)
    files = files_of(found, about)
    if key is not None:
        files[manifest.SIGNER] = signing.public_pem(key.public_key())
    members = [member(name, content) for name, content in files.items()]
    listed = manifest.manifest(members)
    members.append(member(manifest.NAME, listed))
    if key is not None:
        members.append(member(manifest.SIGNATURE, key.sign(listed)))
    content = pack(members)
    return Package(
        name=f"evidence-{found.transfer.station}-{stamp(found.transfer.start)}.zip",
        content=content,
        sha256=manifest.sha256(content),
        manifest_sha256=manifest.sha256(listed),
        files=len(members),
        span=(_first_enclosed(found), found.window.end),
        station=found.transfer.station,
        transfer=found.transfer.id,
        beyond=about.beyond,
        unexplained=about.unexplained,
        damaged=about.damaged,
        signer=None if key is None else signing.fingerprint(key.public_key()),
    )


def _first_enclosed(found: Gathered) -> int:
    """Return when the first enclosed reading is: before the window, of what holds into it. [ns]"""
    firsts = [int(each.samples.time[0]) for each in found.readings.values() if len(each.samples)]
    return min([found.window.start, *firsts])


def files_of(found: Gathered, about: About) -> dict[str, bytes]:
    """Return all files of a package but MANIFEST and what is of a signature, by name."""
    files = {
        "README.txt": documents.README.encode(),
        "about.json": documents.about_bytes(about),
    }
    for role, readings in found.readings.items():
        files[f"readings/{role}.parquet"] = parquet(readings)
        files[f"readings/{role}.csv"] = csv(readings)
    for role, earlier in found.replaced.items():
        files[f"readings/{role}.replaced.parquet"] = replaced.parquet(earlier)
        files[f"readings/{role}.replaced.csv"] = replaced.csv(earlier)
    for entry, (_, site) in zip(about.sites, found.sites, strict=True):
        files[entry.file] = site.text.encode()
    told = documents.told(found)
    files |= derived(found, told)
    return files | {PAGE: page(about, told, files)}


def derived(found: Gathered, told: Mapping[str, Any]) -> dict[str, bytes]:
    """Return the documents and drawings of a package, by name."""
    files = {name: json_bytes(says) for name, says in told.items()}
    files["events.csv"] = documents.events_csv(told["replay.json"])
    signals = signals_of(found.readings, found.replay.station, *found.shown)
    wide = replace(
        found.replay,
        signals=signals,
        now=situation(found.replay.station, signals, found.shown),
    )
    for name, drawn in drawings(wide, found.shown).items():
        files[f"figures/{name}.svg"] = drawn
    return files


def write_package(package: Package, path: Path) -> None:
    """Write a package, in place of an earlier one; no crash leaves half of it.

    Raises
    ------
    OSError
        If it cannot be written.
    """
    write_files({path: package.content}, path)
