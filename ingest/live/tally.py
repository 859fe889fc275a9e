"""Rejects of messages: one row for a topic, a fault and a point, counted, and bounded in number."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Protocol

from bondtrail.results import Reject
from bondtrail.times import NS_PER_S
from ingest.faults import RAW_BYTES, clean_raw
from ingest.live.messages import Message

LISTED = 1000
"""Topics and kinds of fault that a run lists one by one; more are counted together."""

_LONGEST_TOPIC = 300
_DAY_NS = 86_400 * NS_PER_S  # of UTC: the store has a row for each
Key = tuple[str, str, str | None]
"""Topic, reason and point."""

_OTHERS = (
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

    @property
    def last_time(self) -> int | None:
        """The time of the last where there are several, and where it is known. [ns]"""


@dataclass(slots=True)
class _Row:
    """What came of one kind since the last call: the first, the last, and how many."""

    first: tuple[Message, Refusal]
    near: str
    last: tuple[Message, Refusal]
    count: int


@dataclass(slots=True)
class Tally:
    """Counts what cannot be taken from one broker.

    A row keeps the text of the first that it stands for, and the times of the first and the last.
    What is returned of it again later tells of what came since.
    """

    source: str
    _listed: set[tuple[str, str]] = field(default_factory=set)
    _new: dict[Key, _Row] = field(default_factory=dict)
    _counted: dict[Key, int] = field(default_factory=dict)
    """The day on which each was counted last."""

    def add(self, message: Message, refused: Refusal, near: str = "") -> None:
        """Count readings of a message that cannot be taken for one reason.

        ``near`` is text beside the first of them: of a long message, what is around it is kept.
        What the broker sends again counts no more where there is such a row of that day; its times
        count all the same, as nobody knows whether it was here before.
        """
        key = (message.topic, refused.reason, refused.point)
        if key[:2] not in self._listed:
            if len(self._listed) < LISTED:
                self._listed.add(key[:2])
            else:
                key = (*_OTHERS, None)
        day = message.arrived // _DAY_NS
        is_counted = message.is_repeat and self._counted.get(key) == day
        self._counted[key] = day
        count = 0 if is_counted else refused.count
        row = self._new.get(key)
        if row is None:
            self._new[key] = _Row((message, refused), near, (message, refused), count)
        else:
            row.last = message, refused
            row.count += count

    def take(self) -> list[Reject]:
        """Return a reject for each topic, kind of fault and point counted since the last call."""
        new, self._new = self._new, {}
        return [self._reject(key, row) for key, row in new.items()]

    def _reject(self, key: Key, row: _Row) -> Reject:
        (message, first), (later, last) = row.first, row.last
        raw = clean_raw(around(message.payload, row.near))
        at, until = message.arrived, later.arrived
        topic, reason, point = key
        if (topic, reason) == _OTHERS:
            return Reject(self.source, *_OTHERS, raw, at, row.count, last_at=_if_later(until, at))
        times = [first.time, first.last_time, last.time, last.last_time]
        known = [time for time in times if time is not None]
        time = min(known, default=None)
        return Reject(
            self.source,
            f"topic {shown_topic(topic)}",
            reason,
            raw,
            at,
            row.count,
            point,
            time,
            _if_later(until, at),
            None if time is None else _if_later(max(known), time),
        )


def _if_later(last: int, first: int) -> int | None:
    return last if last > first else None


def around(payload: bytes, near: str) -> bytes:
    """Return a payload, or of a long one the part around some text that stands in it."""
    found = payload.find(near.encode()) if near and len(payload) > RAW_BYTES else 0
    begin = max(0, min(found, len(payload) - RAW_BYTES // 2) - RAW_BYTES // 4)
    return b"... " + payload[begin:] if begin else payload


def shown_topic(topic: str) -> str:
    """Return a topic that a database takes: short, with what is no text as escapes."""
    text = clean_raw(topic.encode("utf-8", "surrogatepass"))
    return text if len(text) <= _LONGEST_TOPIC else f"{text[: _LONGEST_TOPIC - 3]}..."
