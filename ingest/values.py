"""Written values to numbers, by what the point says of its station."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from bondtrail.samples import QualityArray, ValueArray
from bondtrail.site import Role
from ingest.faults import Fault, shown

BoolArray = npt.NDArray[np.bool_]
CodeArray = npt.NDArray[np.uint8]

ROLES = tuple(Role)
FAULTS = tuple(Fault)
NO_FAULT = 255

_CODE = {role: code for code, role in enumerate(ROLES)}
_FAULT = {fault: code for code, fault in enumerate(FAULTS)}
_NUMBER_FORM = r"^[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?$"
_OVER = re.compile(r"(?:>=?|over) ?[0-9.,]+ ?(?:k|m|g)?(?:ohms?|Ω)?\Z", re.IGNORECASE)
_OPEN_WORDS = (
    *("inf", "+inf", "infinity", "+infinity", "null", "ol", "o.l", "o.l.", "+ol", "0l"),
    *("open", "open circuit", "over", "overload", "over range", "overrange", "out of range"),
)
_STATUS_WORDS = {
    "not bonded": 0.0,
    "notbonded": 0.0,
    "unbonded": 0.0,
    "bonded": 1.0,
    "fault": 2.0,
    "off": 3.0,
    "standby": 3.0,
    "off or standby": 3.0,
}
_CONTACT_WORDS = {"true": 1.0, "on": 1.0, "false": 0.0, "off": 0.0}
_PERMISSIVE_WORDS = _CONTACT_WORDS | {"closed": 1.0, "open": 0.0}
_QUALITY_WORDS = {"": 0, "0": 0, "1": 1, "2": 2, "good": 0, "uncertain": 1, "bad": 2}
_CONTACTS = (Role.PERMISSIVE, Role.RUNNING, Role.BYPASS)
_EXPECTED = {
    Role.RESISTANCE: "0 or more ohm, or an open-circuit word (OL, open)",
    Role.STATUS: "0 to 3, or bonded, not bonded, fault, off, standby",
    Role.PERMISSIVE: "0 or 1, true or false, on or off, closed or open",
    Role.FLOW: "a finite number",
    Role.RUNNING: "0 or 1, true or false, on or off",
    Role.BYPASS: "0 or 1, true or false, on or off",
}


def role_code(role: Role) -> int:
    """Return the small integer that stands for a role in arrays."""
    return _CODE[role]


def read_values(
    column: pa.Array,
    roles: CodeArray,
    scale: ValueArray | float = 1.0,
    *,
    decimal_comma: bool = False,
) -> tuple[ValueArray, CodeArray]:
    """Return the values of a column in the units that are kept, and what is wrong with each.

    Parameters
    ----------
    column : pyarrow array, shape (n,)
        Text, numbers or booleans.
    roles : ndarray of uint8, shape (n,)
        What each row is a reading of, as `role_code`.
    scale : float or ndarray, broadcasts to (n,)
        Reading times scale is in the unit that is kept.
    decimal_comma : bool
        Whether ``2,5`` is two and a half.

    Returns
    -------
    (ndarray of float64, ndarray of uint8), shape (n,)
        Values, 0 where there is a fault; and indices into `FAULTS`, or `NO_FAULT`.
    """
    if _is_text(column.type):
        numbers, faults = _from_text(pc.fill_null(column, ""), roles, decimal_comma)
    else:
        numbers, faults = _from_numbers(column, roles)
    with np.errstate(over="ignore"):  # beyond the largest float is infinite, and judged so
        numbers *= scale
    for fault, wrong in _wrong(numbers, roles):
        faults[wrong & (faults == NO_FAULT)] = _FAULT[fault]
    numbers[faults != NO_FAULT] = 0.0
    return numbers, faults


def value_fault(fault: Fault, text: str, tag: str, role: Role) -> str:
    """Return what is wrong with one value, and what would be right."""
    if fault is Fault.EMPTY:
        return f"the value of tag {shown(tag)} is empty: expected {_EXPECTED[role]}"
    return f"{role} {shown(text)} for tag {shown(tag)}: expected {_EXPECTED[role]}"


def read_quality(column: pa.Array) -> tuple[QualityArray, BoolArray]:
    """Return quality codes, shape (n,), and which rows hold none that is known."""
    if pa.types.is_floating(column.type):
        column = pc.if_else(pc.equal(pc.floor(column), column), pc.round(column), -1)
        column = pc.fill_null(column, 0.0).cast(pa.int64(), safe=False)
    encoded = pc.fill_null(column.cast(pa.string()), "").dictionary_encode()
    words = encoded.dictionary.to_pylist()
    codes = np.array([_QUALITY_WORDS.get(word.strip().lower(), 255) for word in words], np.uint8)
    marks = codes[encoded.indices.to_numpy()] if words else np.zeros(0, np.uint8)
    bad = marks == 255
    return np.where(bad, 0, marks).astype(np.uint8), bad


def quality_fault(text: str) -> str:
    """Return what is wrong with a quality."""
    return f"quality {shown(text)}: expected 0 (good), 1 (uncertain) or 2 (bad)"


def is_value_type(kind: pa.DataType) -> bool:
    """Return whether a column of this type can hold values."""
    return (
        _is_text(kind)
        or pa.types.is_floating(kind)
        or pa.types.is_integer(kind)
        or pa.types.is_boolean(kind)
        or pa.types.is_decimal(kind)
        or pa.types.is_null(kind)
    )


def _is_text(kind: pa.DataType) -> bool:
    return bool(pa.types.is_string(kind))


def _from_numbers(column: pa.Array, roles: CodeArray) -> tuple[ValueArray, CodeArray]:
    """Return typed numbers; null is an open circuit where that can be, else no value."""
    absent = column.is_null().to_numpy(zero_copy_only=False)
    if pa.types.is_boolean(column.type):
        column = column.cast(pa.uint8())
    filled = pc.fill_null(column.cast(pa.float64(), safe=False), math.inf)
    numbers = filled.to_numpy(zero_copy_only=False).copy()
    faults = np.full(len(column), NO_FAULT, np.uint8)
    faults[absent & (roles != _CODE[Role.RESISTANCE])] = _FAULT[Fault.EMPTY]
    return numbers, faults


def _from_text(
    texts: pa.Array, roles: CodeArray, decimal_comma: bool
) -> tuple[ValueArray, CodeArray]:
    numbers, is_number = _numbers(texts, decimal_comma)
    faults = np.full(len(texts), NO_FAULT, np.uint8)
    if is_number is not None and not is_number.all():
        words = ~is_number
        numbers[words], faults[words] = _from_words(texts.filter(pa.array(words)), roles[words])
    return numbers, faults


def _numbers(texts: pa.Array, decimal_comma: bool) -> tuple[ValueArray, BoolArray | None]:
    """Return the numbers in a column of text and which rows are numbers (None: all)."""
    whole = _cast(texts)
    if whole is not None:
        return whole, None
    if _repeats(texts):
        encoded = texts.dictionary_encode()
        codes = encoded.indices.to_numpy()
        numbers, is_number = _matched(encoded.dictionary, decimal_comma)
        return numbers[codes], is_number[codes]
    return _matched(texts, decimal_comma)


def _repeats(texts: pa.Array) -> bool:
    """Return whether few texts stand for many rows: then each is read once."""
    sample = texts.slice(0, 4096)
    return bool(pc.count_distinct(sample).as_py() * 2 < len(sample))


def _matched(texts: pa.Array, decimal_comma: bool) -> tuple[ValueArray, BoolArray]:
    texts = pc.ascii_trim_whitespace(texts)
    if decimal_comma:
        texts = pc.replace_substring_regex(texts, r"^([^,.]*),([^,.]*)$", r"\1.\2")
    matches = pc.match_substring_regex(texts, _NUMBER_FORM)
    is_number: BoolArray = matches.to_numpy(zero_copy_only=False)
    numbers = np.zeros(len(texts), np.float64)
    cast = _cast(texts.filter(matches))
    assert cast is not None, "the form admits only what can be cast"
    numbers[is_number] = cast
    return numbers, is_number


def _cast(texts: pa.Array) -> ValueArray | None:
    try:
        cast = pc.cast(texts, pa.float64())
    except pa.ArrowInvalid:
        return None
    numbers: ValueArray = cast.to_numpy(zero_copy_only=False)
    return numbers.copy()


def _from_words(texts: pa.Array, roles: CodeArray) -> tuple[ValueArray, CodeArray]:
    """Look each different (word, role) up once."""
    encoded = texts.dictionary_encode()
    words = encoded.dictionary.to_pylist()
    keys = encoded.indices.to_numpy().astype(np.int64) * len(ROLES) + roles
    distinct, inverse = np.unique(keys, return_inverse=True)
    found = [_word(words[key // len(ROLES)], ROLES[key % len(ROLES)]) for key in distinct]
    values = np.array([value for value, _ in found], np.float64)
    faults = np.array([fault for _, fault in found], np.uint8)
    return values[inverse], faults[inverse]


def _word(text: str, role: Role) -> tuple[float, int]:
    word = " ".join(text.lower().replace("_", " ").replace("-", " ").split())
    if not word:
        return 0.0, _FAULT[Fault.EMPTY]
    value = _meaning(word, text.strip(), role)
    if value is not None:
        return value, NO_FAULT
    return 0.0, _FAULT[_word_fault(word, role)]


def _word_fault(word: str, role: Role) -> Fault:
    if word.lstrip(" +") == "nan":
        return Fault.NAN
    if role in _CONTACTS:
        return Fault.CONTACT
    return Fault.STATUS if role is Role.STATUS else Fault.NUMBER


def _meaning(word: str, text: str, role: Role) -> float | None:
    if role is Role.RESISTANCE:
        return math.inf if text[0] != "-" and (word in _OPEN_WORDS or _OVER.match(word)) else None
    if role is Role.STATUS:
        return _STATUS_WORDS.get(word)
    if role is Role.FLOW:
        return None
    return (_PERMISSIVE_WORDS if role is Role.PERMISSIVE else _CONTACT_WORDS).get(word)


def _wrong(numbers: ValueArray, roles: CodeArray) -> Iterator[tuple[Fault, BoolArray]]:
    """Yield each rule for numbers with the rows that break it; an earlier rule goes first."""
    resistance = roles == _CODE[Role.RESISTANCE]
    status = roles == _CODE[Role.STATUS]
    contact = np.isin(roles, [_CODE[role] for role in _CONTACTS])
    yield Fault.NAN, np.isnan(numbers)
    yield Fault.NEGATIVE, resistance & (numbers < 0)
    yield Fault.CONTACT, contact & (numbers != 0) & (numbers != 1)
    yield Fault.STATUS, status & ~np.isin(numbers, (0, 1, 2, 3))
    yield Fault.INFINITE, ~resistance & np.isinf(numbers)
