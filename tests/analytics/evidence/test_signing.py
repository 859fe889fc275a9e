"""Signatures: the published vectors, and what is said of a key that is none."""

from __future__ import annotations

from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric import ec, x25519
from cryptography.hazmat.primitives.serialization import (
    BestAvailableEncryption,
    Encoding,
    NoEncryption,
    PrivateFormat,
    PublicFormat,
)

from analytics.evidence import signing
from analytics.evidence.faults import KeyFileError
from analytics.evidence.manifest import sha256
from analytics.evidence.signing import Ed25519PrivateKey, Ed25519PublicKey

# RFC 8032, section 7.1: secret key, public key, message, signature.
RFC_8032 = [
    pytest.param(
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "",
        "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e06522490155"
        "5fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b",
        id="test-1",
    ),
    pytest.param(
        "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "72",
        "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da"
        "085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00",
        id="test-2",
    ),
    pytest.param(
        "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
        "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
        "af82",
        "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac"
        "18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a",
        id="test-3",
    ),
]


@pytest.mark.parametrize(("secret", "public", "message", "signature"), RFC_8032)
def test_signatures_are_those_published(
    secret: str, public: str, message: str, signature: str
) -> None:
    seed = bytes.fromhex(secret)
    pem = Ed25519PrivateKey.from_private_bytes(seed).private_bytes(
        Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()
    )
    key = signing.private_key(pem, "key.pem")
    assert key.public_key().public_bytes_raw() == bytes.fromhex(public)
    assert key.sign(bytes.fromhex(message)) == bytes.fromhex(signature)
    mine = signing.public_key(signing.public_pem(key.public_key()), "public.pem")
    assert signing.is_signed_by(mine, bytes.fromhex(signature), bytes.fromhex(message))
    assert not signing.is_signed_by(mine, bytes.fromhex(signature), b"another message")


def test_any_bit_of_a_signature_counts() -> None:
    key = Ed25519PrivateKey.from_private_bytes(bytes(32))
    good = key.sign(b"MANIFEST")
    for bit in range(8 * len(good)):
        bad = bytearray(good)
        bad[bit // 8] ^= 1 << bit % 8
        assert not signing.is_signed_by(key.public_key(), bytes(bad), b"MANIFEST")


@pytest.mark.parametrize("length", [0, 1, 63, 65, 1000])
def test_a_signature_of_another_length_is_none(length: int) -> None:
    key = Ed25519PrivateKey.from_private_bytes(bytes(32)).public_key()
    assert not signing.is_signed_by(key, b"\0" * length, b"MANIFEST")


def test_the_fingerprint_is_the_sha256_of_the_key() -> None:
    raw = bytes.fromhex("d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a")
    assert signing.fingerprint(Ed25519PublicKey.from_public_bytes(raw)) == sha256(raw)


def pem_of(key: object, password: bytes | None = None) -> bytes:
    secret = BestAvailableEncryption(password) if password else NoEncryption()
    told: bytes = key.private_bytes(  # type: ignore[attr-defined]
        Encoding.PEM, PrivateFormat.PKCS8, secret
    )
    return told


MINE = Ed25519PrivateKey.from_private_bytes(bytes(32))
PUBLIC = signing.public_pem(MINE.public_key())
CURVE = ec.generate_private_key(ec.SECP256R1())
OTHER = CURVE.public_key().public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo)


@pytest.mark.parametrize(
    ("pem", "password", "why"),
    [
        pytest.param(b"", None, "no private key in PEM", id="empty"),
        pytest.param(b"\xff\x00nonsense", None, "no private key in PEM", id="no-pem"),
        pytest.param(PUBLIC, None, "is a public key", id="the-public-one"),
        pytest.param(pem_of(CURVE), None, "another kind than Ed25519", id="another-curve"),
        pytest.param(
            pem_of(x25519.X25519PrivateKey.generate()), None, "another kind", id="key-exchange"
        ),
        pytest.param(pem_of(MINE, b"pw"), None, "no password is given", id="no-password"),
        pytest.param(pem_of(MINE, b"pw"), b"no", "does not open", id="wrong-password"),
        pytest.param(pem_of(MINE)[:60], None, "no private key in PEM", id="cut-short"),
    ],
)
def test_a_private_key_that_is_none_is_told(pem: bytes, password: bytes | None, why: str) -> None:
    with pytest.raises(KeyFileError, match=why) as caught:
        signing.private_key(pem, "key.pem", password)
    assert "key.pem" in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("pem", "why"),
    [
        pytest.param(b"", "no public key in PEM", id="empty"),
        pytest.param(pem_of(MINE), "is a private key", id="the-private-one"),
        pytest.param(OTHER, "another kind than Ed25519", id="another-curve"),
        pytest.param(PUBLIC[:50], "no public key in PEM", id="cut-short"),
    ],
)
def test_a_public_key_that_is_none_is_told(pem: bytes, why: str) -> None:
    with pytest.raises(KeyFileError, match=why):
        signing.public_key(pem, "public.pem")


def test_an_encrypted_key_opens_with_its_password() -> None:
    key = signing.private_key(pem_of(MINE, b"pw"), "key.pem", b"pw")
    assert key.private_bytes_raw() == MINE.private_bytes_raw()


def test_a_password_does_no_harm_to_a_key_without_one() -> None:
    key = signing.private_key(pem_of(MINE), "key.pem", b"pw")
    assert key.private_bytes_raw() == MINE.private_bytes_raw()


def test_keys_are_read_from_files(tmp_path: Path) -> None:
    (tmp_path / "key.pem").write_bytes(pem_of(MINE))
    (tmp_path / "public.pem").write_bytes(PUBLIC)
    (tmp_path / "large.pem").write_bytes(b"x" * (signing.MOST_KEY + 1))
    key = signing.read_private_key(tmp_path / "key.pem")
    public = signing.read_public_key(tmp_path / "public.pem")
    assert signing.fingerprint(public) == signing.fingerprint(key.public_key())
    with pytest.raises(KeyFileError, match="larger than any key"):
        signing.read_public_key(tmp_path / "large.pem")
