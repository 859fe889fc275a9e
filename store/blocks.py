"""Samples to bytes and back: pure, and the only place that knows how a block is laid out.

A block is a small header and three streams: time and value as `pcodec` streams of their own
(together they would compress worse), quality as zstd because it hardly ever changes.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt
import zstandard
from pcodec import ChunkConfig, standalone

from bondtrail.samples import Samples, concatenate
from store.merging import piece

_LAYOUT = 1
_HEADER = struct.Struct("<BxxxIIII")  # layout, samples, bytes of time, of value, of quality
_BATCH = struct.Struct("<BxxxI")  # layout, points
_SPAN = struct.Struct("<qqqq")


class BlockError(ValueError):
    """Bytes that are no block."""


def checksum(key: int, first: int, last: int, samples: int, block: bytes) -> int:
    """Return the CRC-32 of a block and of what its row says about it.

    The row's own columns are in it so that a block that ended up beside the wrong span is
    noticed too. ``key`` is the point's id, or 0 for a batch; ``first`` and ``last`` are in ns.
    """
    return zlib.crc32(block, zlib.crc32(_SPAN.pack(key, first, last, samples)))


def encode(samples: Samples) -> bytes:
    """Return the block of samples in any order."""
    config = ChunkConfig()
    time = standalone.simple_compress(np.ascontiguousarray(samples.time), config)
    value = standalone.simple_compress(np.ascontiguousarray(samples.value), config)
    quality = zstandard.ZstdCompressor().compress(samples.quality.tobytes())
    head = _HEADER.pack(_LAYOUT, len(samples), len(time), len(value), len(quality))
    return b"".join((head, time, value, quality))


def decode(block: bytes) -> Samples:
    """Return the samples of a block, in the order that they were encoded in.

    Raises
    ------
    BlockError
        If the bytes are no block.
    """
    if len(block) < _HEADER.size:
        raise BlockError("too short for a block")
    into = blank(_HEADER.unpack_from(block)[1])
    decode_into(block, into)
    return into


def blank(size: int) -> Samples:
    """Return room for ``size`` samples, not yet filled."""
    return Samples(np.empty(size, np.int64), np.empty(size, np.float64), np.empty(size, np.uint8))


def decode_into(block: bytes, into: Samples) -> None:
    """Fill ``into``, which must have room for exactly the samples of the block.

    Raises
    ------
    BlockError
        If the bytes are no block, or one of another size.
    """
    try:
        layout, size, *lengths = _HEADER.unpack_from(block)
        if layout != _LAYOUT or size != len(into):
            raise BlockError(f"layout {layout} of {size} samples, expected {len(into)}")
        time, value, quality = _streams(memoryview(block), lengths)
        _fill(time, into.time)
        _fill(value, into.value)
        plain = zstandard.ZstdDecompressor().decompress(quality, max_output_size=max(size, 1))
        into.quality[:] = np.frombuffer(plain, np.uint8)
    except (struct.error, RuntimeError, TypeError, ValueError, zstandard.ZstdError) as exc:
        raise BlockError(str(exc)) from exc


def _streams(block: memoryview, lengths: Sequence[int]) -> list[bytes]:
    edges = np.cumsum([_HEADER.size, *lengths]).tolist()
    return [bytes(block[a:b]) for a, b in pairwise(edges)]


def _fill(stream: bytes, into: npt.NDArray[np.int64] | npt.NDArray[np.float64]) -> None:
    progress = standalone.simple_decompress_into(stream, into)
    if progress.n_processed != into.size:
        raise BlockError(f"{progress.n_processed} samples in a stream of {into.size}")


@dataclass(frozen=True, slots=True)
class Batch:
    """Samples of several points, one point after the other: what a journal row holds."""

    points: npt.NDArray[np.int64]
    """Ids of the points, shape (p,)."""
    edges: npt.NDArray[np.int64]
    """Where each point's samples begin, and the end of the last, shape (p + 1,)."""
    samples: Samples

    def of(self, point_id: int) -> Samples:
        """Return the samples of one point; empty if the batch has none."""
        found = np.flatnonzero(self.points == point_id)
        if not found.size:
            return Samples.empty()
        low, high = self.edges[found[0]], self.edges[found[0] + 1]
        return piece(self.samples, low, high)


def encode_batch(parts: Sequence[tuple[int, Samples]]) -> bytes:
    """Return the block of several points' samples, each given as (point id, samples)."""
    points = np.array([point_id for point_id, _ in parts], "<i8")
    counts = np.array([len(samples) for _, samples in parts], "<i8")
    head = _BATCH.pack(_LAYOUT, len(parts))
    joined = concatenate(samples for _, samples in parts)
    return b"".join((head, points.tobytes(), counts.tobytes(), encode(joined)))


def decode_batch(block: bytes) -> Batch:
    """Return the batch of a journal row.

    Raises
    ------
    BlockError
        If the bytes are no batch.
    """
    try:
        layout, size = _BATCH.unpack_from(block)
        if layout != _LAYOUT:
            raise BlockError(f"layout {layout}")
        table = np.frombuffer(block, "<i8", 2 * size, _BATCH.size).astype(np.int64)
    except (struct.error, ValueError) as exc:
        raise BlockError(str(exc)) from exc
    edges = np.concatenate(([0], np.cumsum(table[size:])))
    samples = decode(block[_BATCH.size + 16 * size :])
    if edges[-1] != len(samples):
        raise BlockError("its points and its samples do not match")
    return Batch(table[:size], edges, samples)
