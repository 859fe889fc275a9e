"""Rejects of messages: one row for a topic and a kind of fault, counted, and bounded in number."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from bondtrail.results import Reject
from ingest.faults import clean_raw
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


@dataclass(slots=True)
class Tally:
    """Counts what cannot be taken from one broker.

    A row keeps the text, the point and the times of the first that it stands for. What is
    returned of it again later holds the count of what came since.
    """

    source: str
    _rows: dict[Key, Reject] = field(default_factory=dict)
    _new: dict[Key, int] = field(default_factory=dict)

    def add(
        self,
        message: Message,
        reason: str,
        count: int = 1,
        point: str | None = None,
        time: int | None = None,
    ) -> None:
        """Count readings of a message that cannot be taken for one reason.

        ``point`` and ``time`` (ns) are those of the first of them, where they are known.
        """
        key = (message.topic, reason)
        if key not in self._rows:
            if len(self._rows) >= LISTED:
                key, point, time = _OTHERS, None, None
            where = _OTHERS[0] if key is _OTHERS else f"topic {shown_topic(message.topic)}"
            if key not in self._rows:
                raw = clean_raw(message.payload)
                self._rows[key] = Reject(
                    self.source, where, key[1], raw, message.arrived, 1, point, time
                )
        self._new[key] = self._new.get(key, 0) + count

    def take(self) -> list[Reject]:
        """Return a reject for each topic and kind of fault counted since the last call."""
        counts, self._new = self._new, {}
        return [replace(self._rows[key], count=count) for key, count in counts.items()]


def shown_topic(topic: str) -> str:
    """Return a topic that a database takes: short, with what is no text as escapes."""
    text = clean_raw(topic.encode("utf-8", "surrogatepass"))
    return text if len(text) <= _LONGEST_TOPIC else f"{text[: _LONGEST_TOPIC - 3]}..."
