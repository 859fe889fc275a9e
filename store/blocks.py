"""Samples to bytes and back: pure, and the only place that knows how a block is laid out.

A block is a small header and four streams: time, value and the edges of open stretches as
`pcodec` streams of their own (together they would compress worse), quality as zstd because it
hardly ever changes. Two things are taken out first, because they are cheap to put back and
what is left is smaller and twice as fast to decode (measured on 1 Hz resistance with ms
jitter): from times a steady step, and from values, where they have up to three decimals, the
open circuits and the decimal point.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise
from typing import Any

import numpy as np
import numpy.typing as npt
import zstandard
from pcodec import ChunkConfig, DeltaSpec, ModeSpec, standalone

from bondtrail.samples import Samples, TimeArray, ValueArray, concatenate
from store.merging import piece

_LAYOUT = 1
# layout, scale of values, samples, step of times in ns, bytes of time, value, open and quality
_HEADER = struct.Struct("<BxHIqIIII")
_BATCH = struct.Struct("<BxxxI")  # layout, points
_TIMES = struct.Struct("<BxxxIq")  # layout, times, step of times in ns
_SPAN = struct.Struct("<qqqq")

_SCALES = (1, 10, 100, 1000)
_AS_THEY_ARE = 0
_PROBE = 64
"""Values to try a scale on before it is tried on all."""
_STEPS = 4096
"""About how many steps tell the usual one."""

WholeArray = npt.NDArray[np.int32]


class BlockError(ValueError):
    """Bytes that are no block."""


def checksum(key: int, first: int, last: int, samples: int, block: bytes) -> int:
    """Return the CRC-32 of a block and of what its row says about it.

    The row's own columns are in it so that a block that ended up beside the wrong span is
    noticed too. ``key`` is the point's id, or 0 for a batch; ``first`` and ``last`` are in ns.
    """
    return zlib.crc32(block, zlib.crc32(_SPAN.pack(key, first, last, samples)))


def encode(samples: Samples, *, quickly: bool = False) -> bytes:
    """Return the block of samples in any order; a quick one is somewhat larger."""
    of_times, of_values = _QUICK if quickly else _SMALL
    step = _step(samples.time)
    is_open = np.isposinf(samples.value)
    scale, value = _scaled(np.where(is_open, 0.0, samples.value))
    if scale == _AS_THEY_ARE:
        value, is_open = samples.value, np.zeros(0, bool)
    streams = [
        _packed(samples.time - _steady(step, len(samples)), of_times),
        _packed(value, of_values),
        _packed(_edges(is_open), of_values) if is_open.any() else b"",
        zstandard.ZstdCompressor().compress(samples.quality.tobytes()),
    ]
    head = _HEADER.pack(_LAYOUT, scale, len(samples), step, *map(len, streams))
    return b"".join((head, *streams))


def _step(time: TimeArray) -> int:
    """Return the usual step between times: one that occurs, so that whole ms stay whole. [ns]"""
    if time.size < 3:
        return 0
    stride = max(1, time.size // _STEPS)
    steps = time[1::stride] - time[:-1:stride]
    return int(np.partition(steps, steps.size // 2)[steps.size // 2])


def _steady(step: int, size: int) -> TimeArray:
    times = np.arange(size)
    times *= step  # in place: another array takes as long to get as to fill
    return times


def _scaled(value: ValueArray) -> tuple[int, ValueArray | WholeArray]:
    """Return whole numbers that give the values back to the last bit, and what to divide by."""
    for scale in _SCALES:
        if _whole(value[:_PROBE], scale) is None:
            continue
        whole = _whole(value, scale)
        if whole is not None:
            return scale, whole
    return _AS_THEY_ARE, value


def _whole(value: ValueArray, scale: int) -> WholeArray | None:
    with np.errstate(all="ignore"):  # what overflows does not fit, and is found so below
        rounded = np.rint(value * scale)
        if not np.all(np.abs(rounded) < 2**31):
            return None
    whole = rounded.astype(np.int32)
    back = whole / scale
    return whole if np.array_equal(back.view(np.int64), value.view(np.int64)) else None


def _edges(is_open: npt.NDArray[np.bool_]) -> npt.NDArray[np.int64]:
    """Return where open stretches begin and end, in turn."""
    return np.flatnonzero(np.diff(is_open, prepend=False, append=False))


_SMALL = (ChunkConfig(), ChunkConfig())
_QUICK = (
    ChunkConfig(mode_spec=ModeSpec.classic(), delta_spec=DeltaSpec.try_consecutive(1)),
    ChunkConfig(compression_level=4),
)
"""For times and values: the journal is written twice a second and gone within minutes."""


def _packed(numbers: npt.NDArray[Any], how: ChunkConfig) -> bytes:
    return bytes(standalone.simple_compress(np.ascontiguousarray(numbers), how))


def decode(block: bytes) -> Samples:
    """Return the samples of a block, in the order that they were encoded in.

    Raises
    ------
    BlockError
        If the bytes are no block.
    """
    if len(block) < _HEADER.size:
        raise BlockError("too short for a block")
    into = blank(_HEADER.unpack_from(block)[2])
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
        layout, scale, size, step, *lengths = _HEADER.unpack_from(block)
        if layout != _LAYOUT or size != len(into):
            raise BlockError(f"layout {layout} of {size} samples, expected {len(into)}")
        time, value, edges, quality = _streams(block, lengths)
        _fill(time, into.time)
        np.add(into.time, _steady(step, size), out=into.time)
        _fill_values(value, edges, scale, into.value)
        plain = zstandard.ZstdDecompressor().decompress(quality, max_output_size=max(size, 1))
        into.quality[:] = np.frombuffer(plain, np.uint8)
    except (struct.error, RuntimeError, TypeError, ValueError, zstandard.ZstdError) as exc:
        raise BlockError(str(exc)) from exc


def _streams(block: bytes, lengths: Sequence[int]) -> Iterator[bytes]:
    edges = accumulate(lengths, initial=_HEADER.size)
    return (block[low:high] for low, high in pairwise(edges))


def _fill_values(stream: bytes, edges: bytes, scale: int, into: ValueArray) -> None:
    if scale == _AS_THEY_ARE:
        _fill(stream, into)
        return
    whole = np.empty(into.size, np.int32)
    _fill(stream, whole)
    np.divide(whole, scale, out=into)
    if edges:
        at = np.concatenate(([0], standalone.simple_decompress(edges), [into.size]))
        is_open = np.repeat(np.arange(at.size - 1) % 2 == 1, np.diff(at))
        np.copyto(into, np.inf, where=is_open)


def _fill(stream: bytes, into: npt.NDArray[Any]) -> None:
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
        return self.number(int(found[0]))

    def number(self, place: int) -> Samples:
        """Return the samples of the point at a place among its points."""
        return piece(self.samples, self.edges[place], self.edges[place + 1])

    def spans(self) -> tuple[TimeArray, TimeArray]:
        """Return the first and last time of each point, shape (p,) each. [ns]"""
        return self.samples.time[self.edges[:-1]], self.samples.time[self.edges[1:] - 1]


def encode_batch(parts: Sequence[tuple[int, Samples]]) -> bytes:
    """Return the block of several points' samples, each given as (point id, samples)."""
    points = np.array([point_id for point_id, _ in parts], "<i8")
    counts = np.array([len(samples) for _, samples in parts], "<i8")
    head = _BATCH.pack(_LAYOUT, len(parts))
    joined = concatenate(samples for _, samples in parts)
    return b"".join((head, points.tobytes(), counts.tobytes(), encode(joined, quickly=True)))


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


def encode_times(time: TimeArray) -> bytes:
    """Return the block of rising times alone. [ns]"""
    step = _step(time)
    steady = _steady(step, time.size)
    return _TIMES.pack(_LAYOUT, time.size, step) + _packed(time - steady, ChunkConfig())


def decode_times(block: bytes) -> TimeArray:
    """Return the times of a block. [ns]

    Raises
    ------
    BlockError
        If the bytes are no block of times.
    """
    try:
        layout, size, step = _TIMES.unpack_from(block)
        if layout != _LAYOUT:
            raise BlockError(f"layout {layout}")
        time = np.empty(size, np.int64)
        _fill(block[_TIMES.size :], time)
    except (struct.error, RuntimeError, TypeError, ValueError, MemoryError) as exc:
        raise BlockError(str(exc)) from exc
    time += _steady(step, size)
    return time
