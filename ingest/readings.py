"""Tables of readings, long and wide, to the samples of each point."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from bondtrail.samples import QualityArray, Samples, TimeArray, ValueArray
from bondtrail.site import Point, Site
from ingest.arrays import BoolArray, as_column, mask_of, numbers_of
from ingest.faults import About, Fault, FaultRows, RowArray, about_nothing, shown
from ingest.header import HeaderError, Layout
from ingest.moments import read_times, text_lengths, time_fault
from ingest.tables import Table, Taken, UnknownTag
from ingest.values import (
    FAULTS,
    NO_FAULT,
    CodeArray,
    quality_fault,
    read_quality,
    read_values,
    role_code,
    value_fault,
)

UNKNOWN = -1
_TAG = FAULTS.index(Fault.TAG)
IndexArray = npt.NDArray[np.int16]


class Tags:
    """The points of a site by small numbers, found by alias or by their own name."""

    def __init__(self, site: Site) -> None:
        self._site = site
        self.points: tuple[Point, ...] = tuple(site.points())
        self._number = {point.name: number for number, point in enumerate(self.points)}
        self.roles = np.array([role_code(point.role) for point in self.points], np.uint8)
        self.scales = np.array([point.scale for point in self.points], np.float64)
        self.is_scaled = bool((self.scales != 1).any())

    def find(self, tag: str) -> int:
        """Return the number of the point that a tag stands for, or `UNKNOWN`."""
        point = self._site.point(tag) or self._site.point(tag.strip())
        return UNKNOWN if point is None else self._number[point.name]


def check_wide(layout: Layout, tags: Tags) -> None:
    """Refuse a wide header in which two columns are one point: nobody can tell which counts.

    Raises
    ------
    HeaderError
        If there are such columns.
    """
    seen: dict[int, str] = {}
    for place in layout.others:
        name = layout.names[place]
        number = tags.find(name)
        if number in seen:
            raise HeaderError(
                f"columns {shown(seen[number])} and {shown(name)} are both "
                f"{tags.points[number].name}: keep one of them"
            )
        if number != UNKNOWN:
            seen[number] = name


def take_long(table: Table, layout: Layout, tags: Tags, zone: ZoneInfo | None) -> Taken:
    """Return the readings of a table with columns time, tag, value and perhaps quality."""
    column = {name: table.columns[place] for name, place in layout.columns.items()}
    taken = Taken(read=len(table.lines))
    points = _points_of(column["tag"], tags, taken)
    time, bad_time = read_times(column["time"], zone)
    value, faults = read_values(
        column["value"],
        tags.roles.take(points),  # the last one for the unknown: whose values do not count
        tags.scales.take(points) if tags.is_scaled else 1.0,
        decimal_comma=_has_decimal_comma(layout),
    )
    quality, bad_quality = _quality(column.get("quality"), len(time))
    faults[bad_quality & (faults == NO_FAULT)] = FAULTS.index(Fault.QUALITY)
    faults[bad_time] = FAULTS.index(Fault.TIME)
    faults[points == UNKNOWN] = _TAG
    taken.samples = list(_by_point(points, time, value, quality, faults, tags))

    def about(row: int) -> About:
        return tags.points[points[row]].name, int(time[row])

    taken.faults = [
        FaultRows(
            fault,
            rows,
            _long_reason(fault, column, points, tags, zone),
            about_nothing if fault is Fault.TIME else about,
        )
        for fault, rows in _found(faults)
        if fault is not Fault.TAG
    ]
    return taken


def _points_of(column: pa.Array, tags: Tags, taken: Taken) -> IndexArray:
    """Return each row's point, and note the tags that are none."""
    if not pa.types.is_string(column.type):
        column = column.cast(pa.string())
    encoded = (pc.fill_null(column, "") if column.null_count else column).dictionary_encode()
    words = encoded.dictionary.to_pylist()
    numbers = np.array([tags.find(word) for word in words], np.int16)
    codes = numbers_of(encoded.indices)
    points = numbers.take(codes) if words else np.zeros(0, np.int16)
    if (numbers == UNKNOWN).any():
        rows = np.flatnonzero(points == UNKNOWN)
        strange, firsts, counts = np.unique(codes[rows], return_index=True, return_counts=True)
        taken.unknown = [
            UnknownTag(words[code].strip(), int(rows[first]), int(count))
            for code, first, count in zip(strange, firsts, counts, strict=True)
        ]
    return points


def _by_point(
    points: IndexArray,
    time: TimeArray,
    value: ValueArray,
    quality: QualityArray | None,
    faults: CodeArray,
    tags: Tags,
) -> Iterator[tuple[str, Samples]]:
    """Yield the good rows point by point, each in the order of the file."""
    last = len(tags.points)  # where the others are sorted to
    points = np.where(faults == NO_FAULT, points, np.int16(last))
    order = np.argsort(points, kind="stable")
    counts = np.bincount(points, minlength=last)[:last]
    ends = np.cumsum(counts)
    time, value = time.take(order), value.take(order)
    marks = np.zeros(time.size, np.uint8) if quality is None else quality.take(order)
    for number in np.flatnonzero(counts):
        part = slice(int(ends[number] - counts[number]), int(ends[number]))
        yield tags.points[number].name, Samples(time[part], value[part], marks[part])


def _long_reason(
    fault: Fault,
    column: dict[str, pa.Array],
    points: IndexArray,
    tags: Tags,
    zone: ZoneInfo | None,
) -> Callable[[int], str]:
    def reason(row: int) -> str:
        if fault is Fault.TIME:
            return time_fault(_text(column["time"][row]), zone)
        if fault is Fault.QUALITY:
            return quality_fault(_text(column["quality"][row]))
        role = tags.points[points[row]].role
        return value_fault(
            fault, _text(column["value"][row]), _text(column["tag"][row]).strip(), role
        )

    return reason


def take_wide(table: Table, layout: Layout, tags: Tags, zone: ZoneInfo | None) -> Taken:
    """Return the readings of a table with a time and a column for each tag."""
    moments = table.columns[layout.columns["time"]]
    time, bad_time = read_times(moments, zone)
    bad = np.flatnonzero(bad_time)
    taken = Taken(read=bad.size)
    if bad.size:
        taken.faults.append(
            FaultRows(Fault.TIME, bad, lambda row: time_fault(_text(moments[row]), zone))
        )
    for place in layout.others:
        name, column = layout.names[place], table.columns[place]
        rows = np.flatnonzero(_filled(column) & ~bad_time)
        number = tags.find(name)
        if not rows.size:
            continue
        if number == UNKNOWN:
            taken.read += rows.size
            taken.unknown.append(UnknownTag(name, int(rows[0]), int(rows.size)))
        else:
            cells = column if rows.size == len(column) else column.take(as_column(rows))
            _take_column(taken, name, tags.points[number], cells, rows, time, layout)
    return taken


def _take_column(
    taken: Taken,
    name: str,
    point: Point,
    cells: pa.Array,
    rows: RowArray,
    time: TimeArray,
    layout: Layout,
) -> None:
    roles = np.full(rows.size, role_code(point.role), np.uint8)
    comma = _has_decimal_comma(layout)
    value, faults = read_values(cells, roles, point.scale, decimal_comma=comma)
    good = faults == NO_FAULT
    taken.samples.append((point.name, _good(time[rows], value, good)))
    taken.read += int(good.sum())
    for fault, found in _found(faults):
        if fault is Fault.EMPTY:  # blanks only: no sample, as in an empty cell
            continue
        taken.read += found.size

        def reason(row: int, fault: Fault = fault) -> str:
            text = _text(cells[int(np.searchsorted(rows, row))])
            return value_fault(fault, text, name, point.role)

        def about(row: int) -> About:
            return point.name, int(time[row])

        taken.faults.append(FaultRows(fault, rows[found], reason, about))


def _good(time: TimeArray, value: ValueArray, good: BoolArray) -> Samples:
    if good.all():
        return Samples.of(time, value)
    return Samples.of(time[good], value[good])


def _filled(column: pa.Array) -> BoolArray:
    """Return which cells hold something."""
    if pa.types.is_string(column.type):
        if column.null_count:
            column = pc.fill_null(column, "")
        return text_lengths(column) > 0
    return mask_of(column.is_valid())


def _quality(column: pa.Array | None, size: int) -> tuple[QualityArray | None, BoolArray]:
    if column is None:
        return None, np.zeros(size, bool)
    return read_quality(column)


def _found(faults: CodeArray) -> Iterator[tuple[Fault, RowArray]]:
    """Yield each fault that occurs with its rows."""
    bad = np.flatnonzero(faults != NO_FAULT)
    for code in np.unique(faults[bad]):
        yield FAULTS[code], bad[faults[bad] == code]


def _has_decimal_comma(layout: Layout) -> bool:
    """Return whether a comma is a decimal one: between tabs it may as well group thousands."""
    return layout.delimiter == ";"


def _text(cell: pa.Scalar) -> str:
    value = cell.as_py()
    return "" if value is None else str(value)
