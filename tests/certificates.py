"""Throw-away certificates for TLS on the loopback."""

from __future__ import annotations

import datetime
import ipaddress
from dataclasses import dataclass
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID


@dataclass(frozen=True)
class Signed:
    """A certificate and its key, in PEM files."""

    certificate: Path
    key: Path


@dataclass(frozen=True)
class Certificates:
    """A broker's certificate for the loopback, a client's, and the authority that signed both.

    ``wrong_ca`` signed neither.
    """

    ca: Path
    wrong_ca: Path
    server: Signed
    client: Signed


def make_certificates(folder: Path, client: str = "listener") -> Certificates:
    """Write certificates that hold for a day into ``folder``."""
    authority = _Authority("Authority of a test")
    other = _Authority("Another authority")
    loopback = x509.SubjectAlternativeName(
        [x509.DNSName("localhost"), x509.IPAddress(ipaddress.ip_address("127.0.0.1"))]
    )
    server = authority.sign("localhost", ExtendedKeyUsageOID.SERVER_AUTH, loopback)
    return Certificates(
        ca=_write(folder / "ca.pem", _pem(authority.certificate)),
        wrong_ca=_write(folder / "wrong-ca.pem", _pem(other.certificate)),
        server=_write_pair(folder, "server", *server),
        client=_write_pair(
            folder, "client", *authority.sign(client, ExtendedKeyUsageOID.CLIENT_AUTH)
        ),
    )


class _Authority:
    def __init__(self, name: str) -> None:
        self._key = ec.generate_private_key(ec.SECP256R1())
        self._name = _named(name)
        self.certificate = (
            self._builder(self._name, self._key.public_key())
            .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
            .add_extension(_key_usage(signs_certificates=True), critical=True)
            .add_extension(
                x509.SubjectKeyIdentifier.from_public_key(self._key.public_key()), critical=False
            )
            .sign(self._key, hashes.SHA256())
        )

    def sign(
        self,
        name: str,
        purpose: x509.ObjectIdentifier,
        *extensions: x509.SubjectAlternativeName,
    ) -> tuple[x509.Certificate, ec.EllipticCurvePrivateKey]:
        key = ec.generate_private_key(ec.SECP256R1())
        builder = (
            self._builder(_named(name), key.public_key())
            .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
            .add_extension(_key_usage(signs_certificates=False), critical=True)
            .add_extension(x509.ExtendedKeyUsage([purpose]), critical=False)
            .add_extension(
                x509.AuthorityKeyIdentifier.from_issuer_public_key(self._key.public_key()),
                critical=False,
            )
        )
        for extension in extensions:
            builder = builder.add_extension(extension, critical=False)
        return builder.sign(self._key, hashes.SHA256()), key

    def _builder(
        self, subject: x509.Name, key: ec.EllipticCurvePublicKey
    ) -> x509.CertificateBuilder:
        now = datetime.datetime.now(datetime.UTC)
        return (
            x509.CertificateBuilder()
            .subject_name(subject)
            .issuer_name(self._name)
            .public_key(key)
            .serial_number(x509.random_serial_number())
            .not_valid_before(now - datetime.timedelta(hours=1))
            .not_valid_after(now + datetime.timedelta(days=1))
        )


def _named(name: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])


def _key_usage(*, signs_certificates: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not signs_certificates,
        key_cert_sign=signs_certificates,
        crl_sign=signs_certificates,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        encipher_only=False,
        decipher_only=False,
    )


def _pem(certificate: x509.Certificate) -> bytes:
    return certificate.public_bytes(serialization.Encoding.PEM)


def _write_pair(
    folder: Path, name: str, certificate: x509.Certificate, key: ec.EllipticCurvePrivateKey
) -> Signed:
    private = key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
    return Signed(
        _write(folder / f"{name}.pem", _pem(certificate)),
        _write(folder / f"{name}.key", private),
    )


def _write(path: Path, data: bytes) -> Path:
    path.write_bytes(data)
    return path
