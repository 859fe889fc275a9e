"""Why a row cannot be taken, and the rejects that keep it: bounded, and nothing in silence."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from bondtrail.results import Reject

RAW_BYTES = 4096
"""What is kept of the raw text of a reject."""
LISTED = 10_000
"""Rejects of one fault, or unknown tags, that a file lists one by one; more are counted."""

RowArray = npt.NDArray[np.int64]


class Fault(StrEnum):
    """A reason for a reject, in the words that sum up many of them."""

    ENCODING = "text that is not UTF-8"
    QUOTE = "a quote that is opened and not closed on its line"
    COLUMNS = "wrong number of columns"
    LONG_LINE = "line too long"
    TIME = "time that cannot be read"
    EMPTY = "no value"
    NUMBER = "value that is no number and no known word"
    NEGATIVE = "negative resistance"
    NAN = "value that is not a number (NaN)"
    INFINITE = "infinite value"
    CONTACT = "contact that is neither 0 nor 1"
    STATUS = "status that is not known"
    QUALITY = "quality that is not known"
    SPAN = "end before start"
    STATION = "station that the site file does not know"
    BLANK = "empty field"
    TAG = "tag that the site file does not know"
    FILE = "file that cannot be read"
    VOID = "empty message"
    SIZE = "message larger than 1 MiB"
    JSON = "message that is not JSON"
    DEPTH = "message that is nested too deep"
    SHAPE = "message that is no reading"
    TOPIC = "topic that the site file does not name"
    ROLE = "role that the station has no point for"
    KEY = "key that is no role"
    MEMBER = "key that is not t, v or q"
    NO_ROLE = "object that names no reading"
    NO_VALUE = "reading without a value"
    FIELD = "message with none of the fields that the site file names"
    TWICE = "key that stands twice in one object"
    NO_TIME = "reading without a time"
    EARLY = "time before the year 2000"
    AHEAD = "time more than an hour ahead of its arrival"


About = tuple[str, int] | None
"""The point and the time (ns) of the reading that a row would have been, where they are known."""


def about_nothing(_: int) -> About:
    """Say of a row that nobody knows which reading it would have been."""
    return None


@dataclass(frozen=True, slots=True)
class FaultRows:
    """Rows of one table that share a fault.

    ``rows`` are row numbers of the table, rising; ``reason`` and ``about`` are asked for those
    listed only.
    """

    fault: Fault
    rows: RowArray
    reason: Callable[[int], str]
    about: Callable[[int], About] = about_nothing


@dataclass(slots=True)
class _Tally:
    seen: int = 0
    line: int = 0
    raw: str = ""


def clean_raw(raw: bytes | str) -> str:
    """Return raw text cut at 4 KiB, with bytes that a database may refuse written as escapes."""
    data = raw.encode("utf-8", "surrogateescape") if isinstance(raw, str) else raw
    text = data[:RAW_BYTES].decode("utf-8", "backslashreplace").rstrip("\r\n")
    text = text.replace("\0", "\\x00")
    while len(text.encode()) > RAW_BYTES:  # the escapes made it longer
        text = text[: len(text) - max(1, (len(text.encode()) - RAW_BYTES) // 4)]
    return text


@dataclass(slots=True)
class RejectBook:
    """The rejects of one file.

    Of each fault the first `LISTED` rows are kept one by one, the others are counted in one
    reject that `close` returns. Memory is bounded however many rows are bad.
    """

    source: str
    now: int
    unit: str = "line"
    rejected: int = 0
    _rows: dict[Fault, _Tally] = field(default_factory=dict)
    _tags: dict[str, _Tally] = field(default_factory=dict)
    _other_tags: _Tally = field(default_factory=_Tally)

    def row(self, fault: Fault, line: int, reason: str, raw: bytes | str) -> list[Reject]:
        """Return the reject of one row, or nothing when it is only counted."""
        return self.rows(fault, [line], lambda _: reason, lambda _: raw)

    def rows(
        self,
        fault: Fault,
        lines: Sequence[int] | RowArray,
        reason: Callable[[int], str],
        raw: Callable[[int], bytes | str],
        about: Callable[[int], About] = about_nothing,
    ) -> list[Reject]:
        """Return the rejects of rows that share a fault.

        ``reason``, ``raw`` and ``about`` are asked with the index into ``lines``.
        """
        tally = self._rows.setdefault(fault, _Tally())
        room = max(0, LISTED - tally.seen)
        if tally.seen <= LISTED < tally.seen + len(lines):
            tally.line, tally.raw = int(lines[room]), clean_raw(raw(room))
        tally.seen += len(lines)
        self.rejected += len(lines)
        return [
            self._reject(int(line), reason(index), clean_raw(raw(index)), about=about(index))
            for index, line in enumerate(lines[:room])
        ]

    def tag(self, tag: str, line: int, count: int, raw: bytes | str) -> None:
        """Count rows of a tag that the site file does not know; ``line`` is the first of them."""
        self.rejected += count
        tally = self._tags.get(tag)
        if tally is None:
            if len(self._tags) < LISTED:
                tally = self._tags[tag] = _Tally(line=line, raw=clean_raw(raw))
            else:
                tally = self._other_tags
                tally.line, tally.raw = tally.line or line, tally.raw or clean_raw(raw)
        tally.seen += count

    def whole_file(self, line: int, reason: str, raw: bytes | str, count: int = 1) -> Reject:
        """Return the reject that stands for a file, or for the rest of it."""
        self.rejected += count
        return self._reject(line, reason, clean_raw(raw), count)

    def close(self) -> list[Reject]:
        """Return the rejects that sum up: one a tag, and one for what was only counted."""
        summed = [
            self._reject(tally.line, _unknown(tag), tally.raw, tally.seen)
            for tag, tally in self._tags.items()
        ]
        if self._other_tags.seen:
            reason = f"rows of more than {LISTED} different tags that the site file does not know"
            other = self._other_tags
            summed.append(self._reject(other.line, reason, other.raw, other.seen))
        for fault, tally in self._rows.items():
            if more := tally.seen - LISTED if tally.seen > LISTED else 0:
                reason = (
                    f"{fault}: {more} more from this {self.unit} on, "
                    f"beyond the {LISTED} that are listed one by one"
                )
                summed.append(self._reject(tally.line, reason, tally.raw, more))
        return summed

    def _reject(
        self, line: int, reason: str, raw: str, count: int = 1, about: About = None
    ) -> Reject:
        point, time = about or (None, None)
        where = f"{self.unit} {line}"
        return Reject(self.source, where, reason, raw, self.now, count, point, time)


def _unknown(tag: str) -> str:
    if not tag:
        return "the tag is empty: give each reading the tag or the point that it belongs to"
    return (
        f"tag {shown(tag)} is not in the site file: add it as an alias of the point it belongs to"
    )


def shown(text: str) -> str:
    """Return text from outside in quotes, short enough for a message."""
    return repr(text if len(text) <= 60 else text[:57] + "...")
