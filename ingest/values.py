"""Written values to numbers, by what the point says of its station."""

from __future__ import annotations

import math
import re

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from bondtrail.samples import QualityArray, ValueArray
from bondtrail.site import Role
from ingest.arrays import BoolArray, as_mask, beneath, mask_of, numbers_of
from ingest.faults import Fault, shown

CodeArray = npt.NDArray[np.uint8]

ROLES = tuple(Role)
FAULTS = tuple(Fault)
NO_FAULT = 255

_CODE = {role: code for code, role in enumerate(ROLES)}
_FAULT = {fault: code for code, fault in enumerate(FAULTS)}
LARGEST = 1e290  # beyond it a flow is no number, and could overflow when its unit is converted
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
    if not _is_text(column.type):
        numbers, faults = _from_numbers(column, roles)
    elif _repeats(column):
        numbers, faults = _from_few_texts(column, roles, decimal_comma)
    else:
        numbers, faults = _from_many_texts(column, roles, decimal_comma)
    with np.errstate(over="ignore"):  # of a resistance: open circuit, as written
        return numbers * scale, faults


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
    marks = codes[numbers_of(encoded.indices)] if words else np.zeros(0, np.uint8)
    bad = marks == 255
    return np.where(bad, 0, marks).astype(np.uint8), bad


def quality_of(word: str) -> int | None:
    """Return the quality that one word or code stands for, None where it is none."""
    return _QUALITY_WORDS.get(word.strip().lower())


def expected(role: Role) -> str:
    """Return what would be right as a value of a role."""
    return _EXPECTED[role]


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
    absent = mask_of(column.is_null())
    if pa.types.is_boolean(column.type):
        column = column.cast(pa.uint8())
    numbers = beneath(column.cast(pa.float64(), safe=False)).copy()
    numbers[absent] = math.inf
    faults = np.full(len(column), NO_FAULT, np.uint8)
    for code in np.flatnonzero(np.bincount(roles)):
        rows = roles == code
        faults[rows] = _judged(numbers[rows], ROLES[code])
    faults[absent & (roles != _CODE[Role.RESISTANCE])] = _FAULT[Fault.EMPTY]
    numbers[faults != NO_FAULT] = 0.0
    return numbers, faults


def _repeats(texts: pa.Array) -> bool:
    """Return whether few texts stand for many rows: then each is read once."""
    sample = texts.slice(0, 4096)
    return bool(pc.count_distinct(sample).as_py() * 2 < len(sample))


def _from_few_texts(
    texts: pa.Array, roles: CodeArray, decimal_comma: bool
) -> tuple[ValueArray, CodeArray]:
    """Read each different text once for each role that is there."""
    encoded = (pc.fill_null(texts, "") if texts.null_count else texts).dictionary_encode()
    codes = numbers_of(encoded.indices)
    size = len(encoded.dictionary)
    values = np.zeros((len(ROLES), size))
    faults = np.full((len(ROLES), size), NO_FAULT, np.uint8)
    found = _numbers(encoded.dictionary, decimal_comma)
    for code in np.flatnonzero(np.bincount(roles)):
        values[code], faults[code] = _read(encoded.dictionary, *found, ROLES[code])
    places = codes if (roles == roles[:1]).all() else roles.astype(np.int32) * size + codes
    first = int(roles[0]) * size if places is codes else 0
    return values.ravel()[first:].take(places), faults.ravel()[first:].take(places)


def _from_many_texts(
    texts: pa.Array, roles: CodeArray, decimal_comma: bool
) -> tuple[ValueArray, CodeArray]:
    """Read role by role."""
    values = np.zeros(len(texts))
    faults = np.full(len(texts), NO_FAULT, np.uint8)
    texts = pc.fill_null(texts, "") if texts.null_count else texts
    for code in np.flatnonzero(np.bincount(roles)):
        rows = roles == code
        some = texts if rows.all() else texts.filter(as_mask(rows))
        values[rows], faults[rows] = _read(some, *_numbers(some, decimal_comma), ROLES[code])
    return values, faults


def _read(
    texts: pa.Array, numbers: ValueArray, is_number: BoolArray, role: Role
) -> tuple[ValueArray, CodeArray]:
    """Return what texts mean as readings of one role; ``numbers`` are those that are numbers."""
    values = numbers.copy()
    faults = _judged(values, role)
    if not is_number.all():
        encoded = texts.filter(as_mask(~is_number)).dictionary_encode()
        meant = [_word(word, role) for word in encoded.dictionary.to_pylist()]
        codes = numbers_of(encoded.indices)
        values[~is_number] = np.array([value for value, _ in meant], np.float64)[codes]
        faults[~is_number] = np.array([fault for _, fault in meant], np.uint8)[codes]
    values[faults != NO_FAULT] = 0.0
    return values, faults


def _numbers(texts: pa.Array, decimal_comma: bool) -> tuple[ValueArray, BoolArray]:
    """Return the numbers in a column of text, 0 elsewhere, and which rows are numbers."""
    # A cast that fails costs more than one that does not: a few rows tell whether to try it.
    whole = None if _cast(texts.slice(0, 512)) is None else _cast(texts)
    if whole is not None:
        return whole, np.ones(len(texts), bool)
    texts = pc.ascii_trim_whitespace(texts)
    if decimal_comma:
        texts = pc.replace_substring_regex(texts, r"^([^,.]*),([^,.]*)$", r"\1.\2")
    matches = pc.match_substring_regex(texts, _NUMBER_FORM)
    is_number = mask_of(matches)
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
    return numbers_of(cast).copy()


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


def _judged(numbers: ValueArray, role: Role) -> CodeArray:
    """Return what is wrong with numbers as readings of one role."""
    faults = np.full(numbers.size, NO_FAULT, np.uint8)
    faults[np.isnan(numbers)] = _FAULT[Fault.NAN]
    if role is Role.RESISTANCE:
        faults[numbers < 0] = _FAULT[Fault.NEGATIVE]
    elif role is Role.STATUS:
        faults[~np.isin(numbers, (0, 1, 2, 3)) & ~np.isnan(numbers)] = _FAULT[Fault.STATUS]
    elif role is Role.FLOW:
        faults[np.abs(numbers) > LARGEST] = _FAULT[Fault.INFINITE]
    else:
        faults[~np.isin(numbers, (0, 1)) & ~np.isnan(numbers)] = _FAULT[Fault.CONTACT]
    return faults
