"""Bytes that a sample takes on disk, beside a row a sample in the same kind of file."""

from __future__ import annotations

import sqlite3
import tempfile
from pathlib import Path

from benchmarks.series import resistance
from benchmarks.table import Row
from bondtrail.samples import Samples
from store import open_store

DAYS = 30
MOST_BYTES = 1.6
TIMES_SMALLER = 18.0


def measure() -> list[Row]:
    """Return the row of the table; both files are closed before they are measured."""
    samples = resistance(DAYS)
    with tempfile.TemporaryDirectory() as folder:
        ours = _folded(Path(folder) / "store.db", samples) / len(samples)
        theirs = _rows(Path(folder) / "rows.db", samples) / len(samples)
    return [
        Row(
            name="a 1 Hz resistance sample at rest",
            ours=f"{ours:.2f} B",
            yardstick=f"{theirs:.1f} B, an SQLite row",
            ratio=theirs / ours,
            reach=f"at most {MOST_BYTES} B, at least {TIMES_SMALLER:.0f} times smaller",
            reached=ours <= MOST_BYTES and theirs / ours >= TIMES_SMALLER,
        )
    ]


def _folded(path: Path, samples: Samples) -> int:
    with open_store(f"sqlite:///{path}") as store:
        with store.bulk() as bulk:
            bulk.add("rail-1.resistance", samples)
        store.fold()
    return path.stat().st_size


def _rows(path: Path, samples: Samples) -> int:
    connection = sqlite3.connect(path)
    connection.execute(
        "create table sample (point integer, time integer, value real, quality integer, "
        "primary key (point, time)) without rowid"
    )
    columns = (samples.time.tolist(), samples.value.tolist(), samples.quality.tolist())
    connection.executemany("insert into sample values (1, ?, ?, ?)", zip(*columns, strict=True))
    connection.commit()
    connection.close()
    return path.stat().st_size
