"""Reading a year of one point through the store, beside decoding the same blocks and no more."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence

import numpy as np
from pcodec import ChunkConfig, standalone

from benchmarks.series import resistance
from benchmarks.table import Row, median_seconds
from bondtrail.samples import Samples
from store import Store, open_store
from store.layout import FULL

DAYS = 365
POINT = "rail-1.resistance"
SHARE = 0.5
RATE = 30e6


def measure() -> list[Row]:
    """Return the row of the table."""
    with tempfile.TemporaryDirectory() as folder, open_store(f"sqlite:///{folder}/a.db") as store:
        streams = _fill(store)
        size = store.points()[0].samples
        bare = size / median_seconds(lambda: _decode(streams))
        ours = size / median_seconds(lambda: store.read(POINT))
    return [
        Row(
            name="a year of a 1 Hz point, read back",
            ours=f"{ours / 1e6:.0f} M samples/s",
            yardstick=f"{bare / 1e6:.0f} M/s, pcodec alone",
            ratio=ours / bare,
            reach=f"at least {SHARE:.0%} of it, over {RATE / 1e6:.0f} M samples/s",
            reached=ours >= SHARE * bare and ours > RATE,
        )
    ]


def _fill(store: Store) -> list[tuple[bytes, bytes]]:
    """Load a year; return the time and value streams of its days as pcodec makes them."""
    samples = resistance(DAYS)
    with store.bulk() as bulk:
        bulk.add(POINT, samples)
    return [_streams(samples, low) for low in range(0, len(samples), FULL)]


def _streams(samples: Samples, low: int) -> tuple[bytes, bytes]:
    part = slice(low, low + FULL)
    return (
        standalone.simple_compress(samples.time[part], ChunkConfig()),
        standalone.simple_compress(samples.value[part], ChunkConfig()),
    )


def _decode(streams: Sequence[tuple[bytes, bytes]]) -> int:
    """Decode every stream into the same two arrays of a day, in this thread alone."""
    time, value = np.empty(FULL, np.int64), np.empty(FULL, np.float64)
    for of_time, of_value in streams:
        standalone.simple_decompress_into(of_time, time)
        standalone.simple_decompress_into(of_value, value)
    return len(streams)
