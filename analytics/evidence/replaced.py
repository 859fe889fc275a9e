"""The earlier values of readings that others took the place of: Parquet, and the same as CSV.

A row is a reading as it was. ``commit`` numbers what was replaced at once, in the order in which
it was; ``replaced_at`` is when that came into the store, empty where nobody recorded it. A reading
that was replaced more than once has a row for each of its earlier values.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pyarrow as pa

from analytics.evidence.faults import UnreadableError
from analytics.evidence.readings import (
    MOMENT,
    MOST_READINGS,
    check_values,
    integers,
    iso,
    moments,
    read_table,
    sample_columns,
    samples_in,
    table_bytes,
    value_texts,
)
from bondtrail.samples import Replaced, Samples, concatenate
from store import NEVER

_SCHEMA = pa.schema(
    [
        pa.field("commit", pa.uint32(), nullable=False),
        pa.field("replaced_at", MOMENT),
        pa.field("time", MOMENT, nullable=False),
        pa.field("value", pa.float64(), nullable=False),
        pa.field("quality", pa.uint8(), nullable=False),
    ]
)


def count(replaced: Sequence[Replaced]) -> int:
    """Return how many earlier values there are."""
    return sum(len(each.samples) for each in replaced)


def parquet(replaced: Sequence[Replaced]) -> bytes:
    """Return earlier values as Parquet: the same ones give the same bytes."""
    samples = concatenate(each.samples for each in replaced)
    sizes = [len(each.samples) for each in replaced]
    at = np.array([NEVER if each.at is None else each.at for each in replaced], np.int64)
    columns = [
        pa.array(np.repeat(np.arange(1, len(sizes) + 1), sizes), pa.uint32()),
        moments(np.repeat(at, sizes)),
        *sample_columns(samples),
    ]
    return table_bytes(columns, _SCHEMA)


def parse_parquet(content: bytes, name: str) -> list[Replaced]:
    """Return the earlier values of a Parquet file; ``name`` stands in errors.

    Raises
    ------
    UnreadableError
        If it is none, not of these columns, too long, empty, not in order, or holds what no
        reading can be.
    """
    table = read_table(content, name, _SCHEMA, MOST_READINGS)
    samples = samples_in(table)
    check_values(samples, name)
    commit, at = table["commit"].to_numpy().astype(np.int64), integers(table["replaced_at"])
    begins = np.flatnonzero(np.diff(commit, prepend=0))
    if not np.array_equal(commit[begins], np.arange(1, begins.size + 1)) or not begins.size:
        raise UnreadableError(f"{name}: commits out of order")
    same_commit = np.diff(commit) == 0
    if (np.diff(samples.time)[same_commit] < 0).any() or np.diff(at)[same_commit].any():
        raise UnreadableError(f"{name}: earlier values out of order")
    parts = zip(begins.tolist(), [*begins[1:].tolist(), commit.size], strict=True)
    return [
        Replaced(
            None if at[first] == NEVER else int(at[first]),
            Samples(
                samples.time[first:last], samples.value[first:last], samples.quality[first:last]
            ),
        )
        for first, last in parts
    ]


def csv(replaced: Sequence[Replaced]) -> bytes:
    """Return earlier values as CSV: times in ISO 8601 with nanoseconds, values in full."""
    lines = [",".join(_SCHEMA.names)]
    for commit, each in enumerate(replaced, start=1):
        (at,) = iso(np.array([NEVER if each.at is None else each.at], np.int64))
        samples = each.samples
        for time, value, quality in zip(
            iso(samples.time), value_texts(samples.value), samples.quality.tolist(), strict=True
        ):
            lines.append(f"{commit},{at},{time},{value},{quality}")
    return ("\n".join(lines) + "\n").encode("ascii")
