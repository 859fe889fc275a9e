"""Messages of others: topics and JSON fields that the site file's aliases name."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import msgspec

from bondtrail.samples import Quality
from ingest.faults import Fault
from ingest.live.columns import Columns, Slot
from ingest.live.exact import (
    MOST_BYTES,
    Members,
    PayloadError,
    plain_text,
    read_exactly,
    text_of,
    time_of,
    value_of,
)
from ingest.live.messages import Message
from ingest.live.reasons import reason_of
from ingest.values import quality_of

TIME_KEYS = ("t", "time", "ts", "timestamp")
QUALITY_KEYS = ("q", "quality")

_STEP_NS = 1000  # between readings of one topic that arrive at one moment
_ANY = msgspec.json.Decoder()
_UNFIT = (ValueError, RecursionError)
_PLAIN = (int, str)
_INT64 = 2**63
_MISSING = object()


def mapped_topic(alias: str) -> tuple[str, str] | None:
    """Return topic and field of an alias ``topic#field``; None where it is no topic."""
    topic, hash_, field = alias.partition("#")
    if not hash_ or not topic or "+" in topic or "\0" in topic or topic.startswith("$"):
        return None
    return topic, field


class MappedTopic:
    """Takes the messages of one topic for every alias that names it."""

    def __init__(self, fields: Mapping[str, Slot]) -> None:
        self._fields = {field: slot for field, slot in fields.items() if field}
        self._flat = [(field, slot.number) for field, slot in self._fields.items()]
        self._nests = any("." in field for field in self._fields)
        self._whole = fields.get("")
        self._last = 0

    def __call__(self, message: Message, index: int, columns: Columns) -> None:
        """Gather the readings of a message; ``index`` is its place in the batch."""
        if self._whole is None and self._took(message, index, columns):
            return
        try:
            found = self._read(message.payload)
        except PayloadError as exc:
            columns.refuse(index, reason_of(exc.fault))
            return
        if isinstance(found, list):
            self._take_list(found, message, index, columns)
        else:
            self._take(found, message, index, columns, alone=True)

    def _took(self, message: Message, index: int, columns: Columns) -> bool:
        """Take the usual message, one flat object, the quick way, or tell that it is another."""
        payload = message.payload
        try:
            found = _ANY.decode(payload) if len(payload) <= MOST_BYTES else None
        except _UNFIT:
            return False
        # As many commas as members: none stood twice, where the last would win.
        if type(found) is not dict or payload.count(b",") != len(found) - 1:
            return False
        mark = 0
        for key in QUALITY_KEYS:
            if key in found:
                mark = found[key]
                break
        if type(mark) is not int or not 0 <= mark <= 2:
            return False
        for key in TIME_KEYS:
            if key in found:
                time = found[key]
                break
        else:
            return False
        if type(time) not in _PLAIN:
            return False
        some = [(slot, found[field]) for field, slot in self._flat if field in found]
        if not some or (self._nests and len(some) < len(self._flat)):
            return False
        if any(type(value) is not float for _, value in some):
            some = [(slot, _usual(value)) for slot, value in some]
            if any(value is _MISSING for _, value in some):
                return False
        for slot, value in some:
            columns.add(slot, index, time, value, mark)
        return True

    def _read(self, payload: bytes) -> Any:
        """Return what a payload holds; where the payload itself is a value, it may be any text."""
        try:
            return read_exactly(payload)
        except PayloadError as exc:
            if self._whole is None or exc.fault is not Fault.JSON:
                raise
            return text_of(payload)

    def _take_list(self, found: list[Any], message: Message, index: int, columns: Columns) -> None:
        strange = 0
        for item in found:
            if isinstance(item, Members):
                self._take(item, message, index, columns, alone=len(found) == 1)
            else:
                strange += 1
        if strange:
            columns.refuse(index, reason_of(Fault.SHAPE), strange)

    def _take(
        self, found: Any, message: Message, index: int, columns: Columns, *, alone: bool
    ) -> None:
        if not isinstance(found, Members):
            self._take_whole(found, message, index, columns)
            return
        took = False
        for field, slot in self._fields.items():
            path = _path(found, field)
            if path is not None:
                took = True
                self._take_field(path, slot, message, index, columns, alone=alone)
        if not took:
            columns.refuse(index, reason_of(Fault.FIELD))

    def _take_field(
        self,
        path: Sequence[tuple[Members, str]],
        slot: Slot,
        message: Message,
        index: int,
        columns: Columns,
        *,
        alone: bool,
    ) -> None:
        time_at, mark_at = _first(path, TIME_KEYS), _first(path, QUALITY_KEYS)
        places = [*path, *(place for place in (time_at, mark_at) if place)]
        time: int | str | None = None if time_at is None else time_of(time_at[0][time_at[1]])
        mark = Quality.GOOD if mark_at is None else _mark(mark_at[0][mark_at[1]])
        if any(key in members.twice for members, key in places):
            columns.refuse(index, reason_of(Fault.TWICE), 1, slot)
            return
        if time is None:
            if message.is_retained or not alone:
                columns.refuse(index, reason_of(Fault.NO_TIME), 1, slot)
                return
            time, mark = self._arrival(message), max(mark, Quality.UNCERTAIN)
        members, key = path[-1]
        columns.add(slot.number, index, time, value_of(members[key]), mark)

    def _take_whole(self, found: Any, message: Message, index: int, columns: Columns) -> None:
        slot = self._whole
        if slot is None:
            columns.refuse(index, reason_of(Fault.SHAPE))
        elif message.is_retained:
            columns.refuse(index, reason_of(Fault.NO_TIME), 1, slot)
        else:
            value = value_of(found)
            columns.add(slot.number, index, self._arrival(message), value, Quality.UNCERTAIN)

    def _arrival(self, message: Message) -> int:
        """Return when a message arrived: a little later than the one before, so that both count."""
        self._last = max(message.arrived, self._last + _STEP_NS)
        return self._last


def _usual(value: Any) -> Any:
    """Return a value that can be judged as it is, or `_MISSING` where its exact words matter."""
    if type(value) is int:
        return float(value) if -_INT64 <= value < _INT64 else _MISSING
    return _MISSING if isinstance(value, list | dict) else value


def _path(members: Members, field: str) -> list[tuple[Members, str]] | None:
    """Return the objects that lead to a field, each with its key, the outermost first.

    The field is a key of the object, else keys of objects within each other, joined by dots.
    """
    if field in members:
        return [(members, field)]
    head, dot, rest = field.partition(".")
    inner = members.get(head) if dot else None
    below = _path(inner, rest) if isinstance(inner, Members) else None
    return None if below is None else [(members, head), *below]


def _first(path: Sequence[tuple[Members, str]], keys: Sequence[str]) -> tuple[Members, str] | None:
    """Return where the first of some keys stands: beside the field, else in the objects around."""
    for members, _ in reversed(path):
        for key in keys:
            if members.get(key) is not None:
                return members, key
    return None


def _mark(written: Any) -> int:
    """Return a quality: uncertain where it is none of our words or codes."""
    mark = quality_of(plain_text(written)) if not isinstance(written, list | dict) else None
    return Quality.UNCERTAIN if mark is None else mark
