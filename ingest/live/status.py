"""What the listener says of itself at the broker, where others may look."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

import msgspec
from paho.mqtt.client import Client, MQTTMessageInfo
from paho.mqtt.reasoncodes import ReasonCode

from bondtrail import __version__
from bondtrail.times import format_time
from ingest.live.broker_url import Broker
from ingest.live.paho_client import OwnSocketClient, new_client, session_of

BEAT_S = 30.0
"""How often a state that stays is told again. [s]"""
_KEEPALIVE_S = 30
_GOODBYE_S = 3.0
_CUT_S = 2.0
"""A connection that ends so soon after a status was told may have ended for it. [s]"""
_CUTS = 2
"""So many of them in a row did."""

log = logging.getLogger(__name__)


class State(StrEnum):
    """What a listener is doing."""

    STARTING = "starting"
    LISTENING = "listening"
    NO_STORE = "waiting for the store"
    NO_BROKER = "waiting for the broker"
    NO_CLOCK = "waiting for the clock"
    STOPPED = "stopped"
    GONE = "gone"
    """The broker says so when it no longer hears of us."""


@dataclass(frozen=True, slots=True)
class Status:
    """A state, since when it is so [ns], and why."""

    state: State
    since: int
    detail: str = ""


def status_topic(site_id: str, client_id: str) -> str:
    """Return where a listener tells its status."""
    return f"bondtrail/{site_id}/$service/{client_id}"


def encoded(status: Status, at: int | None) -> bytes:
    """Return a status as it is published; ``at`` is when that is, in ns."""
    return msgspec.json.encode(
        {
            "state": status.state,
            "since": format_time(status.since),
            "at": None if at is None else format_time(at),
            "detail": status.detail,
            "version": __version__,
        }
    )


class StatusTeller:
    """A small client beside the one that takes messages, with a thread of its own.

    The broker keeps the last status, and tells for us when we are gone without a word. Trouble
    here stops nothing: readings matter, what is said about them less.

    Parameters
    ----------
    broker : Broker
        Where to.
    site_id, client_id : str
        Of the listener.
    clock : callable
        Gives the time. [ns]
    ticks : callable
        A clock that nobody sets. [s]
    """

    def __init__(
        self,
        broker: Broker,
        site_id: str,
        client_id: str,
        *,
        clock: Callable[[], int],
        ticks: Callable[[], float] = time.monotonic,
    ) -> None:
        self.topic = status_topic(site_id, client_id)
        self._broker = broker
        self._clock = clock
        self._ticks = ticks
        self._client = new_client(
            broker,
            f"{client_id}-status",
            OwnSocketClient,
            keeps_session=False,
            acknowledges=False,
            comes_back=True,
        )
        self._status = Status(State.STARTING, clock())
        self._told_at = ticks()
        self._told: MQTTMessageInfo | None = None
        self.taken_at = 0.0
        """When the broker last took a status, on the monotonic clock. [s]"""
        self._is_denied = False
        self._cuts = 0
        self._was_told_here = False
        self._lock = threading.Lock()
        self._is_started = False

    @property
    def is_refused(self) -> bool:
        """The broker takes no status: it says so, or ends each connection for it."""
        return self._is_denied or self._cuts >= _CUTS

    def start(self) -> None:
        """Connect, and again whenever the connection is lost."""
        client, broker = self._client, self._broker
        why = "the broker hears nothing of it any more; since is when it had begun"
        gone = Status(State.GONE, self._clock(), why)
        client.will_set(self.topic, encoded(gone, None), qos=1, retain=True)
        client.reconnect_delay_set(1, 60)
        client.on_connect = self._on_connect
        client.on_publish = self._on_publish
        client.on_disconnect = self._on_disconnect
        session = session_of(client, kept_s=0, is_new=True)
        client.connect_async(broker.host, broker.port, _KEEPALIVE_S, **session)
        client.loop_start()
        self._is_started = True

    def tell(self, status: Status) -> None:
        """Say a status now, or when the connection is back."""
        with self._lock:
            self._status = status
        self._publish()

    def beat(self) -> None:
        """Say that the status still holds, if that was not said for a while."""
        if self._ticks() - self._told_at >= BEAT_S:
            if self._was_told_here:
                self._cuts = 0
            self._publish()

    def stop(self) -> None:
        """Say the last word and leave."""
        if not self._is_started:
            return
        told = self._told
        if told is not None and self._client.is_connected():
            try:
                told.wait_for_publish(_GOODBYE_S)
            except (RuntimeError, ValueError):
                log.debug("the last status was not told")
        self._client.disconnect()
        self._client.loop_stop()
        # In a ring with us it would be left to the collector, and with it what it wakes itself by.
        self._client.on_connect = self._client.on_publish = self._client.on_disconnect = None
        self._is_started = False

    def _publish(self) -> None:
        if not self._client.is_connected():
            return  # told on connecting
        with self._lock:  # of two threads that tell, the later one has the last word
            self._told_at = self._ticks()
            payload = encoded(self._status, self._clock())
            self._told = self._client.publish(self.topic, payload, qos=1, retain=True)
            self._was_told_here = True

    def _on_connect(self, _: Client, __: Any, ___: Any, reason: ReasonCode, ____: Any) -> None:
        self._was_told_here = False
        if reason.is_failure:
            return
        if self.is_refused:
            self.beat()  # no oftener: it would be refused, and for some brokers cut off, once more
        else:
            self._publish()

    def _on_publish(self, _: Client, __: Any, ___: int, reason: ReasonCode, ____: Any) -> None:
        was_refused = self.is_refused
        self._is_denied = reason.is_failure
        if not reason.is_failure:
            self.taken_at = time.monotonic()
        elif not was_refused:
            self._warn(str(reason))

    def _on_disconnect(self, _: Client, __: Any, ___: Any, reason: ReasonCode, ____: Any) -> None:
        """Note whether the connection ended for a status: mosquitto says nothing else on 3.1.1."""
        if not reason.is_failure or not self._was_told_here:
            return
        was_refused = self.is_refused
        self._cuts = self._cuts + 1 if self._ticks() - self._told_at < _CUT_S else 0
        if self.is_refused and not was_refused:
            self._warn("the broker ends the connection for it")

    def _warn(self, why: str) -> None:
        log.warning(
            "%s: the status cannot be told on %s: %s; give this user the right to write there",
            self._broker.where,
            self.topic,
            why,
        )
