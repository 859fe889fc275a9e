"""Rejects of messages: one row for a topic and a kind of fault, counted, and bounded in number."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Protocol

from bondtrail.results import Reject
from ingest.faults import RAW_BYTES, clean_raw
from ingest.live.messages import Message

LISTED = 1000
"""Topics and kinds of fault that a run lists one by one; more are counted together."""

_LONGEST_TOPIC = 300
Key = tuple[str, str]
"""Topic and reason."""

_OTHERS: Key = (
    "other topics",
    f"more topics and kinds of fault than the {LISTED} that are listed one by one: "
    "mend those first",
)


class Refusal(Protocol):
    """Readings that cannot be taken for one reason."""

    @property
    def reason(self) -> str:
        """What is wrong and what to do: the same words each time."""

    @property
    def count(self) -> int:
        """How many."""

    @property
    def point(self) -> str | None:
        """The point of the first, where it is known."""

    @property
    def time(self) -> int | None:
        """The time of the first, where it is known. [ns]"""


@dataclass(slots=True)
class Tally:
    """Counts what cannot be taken from one broker.

    A row keeps the text, the point and the times of the first that it stands for. What is
    returned of it again later holds the count of what came since.
    """

    source: str
    _rows: dict[Key, Reject] = field(default_factory=dict)
    _new: dict[Key, int] = field(default_factory=dict)

    def add(self, message: Message, refused: Refusal, near: str = "") -> None:
        """Count readings of a message that cannot be taken for one reason.

        ``near`` is text beside the first of them: of a long message, what is around it is kept.
        """
        key = (message.topic, refused.reason)
        if key not in self._rows:
            key = self._new_row(message, refused, near)
        self._new[key] = self._new.get(key, 0) + refused.count

    def _new_row(self, message: Message, refused: Refusal, near: str) -> Key:
        """Return a new row, one of its own while there is room."""
        raw, at = clean_raw(around(message.payload, near)), message.arrived
        if len(self._rows) < LISTED:
            key = (message.topic, refused.reason)
            where = f"topic {shown_topic(message.topic)}"
            row = Reject(
                self.source, where, refused.reason, raw, at, 1, refused.point, refused.time
            )
        else:
            key = _OTHERS
            row = Reject(self.source, *_OTHERS, raw, at)
        self._rows.setdefault(key, row)
        return key

    def take(self) -> list[Reject]:
        """Return a reject for each topic and kind of fault counted since the last call."""
        counts, self._new = self._new, {}
        return [replace(self._rows[key], count=count) for key, count in counts.items()]


def around(payload: bytes, near: str) -> bytes:
    """Return a payload, or of a long one the part around some text that stands in it."""
    found = payload.find(near.encode()) if near and len(payload) > RAW_BYTES else 0
    begin = max(0, min(found, len(payload) - RAW_BYTES // 2) - RAW_BYTES // 4)
    return b"... " + payload[begin:] if begin else payload


def shown_topic(topic: str) -> str:
    """Return a topic that a database takes: short, with what is no text as escapes."""
    text = clean_raw(topic.encode("utf-8", "surrogatepass"))
    return text if len(text) <= _LONGEST_TOPIC else f"{text[: _LONGEST_TOPIC - 3]}..."
