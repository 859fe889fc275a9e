"""The enclosed readings: each point as Parquet for programs and as CSV for people.

Both say the same to the last digit. Values are in ohm, L/min or kg/min, as the rules read them,
and an open circuit is infinite: ``open`` in the CSV. ``arrived_from`` and ``arrived_until`` are
the moments between which a reading came into the store; empty where nobody recorded that.
"""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
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

MOMENT = pa.timestamp("ns", tz="UTC")
_SCHEMA = pa.schema(
    [
        pa.field("time", MOMENT, nullable=False),
        pa.field("value", pa.float64(), nullable=False),
        pa.field("quality", pa.uint8(), nullable=False),
        pa.field("arrived_from", MOMENT),
        pa.field("arrived_until", MOMENT),
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
    arrived = [moments(readings.arrived_from), moments(readings.arrived_until)]
    return table_bytes([*sample_columns(readings.samples), *arrived], _SCHEMA)


def sample_columns(samples: Samples) -> list[pa.Array]:
    """Return samples as columns: time, value and quality."""
    return [
        pa.array(samples.time, pa.int64()).cast(MOMENT),
        pa.array(samples.value, pa.float64()),
        pa.array(samples.quality, pa.uint8()),
    ]


def table_bytes(columns: Sequence[pa.Array], schema: pa.Schema) -> bytes:
    """Return columns as Parquet: the same ones give the same bytes."""
    content = io.BytesIO()
    pq.write_table(
        pa.Table.from_arrays(columns, schema=schema),
        content,
        compression="zstd",
        row_group_size=_ROW_GROUP,
        store_schema=False,
    )
    return content.getvalue()


def samples_in(table: pa.Table) -> Samples:
    """Return the samples that a table holds as `sample_columns` lays them out."""
    return Samples(integers(table["time"]), table["value"].to_numpy(), table["quality"].to_numpy())


def moments(moments: TimeArray) -> pa.Array:
    """Return moments in ns as a column, empty where they are `NEVER`."""
    return pa.array(moments, pa.int64(), mask=moments == NEVER).cast(MOMENT)


def parse_parquet(content: bytes, name: str) -> Enclosed:
    """Return the readings of a Parquet file; ``name`` stands in errors.

    Raises
    ------
    UnreadableError
        If it is none, not of these columns, too long, not in order of time, or holds what no
        reading can be.
    """
    table = read_table(content, name, _SCHEMA, MOST_READINGS)
    samples = samples_in(table)
    if len(samples) and bool(np.any(samples.time[1:] <= samples.time[:-1])):
        raise UnreadableError(f"{name}: readings out of order of time")
    check_values(samples, name)
    return Enclosed(samples, integers(table["arrived_from"]), integers(table["arrived_until"]))


def read_table(content: bytes, name: str, schema: pa.Schema, most: int) -> pa.Table:
    """Return the table of a Parquet file, if it has these columns and no more rows than these.

    Raises
    ------
    UnreadableError
        If it is none, or another one.
    MemoryError
        If this machine is too small for it, which says nothing of the file.
    """
    try:
        file = pq.ParquetFile(pa.BufferReader(content))
        _check(file, name, schema, most)
        table = file.read(use_threads=False)
    except (UnreadableError, MemoryError):
        raise
    except (pa.ArrowException, OSError, ValueError, NotImplementedError) as exc:
        raise UnreadableError(f"{name}: no Parquet that can be read") from exc
    if table.num_rows != file.metadata.num_rows:
        raise UnreadableError(f"{name}: not as long as it says")
    return table


def _check(file: pq.ParquetFile, name: str, schema: pa.Schema, most: int) -> None:
    """Refuse what is not of our columns or too long, before any of it is unpacked."""
    if not file.schema_arrow.equals(schema):
        columns = ",".join(schema.names)
        raise UnreadableError(f"{name}: expected the columns {columns}, not empty but for moments")
    if not 0 <= file.metadata.num_rows <= most:
        raise UnreadableError(f"{name}: more than {most:,} readings")


def check_values(samples: Samples, name: str) -> None:
    """Refuse values and qualities that no reading has.

    Raises
    ------
    UnreadableError
        If there is one.
    """
    if bool(np.any(np.isnan(samples.value) | (samples.value == -np.inf))):
        raise UnreadableError(f"{name}: a value that is no number")
    if bool(np.any(samples.quality > max(Quality))):
        raise UnreadableError(f"{name}: a quality that is none")


def integers(column: pa.ChunkedArray) -> TimeArray:
    """Return a column of moments in ns, `NEVER` where it is empty."""
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
        iso(samples.time[part]),
        value_texts(samples.value[part]),
        map(str, samples.quality[part].tolist()),
        iso(readings.arrived_from[part]),
        iso(readings.arrived_until[part]),
        strict=True,
    )
    return "\n".join([*map(",".join, rows), ""]).encode("ascii")


def iso(moments: TimeArray) -> list[str]:
    """Return moments as ISO 8601 with nanoseconds, empty where they are `NEVER`. [ns]"""
    written = np.char.add(np.datetime_as_string(moments.view("M8[ns]"), unit="ns"), "Z")
    told: list[str] = np.where(moments == NEVER, "", written).tolist()
    return told


def value_texts(values: ValueArray) -> list[str]:
    """Return values in full, and an open circuit as such."""
    return ["open" if value == np.inf else repr(value) for value in values.tolist()]
