"""Text of any size, cut into blocks of whole lines in bounded memory."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ingest.faults import RAW_BYTES, RowArray
from ingest.sources import DamagedSourceError

BLOCK = 4 << 20
"""Bytes of a block: enough rows to work on at once, few enough to hold several."""
LONGEST_LINE = 1 << 20
"""Bytes of a line: a row of the widest table that is read is shorter."""
GIVE_UP = 256 << 20
"""A line that goes on for so many bytes ends the file."""


class Block:
    """Some whole lines; ``data`` may lack its last line break."""

    def __init__(self, data: bytes) -> None:
        self.data = data

    @cached_property
    def starts(self) -> RowArray:
        """Where each line begins, and the end of the last."""
        breaks = np.flatnonzero(np.frombuffer(self.data, np.uint8) == 10) + 1
        ends = breaks if self.data.endswith(b"\n") else np.append(breaks, len(self.data))
        return np.concatenate(([0], ends))

    @cached_property
    def count(self) -> int:
        """How many lines there are."""
        return self.data.count(b"\n") + (not self.data.endswith(b"\n"))

    def line(self, index: int, size: int | None = RAW_BYTES) -> bytes:
        """Return a line by its index in the block, cut at ``size`` bytes, without its break."""
        begin, end = int(self.starts[index]), int(self.starts[index + 1])
        text = self.data[begin : end if size is None else min(end, begin + size)]
        return text.rstrip(b"\r\n")


@dataclass(frozen=True, slots=True)
class LongLine:
    """A line that is too long to read; the lines after it follow, unless the file ends here."""

    head: bytes
    size: int
    gave_up: bool


@dataclass(frozen=True, slots=True)
class Broken:
    """The bytes stopped coming: what was begun of a line, and why."""

    head: bytes
    reason: str


Part = Block | LongLine | Broken


def split(read: Callable[[int], bytes], block: int = BLOCK) -> Iterator[Part]:
    """Yield the text behind ``read`` in blocks of whole lines.

    Lines end in LF, CRLF or a lone CR. A line longer than `LONGEST_LINE` comes as a `LongLine`
    of its own, in its place among the blocks. Nothing is held but a block and a line.
    """
    rest = b""
    chunks = _chunks(read, block)
    for chunk in chunks:
        if isinstance(chunk, Broken):
            yield Broken(rest[:RAW_BYTES], chunk.reason)
            return
        cut = chunk.rfind(b"\n") + 1
        if cut:
            yield from _with_long_lines(rest + chunk[:cut])
            rest = chunk[cut:]
        else:
            rest += chunk
        while len(rest) > LONGEST_LINE:
            long, rest = _skip(rest, chunks)
            yield long
            if isinstance(long, Broken) or long.gave_up:
                return
            cut = rest.rfind(b"\n") + 1
            yield from _with_long_lines(rest[:cut])
            rest = rest[cut:]
    if rest:
        yield from _with_long_lines(rest)


def _chunks(read: Callable[[int], bytes], block: int) -> Iterator[bytes | Broken]:
    """Yield raw bytes with every line break an LF, or with the CR of a CRLF left before it."""
    held = b""
    while True:
        try:
            chunk = held + read(block)
        except DamagedSourceError as exc:
            yield Broken(b"", str(exc))
            return
        if chunk == held:
            break
        held = b""
        if chunk.endswith(b"\r"):
            chunk, held = chunk[:-1], b"\r"
        yield _plain_breaks(chunk)
    if held:
        yield b"\n"


def _plain_breaks(chunk: bytes) -> bytes:
    if b"\r" in chunk and chunk.count(b"\r") != chunk.count(b"\r\n"):
        chunk = chunk.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    return chunk


def _skip(rest: bytes, chunks: Iterator[bytes | Broken]) -> tuple[LongLine | Broken, bytes]:
    """Read on to the end of a long line; return it and what follows."""
    head, size = rest[:RAW_BYTES], len(rest)
    for chunk in chunks:
        if isinstance(chunk, Broken):
            return Broken(head, chunk.reason), b""
        cut = chunk.find(b"\n") + 1
        if cut:
            return LongLine(head, size + cut, gave_up=False), chunk[cut:]
        size += len(chunk)
        if size > GIVE_UP:
            return LongLine(head, size, gave_up=True), b""
    return LongLine(head, size, gave_up=False), b""


def _with_long_lines(data: bytes) -> Iterator[Part]:
    """Yield the lines as one block, or as several around long lines."""
    begin = at = 0
    while len(data) - at > LONGEST_LINE:
        last = data.rfind(b"\n", at, at + LONGEST_LINE + 1)
        if last >= 0:
            at = last + 1
            continue
        if at > begin:
            yield Block(data[begin:at])
        end = data.find(b"\n", at) + 1 or len(data)
        yield LongLine(data[at : at + RAW_BYTES], end - at, gave_up=False)
        begin = at = end
    if begin < len(data):
        yield Block(data[begin:])
