"""Have a broker forget a listener: it would keep a copy of everything for one that never comes."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

from paho.mqtt.client import Client, ConnectFlags
from paho.mqtt.enums import MQTTErrorCode
from paho.mqtt.reasoncodes import ReasonCode

from ingest.live import trouble
from ingest.live.broker_url import Broker
from ingest.live.connection import ANSWER_S, KEEPALIVE_S
from ingest.live.paho_client import OwnSocketClient, connect, new_client, session_of
from ingest.live.trouble import BrokerError

_TURN_S = 0.25


def leave(broker: Broker, client_id: str, told_on: str) -> bool:
    """End the session of a listener; what the broker kept for it is discarded.

    A listener that is there under that name is put out.

    Parameters
    ----------
    broker : Broker
        Where it was.
    client_id : str
        Its name there.
    told_on : str
        The topic on which it told its status: the broker forgets that, too.

    Returns
    -------
    bool
        Whether the broker had such a session.

    Raises
    ------
    BrokerError
        If the broker cannot be reached or does not let us in.
    """
    # A session that is begun anew is not said to have been there, so that one is looked for first.
    had_session = _visit(broker, client_id, anew=False)
    _visit(broker, client_id, anew=True, clears=told_on)
    return had_session


def _visit(broker: Broker, client_id: str, *, anew: bool, clears: str | None = None) -> bool:
    """Come and go; return whether the broker knew of a session. With ``anew`` it ends."""
    client = new_client(
        broker, client_id, OwnSocketClient, keeps_session=not anew, acknowledges=True
    )
    came: list[tuple[bool, ReasonCode]] = []

    def on_connect(_: Client, __: Any, flags: ConnectFlags, reason: ReasonCode, ___: Any) -> None:
        came.append((flags.session_present, reason))

    client.on_connect = on_connect
    connect(client, broker, KEEPALIVE_S, **session_of(client, kept_s=0, is_new=anew))
    try:
        if not _serve(client, lambda: bool(came)):
            raise BrokerError(broker.where, "the broker does not answer")
        had_session, reason = came[0]
        if reason.is_failure:
            raise trouble.refused(broker.where, reason.value, str(reason))
        if clears is not None:
            told = client.publish(clears, b"", qos=1, retain=True)
            _serve(client, told.is_published)
        client.disconnect()
        _serve(client, lambda: False)  # until the connection is closed
    finally:
        client.on_connect = None
        if (sock := client.socket()) is not None:
            sock.close()
    return had_session


def _serve(client: OwnSocketClient, is_there: Callable[[], bool]) -> bool:
    """Serve the connection until something is there; False if it ends or time is up before."""
    give_up = time.monotonic() + ANSWER_S
    while not is_there():
        if client.loop(_TURN_S) != MQTTErrorCode.MQTT_ERR_SUCCESS or time.monotonic() > give_up:
            return is_there()
    return True
