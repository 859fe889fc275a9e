"""paho's client on a socket of ours.

The only place that overrides something private of paho: nothing public lets a client bring its
own socket. paho does the session (connecting, TLS, signing in, subscriptions, keeping alive); the
messages are taken out of the stream before it.
"""

from __future__ import annotations

import socket
import ssl
from typing import Any, TypeVar, cast

from paho.mqtt.client import Client, MQTTv5, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from ingest.live.broker_url import Broker
from ingest.live.cutting import OnMessage, Splitter
from ingest.live.sockets import BufferedSocket
from ingest.live.trouble import BrokerError, from_network

VERSIONS = {"5": MQTTv5, "3.1.1": MQTTv311}
CONNECT_S = 5.0
"""How long to wait for a connection to be made."""


class OwnSocketClient(Client):
    """A client that connects by itself: paho leaves a socket open where TLS fails."""

    tls: ssl.SSLContext | None = None

    def _create_socket(self) -> socket.socket | BufferedSocket:
        sock = socket.create_connection((self.host, self.port), self.connect_timeout)
        if self.tls is None:
            return sock
        try:
            return self.tls.wrap_socket(sock, server_hostname=self.host)
        except BaseException:
            sock.close()
            raise


class BufferedClient(OwnSocketClient):
    """A client whose socket is a `BufferedSocket`, for the loop of whoever drives it."""

    take_message: OnMessage
    """Called with each message of QoS 0 or 1."""
    buffered: BufferedSocket | None = None

    def _create_socket(self) -> BufferedSocket:
        sock = cast(socket.socket, super()._create_socket())
        splitter = Splitter(self.take_message, has_properties=self.protocol == MQTTv5)
        self.buffered = BufferedSocket(sock, splitter)
        return self.buffered


Kind = TypeVar("Kind", bound=OwnSocketClient)


def new_client(
    broker: Broker,
    client_id: str,
    kind: type[Kind],
    *,
    keeps_session: bool,
    acknowledges: bool,
    comes_back: bool = False,
) -> Kind:
    """Return a client that is ready to connect.

    Parameters
    ----------
    broker : Broker
        Where to, and how to come in.
    client_id : str
        As the broker knows it.
    kind : type
        Of client.
    keeps_session : bool
        The broker keeps its session while it is away (MQTT 3.1.1; on MQTT 5 `connect` says so).
    acknowledges : bool
        Messages are acknowledged by whoever takes them, not by paho.
    comes_back : bool
        paho connects again by itself when the connection is lost; its own thread must drive it.

    Raises
    ------
    BrokerError
        If a certificate or key cannot be used.
    """
    version = VERSIONS[broker.version]
    client = kind(
        CallbackAPIVersion.VERSION2,
        client_id=client_id,
        clean_session=None if version == MQTTv5 else not keeps_session,
        protocol=version,
        reconnect_on_failure=comes_back,
        manual_ack=acknowledges,
    )
    client.connect_timeout = CONNECT_S
    if broker.user is not None:
        client.username_pw_set(broker.user, broker.password)
    if broker.is_tls:
        client.tls = tls_context(broker)
    return client


def session_of(client: Client, *, kept_s: int, is_new: bool, **more: int) -> dict[str, Any]:
    """Return what a client that connects says of its session.

    Parameters
    ----------
    client : Client
        On MQTT 3.1.1 there is nothing to say: it is said when the client is made.
    kept_s : int
        How long the broker keeps it while the client is away. [s]
    is_new : bool
        Whether one that the broker has is to be forgotten.
    **more
        Other properties of the packet, by their names (MQTT 5, section 3.1.2.11).
    """
    if client.protocol != MQTTv5:
        return {}
    properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
    for name, value in {"SessionExpiryInterval": kept_s, **more}.items():
        setattr(properties, name, value)
    return {"clean_start": is_new, "properties": properties}


def connect(client: Client, broker: Broker, keepalive_s: int, **session: Any) -> None:
    """Connect a client; ``session`` is that of `session_of`.

    Raises
    ------
    BrokerError
        If the broker cannot be reached.
    """
    try:
        client.connect(broker.host, broker.port, keepalive_s, **session)
    except OSError as exc:
        raise from_network(broker.where, exc, ca=broker.ca) from exc
    except ValueError as exc:  # a name that cannot be one
        raise BrokerError(broker.where, f"no address: {exc}", is_lasting=True) from exc


def tls_context(broker: Broker) -> ssl.SSLContext:
    """Return how TLS is spoken to a broker: its certificate and its name are always checked.

    Raises
    ------
    BrokerError
        If a file cannot be read, or is no certificate or key.
    """
    try:
        context = ssl.create_default_context(cafile=broker.ca)
    except (OSError, ValueError) as exc:
        raise _unusable(broker, f"--ca {broker.ca}", exc) from exc
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    if broker.cert is not None:
        try:
            # A key with a pass phrase would be asked for on the terminal of a service.
            context.load_cert_chain(broker.cert, broker.key, password=_no_pass_phrase)
        except (OSError, ValueError) as exc:
            named = f"--cert {broker.cert} and --key {broker.key}"
            raise _unusable(broker, named, exc) from exc
    return context


def _no_pass_phrase() -> str:
    raise ValueError("the key has a pass phrase: a service needs one without")


def _unusable(broker: Broker, named: str, exc: Exception) -> BrokerError:
    said = exc.strerror if isinstance(exc, OSError) and not isinstance(exc, ssl.SSLError) else None
    why = said or (exc.reason if isinstance(exc, ssl.SSLError) else None) or exc
    return BrokerError(broker.where, f"{named} cannot be used: {why}", is_lasting=True)
