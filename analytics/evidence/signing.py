"""Signatures: Ed25519 (RFC 8032), with keys in PEM files as OpenSSL writes them.

The signature is 64 bytes over the content of MANIFEST, so that anyone can check it::

    openssl pkeyutl -verify -pubin -inkey public.pem -rawin -in MANIFEST -sigfile MANIFEST.sig
"""

from __future__ import annotations

from pathlib import Path

from cryptography.exceptions import InvalidSignature, UnsupportedAlgorithm
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    PublicFormat,
    load_pem_private_key,
    load_pem_public_key,
)

from analytics.evidence.faults import KeyFileError
from analytics.evidence.manifest import sha256

__all__ = [
    "Ed25519PrivateKey",
    "Ed25519PublicKey",
    "fingerprint",
    "is_signed_by",
    "private_key",
    "public_key",
    "public_pem",
    "read_private_key",
    "read_public_key",
]

MOST_KEY = 16 * 2**10
"""Bytes of a key file."""

MAKE_ONE = "Make one: openssl genpkey -algorithm ed25519 -out key.pem"
TAKE_PUBLIC = "Take its public part: openssl pkey -in key.pem -pubout -out public.pem"


def read_private_key(path: Path, password: bytes | None = None) -> Ed25519PrivateKey:
    """Return the private key of a PEM file.

    Raises
    ------
    KeyFileError
        If it is none, is not Ed25519, or is encrypted and the password does not open it.
    OSError
        If it cannot be read.
    """
    return private_key(_content(path), str(path), password)


def private_key(pem: bytes, source: str, password: bytes | None = None) -> Ed25519PrivateKey:
    """Return the private key of a PEM text; ``source`` names it in errors.

    Raises
    ------
    KeyFileError
        As `read_private_key` does.
    """
    if b"PUBLIC KEY" in pem:
        raise KeyFileError(f"{source} is a public key: to sign takes the private one")
    encrypted = b"ENCRYPTED" in pem
    if encrypted and not password:
        raise KeyFileError(f"{source} is encrypted and no password is given")
    try:
        key = load_pem_private_key(pem, password if encrypted else None)
    except (ValueError, TypeError, UnsupportedAlgorithm) as exc:
        if encrypted:
            raise KeyFileError(f"{source}: the password does not open this key") from exc
        raise KeyFileError(f"{source} is no private key in PEM", MAKE_ONE) from exc
    if not isinstance(key, Ed25519PrivateKey):
        raise KeyFileError(f"{source} is a key of another kind than Ed25519", MAKE_ONE)
    return key


def read_public_key(path: Path) -> Ed25519PublicKey:
    """Return the public key of a PEM file.

    Raises
    ------
    KeyFileError
        If it is none, or not Ed25519.
    OSError
        If it cannot be read.
    """
    return public_key(_content(path), str(path))


def public_key(pem: bytes, source: str) -> Ed25519PublicKey:
    """Return the public key of a PEM text; ``source`` names it in errors.

    Raises
    ------
    KeyFileError
        If it is none, or not Ed25519.
    """
    if b"PRIVATE KEY" in pem:
        raise KeyFileError(f"{source} is a private key: to check takes the public one", TAKE_PUBLIC)
    try:
        key = load_pem_public_key(pem)
    except (ValueError, TypeError, UnsupportedAlgorithm) as exc:
        raise KeyFileError(f"{source} is no public key in PEM", TAKE_PUBLIC) from exc
    if not isinstance(key, Ed25519PublicKey):
        raise KeyFileError(f"{source} is a key of another kind than Ed25519")
    return key


def public_pem(key: Ed25519PublicKey) -> bytes:
    """Return a public key as a PEM text."""
    return key.public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo)


def fingerprint(key: Ed25519PublicKey) -> str:
    """Return the SHA-256 of a public key's 32 bytes: what to compare with its owner's."""
    return sha256(key.public_bytes_raw())


def is_signed_by(key: Ed25519PublicKey, signature: bytes, content: bytes) -> bool:
    """Tell whether a signature is this key's, over this content."""
    try:
        key.verify(signature, content)
    except InvalidSignature:
        return False
    return True


def _content(path: Path) -> bytes:
    with path.open("rb") as file:
        content = file.read(MOST_KEY + 1)
    if len(content) > MOST_KEY:
        raise KeyFileError(f"{path} is larger than any key", MAKE_ONE)
    return content
