"""JSON as it is written: every member, numbers in their own digits, nothing rounded or dropped.

The usual shapes are read by a faster way. This one reads the rest, and says what is wrong with it.
"""

from __future__ import annotations

import json
import math
from collections import Counter
from typing import Any

import msgspec

from ingest.faults import Fault
from ingest.live.cutting import MOST_PAYLOAD

_MOST_DIGITS = 25  # a number with more is no epoch, and int() would take long over it


Members = dict[str, Any]
"""An object as it was read; a `Repeating` one where keys stand twice."""


class PayloadError(ValueError):
    """A payload that cannot be read; ``fault`` says why."""

    def __init__(self, fault: Fault) -> None:
        super().__init__(str(fault))
        self.fault = fault


class Number(str):
    """A number as it is written, or one of the words that some writers put in its place."""

    __slots__ = ()


class Repeating(dict[str, Any]):
    """An object in which keys stand more than once: ``twice`` holds them."""

    __slots__ = ("twice",)

    def __init__(self, pairs: list[tuple[str, Any]]) -> None:
        super().__init__(pairs)
        counts = Counter(name for name, _ in pairs)
        self.twice = frozenset(name for name, count in counts.items() if count > 1)


def stands_twice(members: Members, key: str) -> bool:
    """Return whether a key stands in an object more than once."""
    return isinstance(members, Repeating) and key in members.twice


def _object(pairs: list[tuple[str, Any]]) -> Members:
    members = dict(pairs)
    return members if len(members) == len(pairs) else Repeating(pairs)


_QUICK = msgspec.json.Decoder()
_NESTING = (dict, list)
_DECODER = json.JSONDecoder(
    object_pairs_hook=_object, parse_int=Number, parse_float=Number, parse_constant=Number
)


def read_quickly(payload: bytes) -> Any:
    """Return what a payload holds the quick way: the same in Python's own numbers and dicts.

    Raises
    ------
    ValueError
        If that might not be the same, as where a key stands twice: its exact words must be read.
    """
    if len(payload) > MOST_PAYLOAD:
        raise PayloadError(Fault.SIZE)
    try:
        found = _QUICK.decode(payload)
        # As many commas as separate what was read: no key stood twice, where the last would win.
        commas = payload.count(b",")
        if found.__class__ is dict and commas == len(found) - 1:
            return found
        if commas == _separators(found):
            return found
    except RecursionError as exc:
        raise PayloadError(Fault.DEPTH) from exc
    raise ValueError("not plain")


def _separators(found: Any) -> int:
    """Return how many commas it takes to write lists and objects."""
    if found.__class__ not in _NESTING:
        return 0
    items = found.values() if isinstance(found, dict) else found
    inner = sum(_separators(item) for item in items if item.__class__ in _NESTING)
    return max(len(found) - 1, 0) + inner


def read_exactly(payload: bytes) -> Any:
    """Return what a payload holds: `Members`, lists, `Number`, text, booleans or None.

    Raises
    ------
    PayloadError
        If it is empty, too large, not UTF-8, not JSON or nested too deep.
    """
    if len(payload) > MOST_PAYLOAD:
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
    if written is None or isinstance(written, float | bool):
        return written
    if isinstance(written, Number | int):
        number = _float(written)
        return number if abs(number) < math.inf else str(written)
    return plain_text(written)


def time_of(written: Any) -> int | str:
    """Return a time to be judged: what is no integer is left as text."""
    if isinstance(written, int) and not isinstance(written, bool):
        return written
    if isinstance(written, Number):
        return int(written) if len(written) <= _MOST_DIGITS and _is_whole(written) else str(written)
    return plain_text(written)


def _float(number: Number | int) -> float:
    try:
        return float(number)
    except OverflowError:
        return math.inf


def plain_text(written: Any) -> str:
    """Return text that can be kept; a list or an object is a word that means nothing."""
    if isinstance(written, str):
        return (
            written if written.isascii() else written.encode("utf-8", "backslashreplace").decode()
        )
    if isinstance(written, bool):
        return "true" if written else "false"
    if isinstance(written, int | float):
        return str(written)
    return "" if written is None else "[]" if isinstance(written, list) else "{}"


def _is_whole(number: str) -> bool:
    return number.removeprefix("-").isdigit()
