"""What is kept of a message, and what is owed for it."""

from __future__ import annotations

import itertools

import pytest
from paho.mqtt.client import MQTTMessage

from ingest.live import inbox as inbox_module
from ingest.live.cutting import PUBACK, PUBCOMP
from ingest.live.inbox import Inbox
from ingest.live.messages import Message


@pytest.fixture
def inbox() -> Inbox:
    return Inbox(itertools.count(1000).__next__)


def test_messages_are_taken_once_in_their_order(inbox: Inbox) -> None:
    inbox.put(0x32, b"a", 1, b"one")
    inbox.is_prompt = True
    inbox.put(0x32 | 0x08, b"b", 2, b"four")
    inbox.put(0x32 | 0x01, b"b", 3, b"")
    assert inbox.size == 7
    assert inbox.take() == [
        Message("a", b"one", 1000, is_prompt=False),
        Message("b", b"four", 1001, is_repeat=True),
        Message("b", b"", 1002, is_retained=True),
    ]
    assert (inbox.take(), inbox.size) == ([], 0)


def test_what_is_owed_depends_on_the_qos_and_outlives_the_taking(inbox: Inbox) -> None:
    inbox.put(0x30, b"a", 0, b"")
    inbox.put(0x32, b"a", 7, b"")
    twice = MQTTMessage(mid=8, topic=b"a")
    twice.payload = b"x"
    inbox.put_apart(None, None, twice)  # type: ignore[arg-type]
    assert [message.payload for message in inbox.take()] == [b"", b"", b"x"]
    assert inbox.take_owed() == [PUBACK | 7, PUBCOMP | 8]
    assert inbox.take_owed() == []


def test_names_of_topics_are_kept_within_a_bound(
    inbox: Inbox, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(inbox_module, "_MOST_NAMES", 3)
    for n in range(10):
        inbox.put(0x30, b"t%d" % n, 0, b"")
        assert len(inbox._names) <= 3
    assert [message.topic for message in inbox.take()] == [f"t{n}" for n in range(10)]
