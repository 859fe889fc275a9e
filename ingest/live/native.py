"""Messages of our own form: a point's topic with readings of it, a station's with several roles.

Both are read twice over: the usual form by typed objects, which costs almost nothing, and whatever
does not fit by its exact words. A message that fits means the same either way.
"""

from __future__ import annotations

from collections.abc import Mapping
from operator import attrgetter
from typing import Annotated, Any

import msgspec
from msgspec import UNSET, UnsetType

from bondtrail.site import Role
from ingest.faults import Fault
from ingest.live.columns import Columns, Slot
from ingest.live.cutting import MOST_PAYLOAD
from ingest.live.exact import (
    Members,
    PayloadError,
    plain_text,
    read_exactly,
    stands_twice,
    time_of,
    value_of,
)
from ingest.live.messages import Message
from ingest.live.reasons import reason_of
from ingest.values import quality_of

Value = float | bool | str | None
Mark = Annotated[int, msgspec.Meta(ge=0, le=2)] | None


class PointReading(msgspec.Struct, forbid_unknown_fields=True, gc=False):
    """A reading on the topic of its point."""

    t: int | str
    v: Value
    q: Mark = None


class StationReading(msgspec.Struct, forbid_unknown_fields=True, gc=False):
    """Readings of several roles at one time, on the topic of their station."""

    t: int | str
    q: Mark = None
    resistance: Value | UnsetType = UNSET
    status: Value | UnsetType = UNSET
    permissive: Value | UnsetType = UNSET
    flow: Value | UnsetType = UNSET
    running: Value | UnsetType = UNSET
    bypass: Value | UnsetType = UNSET


_POINT = msgspec.json.Decoder(PointReading | list[PointReading])
_STATION = msgspec.json.Decoder(StationReading | list[StationReading])
_BY_ROLE = attrgetter(*Role)
_UNFIT = (ValueError, RecursionError)  # what the decoder raises, and that bytes are not UTF-8


class PointTopic:
    """Takes the messages of ``bondtrail/<site>/<station>/<role>``."""

    def __init__(self, slot: Slot) -> None:
        self._slot = slot

    def __call__(self, message: Message, index: int, columns: Columns) -> None:
        """Gather the readings of a message; ``index`` is its place in the batch."""
        payload = message.payload
        try:
            found = _POINT.decode(payload) if len(payload) <= MOST_PAYLOAD else None
        except _UNFIT:
            found = None
        # As many commas as the members that were read: none stood twice, where the last would win.
        if found.__class__ is PointReading:
            mark = found.q
            if payload.count(b",") == (1 if mark is None else 2):
                columns.add(self._slot.number, index, found.t, found.v, mark or 0)
                return
        elif found and self._took(found, payload.count(b","), index, columns):
            return
        each_object(message, index, columns, self._exact)

    def _took(self, rows: list[PointReading], commas: int, index: int, columns: Columns) -> bool:
        size = len(rows)
        marks: list[Any] = [row.q for row in rows]
        unmarked = marks.count(None)
        if commas != 3 * size - 1 - unmarked:
            return False
        columns.slots.append(self._slot.number)
        columns.messages.append(index)
        columns.counts.append(size)
        columns.times += [row.t for row in rows]
        columns.values += [row.v for row in rows]
        columns.marks += bytes(marks if not unmarked else [mark or 0 for mark in marks])
        return True

    def _exact(self, members: Members, index: int, columns: Columns) -> None:
        slot = self._slot
        unknown = members.keys() - {"t", "v", "q"}
        if unknown:
            columns.refuse(index, reason_of(Fault.MEMBER), len(unknown), slot)
        fault = wrong_frame(members, ("t", "v", "q"))
        if "v" not in members:
            fault = Fault.NO_VALUE
        if fault:
            columns.refuse(index, reason_of(fault), 1, slot, known_time(members))
            return
        mark = mark_of(members)
        columns.add(slot.number, index, time_of(members["t"]), value_of(members["v"]), mark or 0)


class StationTopic:
    """Takes the messages of ``bondtrail/<site>/<station>``."""

    def __init__(self, slots: Mapping[Role, Slot]) -> None:
        self._slots = slots
        self._by_role = [slots[role].number if role in slots else None for role in Role]

    def __call__(self, message: Message, index: int, columns: Columns) -> None:
        """Gather the readings of a message; ``index`` is its place in the batch."""
        payload = message.payload
        try:
            found = _STATION.decode(payload) if len(payload) <= MOST_PAYLOAD else None
        except _UNFIT:
            found = None
        if found:
            rows = found if isinstance(found, list) else [found]
            if self._took(rows, payload.count(b","), index, columns):
                return
        each_object(message, index, columns, self._exact)

    def _took(self, rows: list[StationReading], commas: int, index: int, columns: Columns) -> bool:
        slots: list[Any] = []
        times: list[int | str] = []
        values: list[Any] = []
        marks = bytearray()
        members = len(rows)
        for row in rows:
            mark = row.q
            if mark is None:
                mark = 0
            else:
                members += 1
            before = len(slots)
            for slot, value in zip(self._by_role, _BY_ROLE(row), strict=True):
                if value is not UNSET:
                    slots.append(slot)
                    values.append(value)
            found = len(slots) - before
            if not found:
                return False
            times += [row.t] * found
            marks += bytes((mark,)) * found
        if commas != members + len(slots) - 1 or None in slots:
            return False
        columns.slots += slots
        columns.messages += [index] * len(slots)
        columns.counts += [1] * len(slots)
        columns.times += times
        columns.values += values
        columns.marks += marks
        return True

    def _exact(self, members: Members, index: int, columns: Columns) -> None:
        fault = wrong_frame(members, ("t", "q"))
        time = known_time(members)
        mark = mark_of(members)
        found = 0
        for key, written in members.items():
            if key in ("t", "q"):
                continue
            found += 1
            slot = self._slots.get(key)  # type: ignore[call-overload]
            wrong = Fault.TWICE if stands_twice(members, key) else fault
            if slot is None:
                wrong = Fault.ROLE if key in _ROLES else Fault.KEY
            if wrong:
                columns.refuse(index, reason_of(wrong), 1, slot, time)
            else:
                at = time_of(members["t"])
                columns.add(slot.number, index, at, value_of(written), mark or 0)
        if not found:
            columns.refuse(index, reason_of(Fault.NO_ROLE), 1, None, time)


_ROLES = frozenset(Role)


def each_object(message: Message, index: int, columns: Columns, take: Any) -> None:
    """Give every object of a message to ``take``; what is none is refused."""
    try:
        found = read_exactly(message.payload)
    except PayloadError as exc:
        columns.refuse(index, reason_of(exc.fault))
        return
    strange = 0
    for item in found if isinstance(found, list) else [found]:
        if isinstance(item, dict):
            take(item, index, columns)
        else:
            strange += 1
    if strange:
        columns.refuse(index, reason_of(Fault.SHAPE), strange)


def wrong_frame(members: Members, keys: tuple[str, ...]) -> Fault | None:
    """Return what is wrong with time and quality of an object, and with keys that stand twice."""
    if any(stands_twice(members, key) for key in keys):
        return Fault.TWICE
    if members.get("t") is None:
        return Fault.NO_TIME
    return Fault.QUALITY if mark_of(members) is None else None


def known_time(members: Members) -> int | str | None:
    """Return the time of an object as written, None where it has none."""
    written = members.get("t")
    return None if written is None or stands_twice(members, "t") else time_of(written)


def mark_of(members: Members, key: str = "q") -> int | None:
    """Return the quality of an object: good where it has none, None where it is not known."""
    return quality_of(plain_text(members.get(key)))
