"""Messages of others: topics and JSON fields that the site file's aliases name."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from bondtrail.samples import Quality
from bondtrail.times import NS_PER_S
from ingest.faults import Fault
from ingest.live.columns import Columns, Slot
from ingest.live.cutting import MOST_PAYLOAD
from ingest.live.exact import (
    Members,
    PayloadError,
    plain_text,
    read_exactly,
    read_quickly,
    stands_twice,
    text_of,
    time_of,
    value_of,
)
from ingest.live.messages import Message
from ingest.live.reasons import reason_of
from ingest.values import quality_of

TIME_KEYS = ("t", "time", "ts", "timestamp")
QUALITY_KEYS = ("q", "quality")

Place = tuple[Members, str]
"""An object and the key in it that is meant."""
Frame = tuple[int | str, int, bool] | Fault
"""Time as written, quality, and whether the time is their own, of the readings in an object."""

_NOT_MAPPED = ("$", "spBv1.0/")  # topics of the broker itself, and of Sparkplug B
_STEP_NS = 1000  # between readings of one topic that arrive at one moment
_MAY_BE_JSON = frozenset(bytes((code,)) for code in b'{[" \t\r\n\xef') | {b""}


def mapped_topic(alias: str) -> tuple[str, str] | None:
    """Return topic and field of an alias ``topic#field``; None where it is no topic."""
    topic, mark, field = alias.partition("#")
    if not mark or not topic or "+" in topic or topic.startswith(_NOT_MAPPED):
        return None
    return topic, field


class MappedTopic:
    """Takes the messages of one topic for every alias that names it."""

    def __init__(self, fields: Mapping[str, Slot]) -> None:
        self._fields = [(field, slot) for field, slot in fields.items() if field]
        self._is_flat = not any("." in field for field in fields)
        self._whole = fields.get("")
        self._last = 0

    def __call__(self, message: Message, index: int, columns: Columns) -> None:
        """Gather the readings of a message; ``index`` is its place in the batch."""
        try:
            found = self._read(message.payload)
        except PayloadError as exc:
            columns.refuse(index, reason_of(exc.fault))
            return
        if not isinstance(found, list):
            self._take(found, message, index, columns, alone=True)
            return
        for item in found:
            if isinstance(item, dict):
                self._take(item, message, index, columns, alone=len(found) == 1)
        if strange := sum(not isinstance(item, dict) for item in found):
            columns.refuse(index, reason_of(Fault.SHAPE), strange)

    def _read(self, payload: bytes) -> Any:
        """Return what a payload holds; where the payload itself is a value, it may be any text."""
        if self._whole is None:
            return _json(payload)
        if payload[:1] in _MAY_BE_JSON or len(payload) > MOST_PAYLOAD:
            try:
                return _json(payload)
            except PayloadError as exc:
                if exc.fault is not Fault.JSON:
                    raise
        return text_of(payload)

    def _take(
        self, found: Any, message: Message, index: int, columns: Columns, *, alone: bool
    ) -> None:
        if not isinstance(found, dict):
            self._take_whole(found, message, index, columns)
            return
        if self._is_flat and found.__class__ is dict and self._took(found, index, columns):
            return
        frames: dict[int, Frame] = {}  # of the object itself, and of those within it
        for field, slot in self._fields:
            path = [(found, field)] if field in found else _path(found, field)
            if not path:
                continue
            members, key = path[-1]
            frame = frames.get(id(members))
            if frame is None:
                frame = frames[id(members)] = self._frame(path, message, alone=alone)
            if _is_doubtful(path):
                columns.refuse(index, reason_of(Fault.TWICE), 1, slot)
            elif isinstance(frame, Fault):
                columns.refuse(index, reason_of(frame), 1, slot)
            else:
                time, mark, is_dated = frame
                if not is_dated:
                    columns.undated.append(len(columns.times))
                columns.add(slot.number, index, time, value_of(members[key]), mark)
        if not frames:
            columns.refuse(index, reason_of(Fault.FIELD))

    def _took(self, found: Members, index: int, columns: Columns) -> bool:
        """Take the usual object, flat and with its time, or tell that it is another."""
        time, mark = _first(found, TIME_KEYS), _first(found, QUALITY_KEYS)
        if time.__class__ is not int:
            if time.__class__ is not str:
                return False
            time = time_of(time)
        if mark is None:
            mark = 0
        elif mark.__class__ is not int or not 0 <= mark <= 2:
            return False
        before = len(columns.slots)
        for field, slot in self._fields:
            value = found.get(field, found)
            if value is not found:
                value = value if value.__class__ is float else value_of(value)
                columns.add(slot.number, index, time, value, mark)
        return len(columns.slots) > before

    def _frame(self, path: Sequence[Place], message: Message, *, alone: bool) -> Frame:
        """Return time and quality of the readings in an object, or what is wrong with them."""
        time_at, mark_at = _nearest(path, TIME_KEYS), _nearest(path, QUALITY_KEYS)
        if _is_doubtful((time_at, mark_at)):
            return Fault.TWICE
        mark = _mark(mark_at[0][mark_at[1]]) if mark_at else 0
        if time_at:
            return time_of(time_at[0][time_at[1]]), mark, True
        if message.is_retained or not alone:
            return Fault.NO_TIME
        return self._arrival(message), max(mark, int(Quality.UNCERTAIN)), False

    def _take_whole(self, found: Any, message: Message, index: int, columns: Columns) -> None:
        slot = self._whole
        if slot is None:
            columns.refuse(index, reason_of(Fault.SHAPE))
        elif message.is_retained:
            columns.refuse(index, reason_of(Fault.NO_TIME), 1, slot)
        else:
            time, value = self._arrival(message), value_of(found)
            columns.undated.append(len(columns.times))
            columns.add(slot.number, index, time, value, Quality.UNCERTAIN)

    def _arrival(self, message: Message) -> int:
        """Return when a message arrived: a little later than the one before, so that both count.

        Where the clock was set back meanwhile, the time that it shows now is the better one.
        """
        arrived, after = message.arrived, self._last + _STEP_NS
        self._last = after if arrived < after <= arrived + NS_PER_S else arrived
        return self._last


def _json(payload: bytes) -> Any:
    try:
        return read_quickly(payload)
    except PayloadError:
        raise
    except ValueError:
        return read_exactly(payload)


def _path(members: Members, field: str) -> list[Place]:
    """Return the objects that lead to a field, each with its key, the outermost first.

    The field is a key of the object, else keys of objects within each other, joined by dots.
    """
    if field in members:
        return [(members, field)]
    head, _, rest = field.partition(".")
    inner = members.get(head) if rest else None
    below = _path(inner, rest) if isinstance(inner, dict) else []
    return [(members, head), *below] if below else []


def _first(members: Members, keys: Sequence[str]) -> Any:
    """Return what stands under the first of some keys that is there and not null, else None."""
    for key in keys:
        if (written := members.get(key)) is not None:
            return written
    return None


def _nearest(path: Sequence[Place], keys: Sequence[str]) -> Place | None:
    """Return where the first of some keys stands: beside the field, else in the objects around."""
    for members, _ in reversed(path):
        for key in keys:
            if key in members and members[key] is not None:
                return members, key
    return None


def _is_doubtful(places: Sequence[Place | None]) -> bool:
    """Return whether a key stands twice in its object, so that nobody can tell which counts."""
    for place in places:  # noqa: SIM110 - a loop takes a third of the time, for every message
        if place is not None and stands_twice(*place):
            return True
    return False


def _mark(written: Any) -> int:
    """Return a quality: uncertain where it is none of our words or codes."""
    mark = quality_of(plain_text(written))
    return int(Quality.UNCERTAIN) if mark is None else mark
