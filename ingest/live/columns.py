"""The readings of a batch of messages: gathered one after the other, judged all at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt
import pyarrow as pa

from bondtrail.samples import QualityArray, Samples, TimeArray, ValueArray
from bondtrail.site import Point, Role
from bondtrail.times import NS_PER_S
from ingest.arrays import BoolArray, as_column
from ingest.faults import Fault
from ingest.live.reasons import reason_of
from ingest.moments import read_times
from ingest.values import FAULTS, NO_FAULT, CodeArray, read_values, role_code

EARLIEST = 946_684_800 * NS_PER_S
"""2000-01-01: a clock that says less was never set."""
AHEAD = 3600 * NS_PER_S
"""A reading may be this much younger than its message; beyond it, its clock is wrong."""

IndexArray = npt.NDArray[np.int32]

_TIME, _EARLY, _AHEAD = (FAULTS.index(fault) for fault in (Fault.TIME, Fault.EARLY, Fault.AHEAD))
CLOCK_FAULTS = (_EARLY, _AHEAD)
"""Of readings that are refused for the clock of their source alone."""
_CONTACTS = (Role.PERMISSIVE, Role.RUNNING, Role.BYPASS)


@dataclass(frozen=True, slots=True)
class Slot:
    """Where readings come from and which point they are of."""

    number: int
    point: Point
    source: int
    """The number of who sends them."""


class Slots:
    """Every place that readings of a site may come from, by small numbers."""

    def __init__(self) -> None:
        self.sources: list[str] = []
        self._numbers: dict[str, int] = {}
        self._slots: list[Slot] = []
        self._points: dict[str, int] = {}

    def add(self, point: Point, source: str) -> Slot:
        """Return a new place for readings of a point."""
        number = self._numbers.setdefault(source, len(self.sources))
        if number == len(self.sources):
            self.sources.append(source)
        slot = Slot(len(self._slots), point, number)
        self._slots.append(slot)
        self._points.setdefault(point.name, len(self._points))
        return slot

    def __getitem__(self, number: int) -> Slot:
        return self._slots[number]

    def settle(self) -> None:
        """Make the tables by which whole batches are judged; no place is added after it."""
        self.names = list(self._points)
        self.point = np.array([self._points[slot.point.name] for slot in self._slots], np.int32)
        self.source = np.array([slot.source for slot in self._slots], np.int32)
        self.role = np.array([role_code(slot.point.role) for slot in self._slots], np.uint8)
        self.scale = np.array([slot.point.scale for slot in self._slots], np.float64)
        self.is_contact = np.array([slot.point.role in _CONTACTS for slot in self._slots], bool)


@dataclass(slots=True)
class Refused:
    """Readings of one message that cannot be taken, for one reason.

    ``message`` is an index into the batch; ``point`` and ``written``, the time as it came, are
    those of the first, where they are known; ``until`` is the time of the last.
    """

    message: int
    reason: str
    count: int
    point: str | None = None
    written: int | str | None = None
    until: int | str | None = None

    @property
    def time(self) -> int | None:
        """The time of the first, None where it is not known or makes no sense. [ns]"""
        return _time(self.written)

    @property
    def last_time(self) -> int | None:
        """The time of the last, likewise; None where there is one alone. [ns]"""
        return _time(self.until)


def _time(written: int | str | None) -> int | None:
    if written is None:
        return None
    moments, bad = moments_of([written])
    return None if bad[0] else int(moments[0])


@dataclass(slots=True)
class Columns:
    """What a batch of messages holds, before any of it is judged.

    Readings that follow each other in one message and are of one point are a run: ``slots``,
    ``messages`` and ``counts`` have an entry each, ``times``, ``values`` and ``marks`` one for
    every reading.

    Attributes
    ----------
    slots, messages, counts : list of int
        Of each run: its `Slot`, the index of its message, and how many readings it has.
    times : list of int or str
        As written.
    values : list of float, bool, str or None
        As written, in the unit of the point's table.
    marks : bytearray
        Qualities.
    undated : list of int
        Which readings have no time but that of their arrival.
    refused : dict of tuple to Refused
        What could not even be gathered, by message, reason and slot.
    """

    slots: list[int] = field(default_factory=list)
    messages: list[int] = field(default_factory=list)
    counts: list[int] = field(default_factory=list)
    times: list[int | str] = field(default_factory=list)
    values: list[Any] = field(default_factory=list)
    marks: bytearray = field(default_factory=bytearray)
    undated: list[int] = field(default_factory=list)
    refused: dict[tuple[int, str, int | None], Refused] = field(default_factory=dict)

    def add(self, slot: int, message: int, time: int | str, value: Any, mark: int) -> None:
        """Gather one reading."""
        self.slots.append(slot)
        self.messages.append(message)
        self.counts.append(1)
        self.times.append(time)
        self.values.append(value)
        self.marks.append(mark)

    def refuse(
        self, message: int, reason: str, count: int = 1, slot: Slot | None = None, time: Any = None
    ) -> None:
        """Gather readings that cannot be taken; ``time`` is as written."""
        key = (message, reason, None if slot is None else slot.number)
        known = self.refused.get(key)
        if known is None:
            point = None if slot is None else slot.point.name
            self.refused[key] = Refused(message, reason, count, point, time)
        else:
            known.count += count
            known.until = time


@dataclass(frozen=True, slots=True)
class Judged:
    """The readings of a batch, each good or with what is wrong with it.

    All arrays have the shape (readings,).
    """

    slot: IndexArray
    message: IndexArray
    time: TimeArray
    value: ValueArray
    quality: QualityArray
    faults: CodeArray
    dated: BoolArray
    """Which tell themselves when they were read."""

    @property
    def good(self) -> BoolArray:
        """Which readings can be taken."""
        good: BoolArray = self.faults == NO_FAULT
        return good

    @property
    def ahead_until(self) -> int | None:
        """When the last of them will lie ahead no more, if all that tell their time do now. [ns]"""
        told = self.dated & (self.faults != _TIME)
        if not told.any() or (self.faults[told] != _AHEAD).any():
            return None
        return int(self.time[told].max()) - AHEAD


def judge(columns: Columns, slots: Slots, arrived: TimeArray) -> Judged:
    """Return the readings of a batch with what is wrong with each.

    Parameters
    ----------
    columns : Columns
        What was gathered.
    slots : Slots
        Where it may come from.
    arrived : ndarray of int64, shape (messages,)
        When each message arrived. [ns]
    """
    counts = np.array(columns.counts, np.int32)
    slot = np.repeat(np.array(columns.slots, np.int32), counts)
    message = np.repeat(np.array(columns.messages, np.int32), counts)
    time, bad_time = moments_of(columns.times)
    value, faults = _values(columns.values, slot, slots)
    latest = arrived.take(message) + AHEAD
    faults[time > latest] = _AHEAD
    faults[time < EARLIEST] = _EARLY
    faults[bad_time] = _TIME
    quality = np.frombuffer(bytes(columns.marks), np.uint8)
    dated = np.ones(time.size, bool)
    dated[columns.undated] = False
    return Judged(slot, message, time, value, quality, faults, dated)


def moments_of(times: Sequence[int | str]) -> tuple[TimeArray, BoolArray]:
    """Return written times in ns, shape (n,), and which are none."""
    kinds = set(map(type, times))
    if kinds <= {int}:
        try:
            return read_times(as_column(np.array(times, np.int64)), None)
        except OverflowError:
            pass
    if kinds == {str}:
        return read_times(_texts(times), None)  # type: ignore[arg-type]
    return read_times(_texts([str(time) for time in times]), None)


def _texts(texts: Sequence[str]) -> pa.Array:
    """Return a column of text: by its bytes where all is ASCII, which is several times faster."""
    data = "".join(texts)
    if not data.isascii():
        return pa.array(texts, pa.string())
    ends = np.zeros(len(texts) + 1, np.int32)
    np.cumsum(np.fromiter(map(len, texts), np.int32, len(texts)), out=ends[1:])
    buffers = [None, pa.py_buffer(ends), pa.py_buffer(data.encode())]
    return pa.Array.from_buffers(pa.string(), len(texts), buffers)


def _values(values: list[Any], slot: IndexArray, slots: Slots) -> tuple[ValueArray, CodeArray]:
    """Return values in the units that are kept, and what is wrong with each."""
    roles, scales = slots.role.take(slot), slots.scale.take(slot)
    if set(map(type, values)) <= {float}:
        return read_values(as_column(np.array(values, np.float64)), roles, scales)
    odd = [row for row, value in enumerate(values) if type(value) is not float]
    numbers = values.copy()
    absent = np.zeros(len(values), bool)
    texts = []
    rows = []
    for row in odd:
        value = values[row]
        numbers[row] = 0.0
        if value is None:
            absent[row] = True
        elif type(value) is bool and slots.is_contact[slot[row]]:
            numbers[row] = float(value)
        else:
            texts.append(value if type(value) is str else "true" if value else "false")
            rows.append(row)
    column = as_column(np.array(numbers, np.float64), absent)
    found, faults = read_values(column, roles, scales)
    if rows:
        at = np.array(rows)
        found[at], faults[at] = read_values(_texts(texts), roles[at], scales[at])
    return found, faults


def samples_of(judged: Judged, slots: Slots) -> dict[str, Samples]:
    """Return the good readings of a batch point by point, each in the order of arrival."""
    rows = np.flatnonzero(judged.good)
    points = slots.point.take(judged.slot.take(rows))
    order = points.astype(np.uint16) if len(slots.names) <= 2**16 else points  # sorts by radix
    rows = rows.take(np.argsort(order, kind="stable"))
    counts = np.bincount(points, minlength=len(slots.names))
    ends = np.cumsum(counts)
    time, value = judged.time.take(rows), judged.value.take(rows)
    quality = judged.quality.take(rows)
    batch = {}
    for number in np.flatnonzero(counts).tolist():
        part = slice(int(ends[number] - counts[number]), int(ends[number]))
        batch[slots.names[number]] = Samples(time[part], value[part], quality[part])
    return batch


def refused_of(judged: Judged, columns: Columns, slots: Slots, is_new: BoolArray) -> list[Refused]:
    """Return the readings that are not good: those of one place and fault once, with a count.

    ``is_new`` tells of each message whether it came for the first time: those are counted apart.
    """
    bad = np.flatnonzero(~judged.good)
    keys = (judged.slot[bad].astype(np.int64) * 256 + judged.faults[bad]) * 2
    keys += is_new.take(judged.message[bad])
    _, firsts, counts = np.unique(keys, return_index=True, return_counts=True)
    _, from_end = np.unique(keys[::-1], return_index=True)
    lasts = len(bad) - 1 - from_end
    refused = []
    groups = zip(firsts.tolist(), counts.tolist(), lasts.tolist(), strict=True)
    for first, count, last in sorted(groups):
        row = bad[first]
        fault, point = FAULTS[judged.faults[row]], slots[judged.slot[row]].point
        ends = (
            (None, None) if fault is Fault.TIME else (columns.times[row], columns.times[bad[last]])
        )
        reason = reason_of(fault, point.role)
        refused.append(Refused(int(judged.message[row]), reason, count, point.name, *ends))
    return refused
