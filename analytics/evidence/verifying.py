"""Checking a package: by itself, without a store, and without writing anything."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from analytics.evidence import manifest, signing
from analytics.evidence.archive import Archive, read_archive, unpack
from analytics.evidence.checks import Check, Grade, Verification, graded
from analytics.evidence.content import checks_of_content
from analytics.evidence.faults import KeyFileError, UnreadableError


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
        content, transfer = checks_of_content(files)
        checks += content
    else:
        checks.append(
            Check("content", Grade.UNTOLD, ["Not looked at: files are not those of MANIFEST."])
        )
    return Verification(digests["the zip"], digests["MANIFEST"], transfer, checks)


def _of_layout(archive: Archive) -> Check:
    wrong = [] if archive.flaw is None else [f"{archive.flaw}."]
    return graded("zip", wrong, "Every byte is where a package has it.")


def _of_files(archive: Archive, files: Mapping[str, bytes]) -> Check:
    try:
        entries = manifest.parse_manifest(files[manifest.NAME])
    except UnreadableError as exc:
        return Check("files", Grade.WRONG, [f"{exc}."])
    wrong = [f"{each}." for each in manifest.differences(entries, archive)]
    return graded("files", wrong, f"{len(entries)} files are as MANIFEST says, and no others.")


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
