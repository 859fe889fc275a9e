"""Rejects of messages: one row for a topic and a kind of fault, counted, and bounded in number."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

from bondtrail.results import Reject
from ingest.faults import clean_raw
from ingest.live.columns import Refused
from ingest.live.messages import Message

LISTED = 1000
"""Topics and kinds of fault that a run lists one by one; more are counted together."""

_LONGEST_TOPIC = 300
_OTHERS = "other topics"
_OTHERS_REASON = (
    f"messages of more topics and kinds of fault than the {LISTED} that are listed one by one: "
    "mend those first"
)


@dataclass(slots=True)
class Tally:
    """Counts what cannot be taken from one broker.

    A row keeps the text, the point and the times of the first that it stands for. What is
    returned of it again later holds the count of what came since.
    """

    source: str
    _rows: dict[tuple[str, str], Reject] = field(default_factory=dict)

    def take(self, refused: Iterable[Refused], messages: Sequence[Message]) -> list[Reject]:
        """Return a reject for each topic and kind of fault of a batch, with its count.

        Parameters
        ----------
        refused : iterable of Refused
            Whose messages are indices into ``messages``.
        messages : sequence of Message
            The batch.
        """
        counts: dict[tuple[str, str], int] = {}
        for item in refused:
            key = self._row(item, messages[item.message])
            counts[key] = counts.get(key, 0) + item.count
        return [replace(self._rows[key], count=count) for key, count in counts.items()]

    def _row(self, item: Refused, message: Message) -> tuple[str, str]:
        """Return the row that a fault is counted in."""
        key = (message.topic, item.reason)
        if key in self._rows:
            return key
        where = f"topic {shown_topic(message.topic)}"
        reason, point, time = item.reason, item.point, item.time
        if len(self._rows) >= LISTED:
            key = (_OTHERS, _OTHERS_REASON)
            where, reason, point, time = _OTHERS, _OTHERS_REASON, None, None
        if key not in self._rows:
            raw = clean_raw(message.payload)
            self._rows[key] = Reject(
                self.source, where, reason, raw, message.arrived, 1, point, time
            )
        return key


def shown_topic(topic: str) -> str:
    """Return a topic that a database takes: short, with what is no text as escapes."""
    text = clean_raw(topic.encode("utf-8", "surrogatepass"))
    return text if len(text) <= _LONGEST_TOPIC else f"{text[: _LONGEST_TOPIC - 3]}..."
