"""What goes wrong between us and a broker, said plainly and without a secret."""

from __future__ import annotations

import socket
import ssl

from ingest.errors import IngestError

TAKEN_OVER = 0x8E
"""MQTT 5, section 3.14.2.1: another client came with this client id."""

_REFUSED = {  # MQTT 5, section 3.2.2.2; paho gives the codes of 3.1.1 the same numbers
    0x80: ("the broker refused the connection and does not say why", False),
    0x84: ("the broker does not speak this version: try --mqtt 3.1.1, or 5", True),
    0x85: ("the broker does not accept the client id: name another one by --client-id", True),
    0x86: (
        "the broker refused user and password: check BONDTRAIL_BROKER_USER, and "
        "BONDTRAIL_BROKER_PASSWORD or BONDTRAIL_BROKER_PASSWORD_FILE",
        True,
    ),
    0x87: (
        "the broker does not let this user in: check BONDTRAIL_BROKER_USER, and "
        "BONDTRAIL_BROKER_PASSWORD or BONDTRAIL_BROKER_PASSWORD_FILE, and the rights (ACL) that "
        "the broker gives",
        True,
    ),
    0x88: ("the broker is not available at the moment", False),
    0x89: ("the broker is busy", False),
    0x8A: ("the broker has banned this client: ask whoever runs it", True),
    0x8C: ("the broker wants another way to sign in than user and password", True),
    0x97: ("the broker's quota is used up", False),
    0x9C: ("the broker says to use another one: name that by --broker", True),
    0x9D: ("the broker has moved: name the new one by --broker", True),
    0x9F: ("the broker takes no more connections at the moment", False),
}

_TLS_HINT = "check that the port speaks TLS, and whether the broker wants --cert and --key"


class BrokerError(IngestError):
    """A broker cannot be used.

    Attributes
    ----------
    where : str
        The broker's address, without its password.
    is_lasting : bool
        Waiting does not mend it: a person must change something.
    """

    def __init__(self, where: str, what: str, *, is_lasting: bool = False) -> None:
        super().__init__(())
        self.where = where
        self.what = what
        self.is_lasting = is_lasting

    def __str__(self) -> str:
        return f"{self.where}: {self.what}"


class TakenOverError(BrokerError):
    """Another client came to the broker with our client id."""

    def __init__(self, where: str, client_id: str) -> None:
        super().__init__(
            where,
            f"another client has come with the client id {client_id!r} and this one is out: "
            "stop one of the two, or give each its own by --client-id",
            is_lasting=True,
        )


def refused(where: str, code: int, name: str) -> BrokerError:
    """Return the error of a connection that the broker refused with a reason code."""
    what, lasting = _REFUSED.get(code, (f"the broker refused the connection: {name}", False))
    return BrokerError(where, what, is_lasting=lasting)


def not_subscribed(where: str, filters: dict[str, str]) -> BrokerError:
    """Return the error of subscriptions that the broker refused, each with what it said."""
    told = ", ".join(f"{topic} ({said})" for topic, said in filters.items())
    return BrokerError(
        where,
        f"the broker refused to subscribe {told}: give this user the right to read there (ACL)",
        is_lasting=True,
    )


def from_network(
    where: str, exc: OSError, *, ca: object = None, was_in: bool = False
) -> BrokerError:
    """Return the error behind an exception of a socket or of TLS.

    Parameters
    ----------
    where : str
        The broker's address, without its password.
    exc : OSError
        What the network said.
    ca : object, optional
        Whose signature was asked for.
    was_in : bool
        The broker had let us in on this connection: then the port speaks what it should.
    """
    if isinstance(exc, ssl.SSLCertVerificationError):
        trusted = f"--ca {ca}" if ca else "the system's authorities, as there is no --ca"
        return BrokerError(
            where,
            f"the broker's certificate is not trusted by {trusted}: {exc.verify_message}. "
            "Name the authority's file that signed it, and the broker by a name in it",
            is_lasting=True,
        )
    if isinstance(exc, ssl.SSLError):
        return BrokerError(where, _of_tls(exc), is_lasting=True)
    if isinstance(exc, socket.gaierror):
        return BrokerError(where, f"no address is known of that name ({exc.strerror})")
    if isinstance(exc, TimeoutError):
        return BrokerError(where, "no answer in time: check host, port and firewall")
    if isinstance(exc, ConnectionRefusedError):
        return BrokerError(where, "nobody listens there: check host and port, and that it runs")
    hint = f": {_TLS_HINT}" if where.startswith("mqtts") else ""
    if isinstance(exc, ConnectionResetError) and not hint and not was_in:
        hint = ": if that port speaks TLS, write mqtts://"
    return BrokerError(where, f"the connection failed: {exc.strerror or exc}{hint}")


def _of_tls(exc: ssl.SSLError) -> str:
    reason = (exc.reason or "TLS failed").replace("_", " ").lower()
    if "alert" in reason:
        return (
            f"the broker ended TLS ({reason}): check that --cert and --key are there and are "
            "signed by whom the broker trusts"
        )
    if "wrong version" in reason or "record layer" in reason or "eof" in reason:
        return f"that port does not speak TLS ({reason}): check the port, or use mqtt://"
    return f"TLS failed ({reason}): {_TLS_HINT}"
