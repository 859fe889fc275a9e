"""The address of a broker, and how to come in."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal
from urllib.parse import SplitResult, unquote, urlsplit

from bondtrail.settings import hide_password_of
from ingest.live.trouble import BrokerError

Version = Literal["5", "3.1.1"]

PORTS = {"mqtt": 1883, "mqtts": 8883}
_HOW = "write mqtt://HOST:PORT, or mqtts://HOST:PORT for TLS"
_ENCODED = (
    "; in a password that stands in it / is written %2F, ? is %3F, # is %23 and [ is %5B, or give "
    "it by BONDTRAIL_BROKER_PASSWORD"
)


@dataclass(frozen=True, slots=True)
class Broker:
    """A broker, and how to come in.

    Attributes
    ----------
    host, port : str, int
        Where it listens.
    is_tls : bool
        Speak TLS to it.
    user, password : str or None
        To sign in with; the password is never shown.
    ca : Path or None
        Certificates of the authorities to trust (PEM); the system's when None.
    cert, key : Path or None
        Certificate and key of this client (PEM).
    version : str
        Of MQTT: ``5`` or ``3.1.1``.
    """

    host: str
    port: int
    is_tls: bool = False
    user: str | None = None
    password: str | None = field(default=None, repr=False)
    ca: Path | None = None
    cert: Path | None = None
    key: Path | None = None
    version: Version = "5"

    @property
    def where(self) -> str:
        """The address as it may be shown."""
        user = f"{self.user}@" if self.user else ""
        host = f"[{self.host}]" if ":" in self.host else self.host
        return f"{'mqtts' if self.is_tls else 'mqtt'}://{user}{host}:{self.port}"


def parse_broker(
    url: str,
    *,
    user: str | None = None,
    password: str | None = None,
    ca: Path | None = None,
    cert: Path | None = None,
    key: Path | None = None,
    version: Version = "5",
) -> Broker:
    """Return the broker that a URL names.

    Parameters
    ----------
    url : str
        ``mqtt://[user[:password]@]HOST[:PORT]`` or ``mqtts://``.
    user, password : str, optional
        Where the URL has none.

    Raises
    ------
    BrokerError
        If the URL names no broker, or what was given does not go together.
    """
    parts, port = _split(url)
    is_tls = parts.scheme == "mqtts"
    if not is_tls and (ca or cert or key):
        raise _wrong(url, "--ca, --cert and --key go with mqtts://")
    if (cert is None) != (key is None):
        raise _wrong(url, "--cert and --key go together: name both files")
    user = unquote(parts.username) if parts.username else user
    password = unquote(parts.password) if parts.password else password
    if password is not None and user is None:
        raise _wrong(
            url,
            "there is a password and no user: write mqtt://USER@HOST, or set BONDTRAIL_BROKER_USER",
        )
    host = parts.hostname or ""
    return Broker(host, port, is_tls, user, password, ca, cert, key, version)


def _split(url: str) -> tuple[SplitResult, int]:
    """Return the parts of a URL and its port."""
    if re.search(r"[\x00-\x20\x7f]", url):
        raise _wrong(url, f"a broker's address holds no space: {_HOW}")
    try:
        parts = urlsplit(url)
        port = parts.port
    except ValueError:
        # What is wrong in its own words may quote a part of the password.
        raise _wrong(url, f"that is no address of a broker: {_HOW}{_hint(url)}") from None
    if parts.scheme not in PORTS or not parts.hostname:
        raise _wrong(url, f"that is no address of a broker: {_HOW}{_hint(url)}")
    if parts.path not in ("", "/") or parts.query or parts.fragment:
        raise _wrong(url, f"nothing may follow the port of a broker: {_HOW}{_hint(url)}")
    if port == 0:
        raise _wrong(url, f"there is no port 0 to connect to: {_HOW}")
    return parts, port or PORTS[parts.scheme]


def _hint(url: str) -> str:
    """Return how to write a password, where there may be one."""
    return _ENCODED if "@" in url else ""


def _wrong(url: str, what: str) -> BrokerError:
    return BrokerError(hide_password_of(url), what, is_lasting=True)
