"""The enclosed readings: each point as Parquet for programs and as CSV for people.

Both say the same to the last digit. Values are in ohm, L/min or kg/min, as the rules read them,
and an open circuit is infinite: ``open`` in the CSV. ``arrived_from`` and ``arrived_until`` are
the moments between which a reading came into the store; empty where nobody recorded that.
"""

from __future__ import annotations

import io
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from analytics.core.situation import Signals
from analytics.evidence.faults import UnreadableError
from bondtrail.samples import Quality, Samples, TimeArray, ValueArray
from bondtrail.site import Role, Station
from bondtrail.times import nanoseconds
from store import NEVER

MOST_READINGS = 20_000_000
"""Of one point."""

_MOMENT = pa.timestamp("ns", tz="UTC")
_SCHEMA = pa.schema(
    [
        pa.field("time", _MOMENT, nullable=False),
        pa.field("value", pa.float64(), nullable=False),
        pa.field("quality", pa.uint8(), nullable=False),
        pa.field("arrived_from", _MOMENT),
        pa.field("arrived_until", _MOMENT),
    ]
)
_HEADING = ",".join(_SCHEMA.names)
_ROW_GROUP = 1 << 20
_CSV_CHUNK = 1 << 14
"""Rows written at once: as text they take some hundred times the room of the readings."""


@dataclass(frozen=True, slots=True, eq=False)
class Enclosed:
    """The readings of one point, each with when it arrived.

    Attributes
    ----------
    samples : Samples
        n of them, strictly rising in time.
    arrived_from, arrived_until : ndarray of int64, shape (n,)
        `NEVER` in both where nobody recorded it. [ns]
    """

    samples: Samples
    arrived_from: TimeArray
    arrived_until: TimeArray


def parquet(readings: Enclosed) -> bytes:
    """Return readings as Parquet: the same ones give the same bytes."""
    samples = readings.samples
    columns = [
        pa.array(samples.time, pa.int64()).cast(_MOMENT),
        pa.array(samples.value, pa.float64()),
        pa.array(samples.quality, pa.uint8()),
        _moments(readings.arrived_from),
        _moments(readings.arrived_until),
    ]
    content = io.BytesIO()
    pq.write_table(
        pa.Table.from_arrays(columns, schema=_SCHEMA),
        content,
        compression="zstd",
        row_group_size=_ROW_GROUP,
        store_schema=False,
    )
    return content.getvalue()


def _moments(moments: TimeArray) -> pa.Array:
    return pa.array(moments, pa.int64(), mask=moments == NEVER).cast(_MOMENT)


def parse_parquet(content: bytes, name: str) -> Enclosed:
    """Return the readings of a Parquet file; ``name`` stands in errors.

    Raises
    ------
    UnreadableError
        If it is none, not of these columns, too long, not in order of time, or holds what no
        reading can be.
    """
    try:
        file = pq.ParquetFile(pa.BufferReader(content))
        _check(file, name)
        table = file.read(use_threads=False)
    except (UnreadableError, MemoryError):
        raise  # a machine that is too small says nothing of the file
    except (pa.ArrowException, OSError, ValueError, NotImplementedError) as exc:
        raise UnreadableError(f"{name}: no Parquet that can be read") from exc
    if table.num_rows != file.metadata.num_rows:
        raise UnreadableError(f"{name}: not as long as it says")
    samples = Samples(
        _integers(table["time"]),
        table["value"].to_numpy(),
        table["quality"].to_numpy(),
    )
    if len(samples) and bool(np.any(samples.time[1:] <= samples.time[:-1])):
        raise UnreadableError(f"{name}: readings out of order of time")
    if bool(np.any(np.isnan(samples.value) | (samples.value == -np.inf))):
        raise UnreadableError(f"{name}: a value that is no number")
    if bool(np.any(samples.quality > max(Quality))):
        raise UnreadableError(f"{name}: a quality that is none")
    return Enclosed(samples, _integers(table["arrived_from"]), _integers(table["arrived_until"]))


def _check(file: pq.ParquetFile, name: str) -> None:
    """Refuse what is not of our columns or too long, before any of it is unpacked."""
    if not file.schema_arrow.equals(_SCHEMA):
        raise UnreadableError(f"{name}: expected the columns {_HEADING}, not empty but for the two")
    if not 0 <= file.metadata.num_rows <= MOST_READINGS:
        raise UnreadableError(f"{name}: more than {MOST_READINGS:,} readings")


def _integers(column: pa.ChunkedArray) -> TimeArray:
    numbers = column.cast(pa.int64()).fill_null(NEVER).to_numpy()
    return np.asarray(numbers, np.int64)


def signals_of(
    readings: Mapping[Role, Enclosed], station: Station, start: int, end: int
) -> Signals:
    """Return the enclosed readings of a station that hold in ``[start, end)``. [ns]

    They are those that `analytics.signals.load_signals` would read from a store.
    """
    return {
        role: readings[role].samples.between(start - nanoseconds(point.stale_after_s), end)
        if role in readings
        else Samples.empty()
        for role, point in station.points.items()
    }


def csv(readings: Enclosed) -> bytes:
    """Return readings as CSV: times in ISO 8601 with nanoseconds, values in full."""
    content = io.BytesIO()
    content.write(f"{_HEADING}\n".encode("ascii"))
    for begin in range(0, len(readings.samples), _CSV_CHUNK):
        content.write(_csv_rows(readings, slice(begin, begin + _CSV_CHUNK)))
    return content.getvalue()


def _csv_rows(readings: Enclosed, part: slice) -> bytes:
    samples = readings.samples
    rows = zip(
        _iso(samples.time[part]),
        _values(samples.value[part]),
        map(str, samples.quality[part].tolist()),
        _iso(readings.arrived_from[part]),
        _iso(readings.arrived_until[part]),
        strict=True,
    )
    return "\n".join([*map(",".join, rows), ""]).encode("ascii")


def _iso(moments: TimeArray) -> list[str]:
    written = np.char.add(np.datetime_as_string(moments.view("M8[ns]"), unit="ns"), "Z")
    told: list[str] = np.where(moments == NEVER, "", written).tolist()
    return told


def _values(values: ValueArray) -> list[str]:
    return ["open" if value == np.inf else repr(value) for value in values.tolist()]
