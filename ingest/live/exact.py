"""JSON as it is written: every member, numbers in their own digits, nothing rounded or dropped.

The usual shapes are read by a faster way. This one reads the rest, and says what is wrong with it.
"""

from __future__ import annotations

import json
from collections import Counter
from typing import Any

from ingest.faults import Fault

MOST_BYTES = 2**20
"""A message that is larger is not looked into."""

_MOST_DIGITS = 25  # a number with more is no epoch, and int() would take long over it


class PayloadError(ValueError):
    """A payload that cannot be read; ``fault`` says why."""

    def __init__(self, fault: Fault) -> None:
        super().__init__(str(fault))
        self.fault = fault


class Number(str):
    """A number as it is written, or one of the words that some writers put in its place."""

    __slots__ = ()


class Members(dict[str, Any]):
    """An object; ``twice`` holds the keys that stand in it more than once."""

    __slots__ = ("twice",)

    def __init__(self, pairs: list[tuple[str, Any]]) -> None:
        super().__init__(pairs)
        self.twice: frozenset[str] = frozenset()
        if len(self) < len(pairs):
            counts = Counter(name for name, _ in pairs)
            self.twice = frozenset(name for name, count in counts.items() if count > 1)


_DECODER = json.JSONDecoder(
    object_pairs_hook=Members, parse_int=Number, parse_float=Number, parse_constant=Number
)


def read_exactly(payload: bytes) -> Any:
    """Return what a payload holds: `Members`, lists, `Number`, text, booleans or None.

    Raises
    ------
    PayloadError
        If it is empty, too large, not UTF-8, not JSON or nested too deep.
    """
    if len(payload) > MOST_BYTES:
        raise PayloadError(Fault.SIZE)
    text = text_of(payload)
    if not text.strip():
        raise PayloadError(Fault.VOID)
    try:
        return _DECODER.decode(text)
    except RecursionError as exc:
        raise PayloadError(Fault.DEPTH) from exc
    except ValueError as exc:
        raise PayloadError(Fault.JSON) from exc


def text_of(payload: bytes) -> str:
    """Return a payload as text; a byte order mark is dropped.

    Raises
    ------
    PayloadError
        If it is not UTF-8.
    """
    try:
        return payload.decode("utf-8-sig")
    except UnicodeDecodeError as exc:
        raise PayloadError(Fault.ENCODING) from exc


def value_of(written: Any) -> float | bool | str | None:
    """Return a value to be judged: what is no number is left as text."""
    if written is None or isinstance(written, bool):
        return written
    if isinstance(written, Number):
        number = float(written)
        return number if abs(number) < float("inf") else str(written)
    return plain_text(written)


def time_of(written: Any) -> int | str:
    """Return a time to be judged: what is no integer is left as text."""
    if isinstance(written, Number):
        return int(written) if len(written) <= _MOST_DIGITS and _is_whole(written) else str(written)
    return plain_text(written)


def plain_text(written: Any) -> str:
    """Return text that can be kept; a list or an object is a word that means nothing."""
    if isinstance(written, str):
        return written.encode("utf-8", "backslashreplace").decode()
    if isinstance(written, bool):
        return "true" if written else "false"
    return "" if written is None else "[]" if isinstance(written, list) else "{}"


def _is_whole(number: str) -> bool:
    return number.removeprefix("-").isdigit()
