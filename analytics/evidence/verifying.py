"""Checking a package: by itself, without a store, and without writing anything."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Any

from analytics.evidence import documents, manifest, signing
from analytics.evidence.archive import Archive, read_archive, unpack
from analytics.evidence.building import PAGE, derived
from analytics.evidence.chain import broken_links
from analytics.evidence.documents import About, events_csv
from analytics.evidence.faults import EvidenceError, KeyFileError, UnreadableError
from analytics.evidence.gathering import Gathered
from analytics.evidence.opened import Opened, opened
from analytics.evidence.page import page
from analytics.evidence.readings import csv
from analytics.evidence.rows import differing, parse_json, same
from bondtrail import __version__
from bondtrail.results import RULES_VERSION


class Grade(StrEnum):
    """What a check came to."""

    GOOD = "good"
    WRONG = "wrong"
    UNTOLD = "not told"
    """It cannot tell: not wrong, and no proof of anything."""


@dataclass(frozen=True, slots=True)
class Check:
    """One thing that was checked, and what it came to, in sentences."""

    about: str
    grade: Grade
    said: Sequence[str]


@dataclass(frozen=True, slots=True)
class Verification:
    """What the check of a package came to.

    Attributes
    ----------
    sha256 : str
        Of the zip.
    manifest_sha256 : str
        Of its MANIFEST.
    transfer : str or None
        What it is about, as far as that can be read.
    checks : sequence of Check
        In the order in which they rest on each other.
    """

    sha256: str
    manifest_sha256: str
    transfer: str | None
    checks: Sequence[Check]

    @property
    def sound(self) -> bool:
        """Whether nothing is wrong."""
        return all(check.grade is not Grade.WRONG for check in self.checks)


def verify(
    path: Path, *, key: signing.Ed25519PublicKey | None = None, expected: str | None = None
) -> Verification:
    """Check a package.

    Parameters
    ----------
    path : Path
        Its file.
    key : Ed25519PublicKey, optional
        By which it should be signed.
    expected : str, optional
        The SHA-256 of the zip or of its MANIFEST, as it was kept elsewhere; in hexadecimal.

    Raises
    ------
    UnreadableError
        If it is no package that can be read.
    OSError
        If the file cannot be read.
    """
    return verify_bytes(read_archive(path), key=key, expected=expected)


def verify_bytes(
    data: bytes, *, key: signing.Ed25519PublicKey | None = None, expected: str | None = None
) -> Verification:
    """Check the bytes of a package; see `verify`."""
    archive = unpack(data)
    files = archive.contents()
    if manifest.NAME not in files:
        raise UnreadableError("no MANIFEST in it: no package of evidence")
    digests = {"the zip": manifest.sha256(data), "MANIFEST": manifest.sha256(files[manifest.NAME])}
    checks = [
        _of_layout(archive),
        _of_files(archive, files),
        _of_signature(files, key),
        _of_digest(digests, expected),
    ]
    transfer = None
    if checks[1].grade is Grade.GOOD:
        content, transfer = _of_content(files)
        checks += content
    else:
        checks.append(
            Check("content", Grade.UNTOLD, ["Not looked at: files are not those of MANIFEST."])
        )
    return Verification(digests["the zip"], digests["MANIFEST"], transfer, checks)


def _graded(about: str, wrong: Sequence[str], good: str) -> Check:
    return Check(about, Grade.WRONG if wrong else Grade.GOOD, wrong or [good])


def _of_layout(archive: Archive) -> Check:
    wrong = [] if archive.flaw is None else [f"{archive.flaw}."]
    return _graded("zip", wrong, "Every byte is where a package has it.")


def _of_files(archive: Archive, files: Mapping[str, bytes]) -> Check:
    try:
        entries = manifest.parse_manifest(files[manifest.NAME])
    except UnreadableError as exc:
        return Check("files", Grade.WRONG, [f"{exc}."])
    wrong = [f"{each}." for each in manifest.differences(entries, archive)]
    return _graded("files", wrong, f"{len(entries)} files are as MANIFEST says, and no others.")


REBUILT = (
    "Somebody who can write all of it could have built all of it anew, MANIFEST too, without a "
    "contradiction: compare its SHA-256 with one that was kept elsewhere."
)


def _of_signature(files: Mapping[str, bytes], key: signing.Ed25519PublicKey | None) -> Check:
    about = "signature"
    signature, pem = files.get(manifest.SIGNATURE), files.get(manifest.SIGNER)
    if signature is None:
        if pem is not None:
            return Check(about, Grade.WRONG, ["It was signed, and the signature was taken out."])
        if key is not None:
            return Check(about, Grade.WRONG, ["It is not signed, by this key or any other."])
        return Check(about, Grade.UNTOLD, [f"Not signed. {REBUILT}"])
    if pem is None:
        return Check(about, Grade.WRONG, ["There is a signature, and no signer.pem with it."])
    try:
        enclosed = signing.public_key(pem, manifest.SIGNER)
    except KeyFileError as exc:
        return Check(about, Grade.WRONG, [f"{exc}."])
    if not signing.is_signed_by(enclosed, signature, files[manifest.NAME]):
        return Check(about, Grade.WRONG, ["The signature does not fit MANIFEST and signer.pem."])
    return _of_signer(enclosed, key)


def _of_signer(enclosed: signing.Ed25519PublicKey, key: signing.Ed25519PublicKey | None) -> Check:
    """Return what a signature that fits the enclosed key tells."""
    by = signing.fingerprint(enclosed)
    if key is None:
        said = [
            f"It fits the enclosed key, {by}.",
            "That key came with the package and proves nothing by itself: give the signer's own "
            f"by --key, or compare this with what the signer says it is. Until then: {REBUILT}",
        ]
        return Check("signature", Grade.UNTOLD, said)
    if signing.fingerprint(key) != by:
        other = f"It is signed by another key, {by}, not by {signing.fingerprint(key)}."
        return Check("signature", Grade.WRONG, [other])
    return Check("signature", Grade.GOOD, [f"MANIFEST is signed by the given key, {by}."])


def _of_digest(digests: Mapping[str, str], expected: str | None) -> Check:
    if expected is None:
        said = "None was given to compare with: keep the two below elsewhere."
        return Check("SHA-256", Grade.UNTOLD, [said])
    for what, digest in digests.items():
        if expected.strip().lower() == digest:
            return Check("SHA-256", Grade.GOOD, [f"The given one is that of {what}."])
    return Check("SHA-256", Grade.WRONG, ["The given one is neither of the zip nor of MANIFEST."])


_NONSENSE = (
    ArithmeticError, AttributeError, EvidenceError, LookupError, MemoryError, RecursionError,
    TypeError, ValueError,
)  # fmt: skip
"""What may be raised at content that no store could have held."""


def _of_content(files: Mapping[str, bytes]) -> tuple[list[Check], str | None]:
    """Return the checks of what the files say, and what they are about."""
    try:
        package = opened(files)
    except _NONSENSE as exc:
        return [Check("content", Grade.WRONG, [f"{_why(exc)}."])], None
    checks = [_of_readings(package, files), _of_reviews(package)]
    if package.about.rules != RULES_VERSION:
        said = (
            f"Judged by version {package.about.rules} of the rules, this is version "
            f"{RULES_VERSION}: they cannot be run again here. Take a Bondtrail like the one that "
            f"made it, {package.about.software}."
        )
        return [*checks, Check("rules", Grade.WRONG, [said])], package.about.transfer
    try:
        again = package.again()
        checks += [_of_rules(package, again), *_of_the_rest(package, again, files)]
    except _NONSENSE as exc:
        said = f"The rules cannot be run on what is enclosed: {_why(exc)}."
        checks.append(Check("rules", Grade.WRONG, [said]))
    return checks, package.about.transfer


def _why(exc: Exception) -> str:
    if isinstance(exc, EvidenceError):
        return str(exc)
    return f"no store could have held it ({type(exc).__name__})"


def _of_readings(package: Opened, files: Mapping[str, bytes]) -> Check:
    wrong, count = [], 0
    for role, readings in package.readings.items():
        count += len(readings.samples)
        if files.get(f"readings/{role}.csv") != csv(readings):
            wrong.append(f"readings/{role}.csv does not say what readings/{role}.parquet says.")
    return _graded("readings", wrong, f"{count:,} readings; CSV and Parquet say the same.")


def _of_reviews(package: Opened) -> Check:
    log = package.documents["reviews.json"]
    if not isinstance(log, list):
        return Check("reviews", Grade.WRONG, ["reviews.json: expected a list."])
    try:
        wrong = [f"{each}." for each in broken_links(log, "reviews.json")]
    except UnreadableError as exc:
        wrong = [f"{exc}."]
    good = f"{len(log)} in the log, each follows the one before it." if log else "There are none."
    return _graded("reviews", wrong, good)


def _of_rules(package: Opened, again: Gathered) -> Check:
    """Return whether the rules give again what is enclosed."""
    wrong = [f"{each}." for each in again.differences if not each.beyond]
    wrong += [f"stored readings could not be read: {each}." for each in package.about.damaged]
    if wrong:
        return Check("rules", Grade.WRONG, wrong)
    beyond = [str(each) for each in again.differences if each.beyond]
    told = ", ".join(
        f"{len(rows)} {sort if len(rows) != 1 else sort[:-1]}"
        for sort, rows in package.rows.items()
    )
    said = [f"Version {RULES_VERSION}, run again on the readings, gives what is enclosed: {told}."]
    said += [f"Not run again: {each}." for each in beyond]
    return Check("rules", Grade.GOOD, said)


_UNLISTED = {manifest.NAME, manifest.SIGNATURE, manifest.SIGNER, PAGE}


def _of_the_rest(package: Opened, again: Gathered, files: Mapping[str, bytes]) -> Iterator[Check]:
    """Yield whether documents, drawings and the page follow from the rest."""
    told = documents.told(again)
    told["replay.json"] |= {"typical": package.documents["replay.json"].get("typical")}
    told["reviews.json"] = package.documents["reviews.json"]
    made = derived(again, told)
    yield _of_documents(package, documents.about(again, package.about.margin_s), made, files)
    yield _of_page(package, made, files)


def _of_documents(
    package: Opened, about: About, made: Mapping[str, bytes], files: Mapping[str, bytes]
) -> Check:
    if package.about.software != __version__:
        said = (
            f"Made by Bondtrail {package.about.software}, this is {__version__}, which may tell "
            "the same in other words: whether events, estimate and coverage follow from the "
            "readings cannot be told."
        )
        return Check("documents", Grade.UNTOLD, [said])
    wrong = [
        f"{name} does not follow from the readings, results and papers: {', '.join(fields)}."
        for name, says in package.documents.items()
        if (fields := _otherwise(says, parse_json(made[name], name)))
    ]
    of_versions = {"software": package.about.software, "versions": package.about.versions}
    fields = _otherwise(
        package.about.model_dump(mode="json"),
        about.model_copy(update=of_versions).model_dump(mode="json"),
    )
    if fields:
        wrong.append(f"about.json does not follow from what is enclosed: {', '.join(fields)}.")
    if events_csv(package.documents["replay.json"]) != files.get("events.csv"):
        wrong.append("events.csv does not say what replay.json says.")
    wrong += [f"{name} is no file of a package." for name in sorted(_strange(package, made, files))]
    good = "Events, estimate, coverage and limits follow from what is enclosed."
    return _graded("documents", wrong, good)


def _strange(package: Opened, made: Mapping[str, bytes], files: Mapping[str, bytes]) -> set[str]:
    """Return the names of files that no package of this content has."""
    readings = {
        f"readings/{role}.{form}" for role in package.readings for form in ("parquet", "csv")
    }
    sites = {entry.file for entry in package.about.sites}
    return set(files) - _UNLISTED - {"README.txt", "about.json", *made, *readings, *sites}


def _otherwise(a: Any, b: Any) -> list[str]:
    """Return under which keys two documents say something else."""
    if isinstance(a, dict) and isinstance(b, dict):
        return differing(a, b)
    return [] if same(a, b) else ["its rows"]


def _of_page(package: Opened, made: Mapping[str, bytes], files: Mapping[str, bytes]) -> Check:
    """Return whether page and drawings are those of the documents: only this software can tell."""
    told = package.about.versions
    here = documents.versions()
    others = [
        f"{name} {told.get(name, 'unknown')}" for name in here if told.get(name) != here[name]
    ]
    if others:
        said = (
            f"Made with {', '.join(others)}, which is not what is here: whether the page and the "
            "drawings are those of the documents cannot be told. Rely on the documents."
        )
        return Check("page", Grade.UNTOLD, [said])
    wrong = [
        f"{name} is not what would be drawn."
        for name in made
        if name.endswith(".svg") and files.get(name) != made[name]
    ]
    if files.get("README.txt") != documents.README.encode():
        wrong.append("README.txt is not that of a package.")
    below = {name: says for name, says in files.items() if name not in _UNLISTED}
    if not wrong and files.get(PAGE) != page(package.about, package.documents, below):
        wrong.append(f"{PAGE} does not say what the other files say.")
    return _graded("page", wrong, "The page and the drawings are those of the documents.")
