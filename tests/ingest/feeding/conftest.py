from __future__ import annotations

import threading
import uuid
from collections.abc import Iterator

import pytest
from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion

from ingest.live.broker_url import Broker
from ingest.live.messages import Message
from tests.ingest.conftest import NOW
from tests.services import MosquittoServer
from tests.waiting import LONG_S


class Inbox:
    """A subscriber that keeps all that comes; with a session that outlives its broker, if asked."""

    def __init__(self, port: int, *filters: str, keeps_session: bool = False) -> None:
        self.messages: list[Message] = []
        self._ready, self._came = threading.Event(), threading.Condition()
        self._client = Client(
            CallbackAPIVersion.VERSION2,
            client_id=f"inbox-{uuid.uuid4().hex}",
            clean_session=not keeps_session,
        )
        self._client.on_subscribe = lambda *_: self._ready.set()
        self._client.on_message = self._take
        self._client.connect("127.0.0.1", port)
        self._client.subscribe([(each, 1) for each in filters])
        self._client.loop_start()
        assert self._ready.wait(LONG_S)

    def _take(self, _: Client, __: object, message: MQTTMessage) -> None:
        with self._came:
            self.messages.append(Message(message.topic, message.payload, NOW))
            self._came.notify()

    def wait(self, count: int) -> list[Message]:
        """Return the messages once there are so many."""
        with self._came:
            came = self._came.wait_for(lambda: len(self.messages) >= count, LONG_S)
            assert came, f"{len(self.messages)} of {count}"
            return list(self.messages)

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


@pytest.fixture
def inbox(broker: MosquittoServer) -> Iterator[Inbox]:
    """All that is published for the site of these tests."""
    opened = Inbox(broker.port, "bondtrail/quay/#", "spBv1.0/quay/#")
    yield opened
    opened.close()


@pytest.fixture
def address(broker: MosquittoServer) -> Broker:
    return Broker("127.0.0.1", broker.port)
