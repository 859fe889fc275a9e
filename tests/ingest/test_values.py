from __future__ import annotations

import math
from decimal import Decimal

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bondtrail.site import Role
from ingest.faults import Fault
from ingest.values import (
    FAULTS,
    NO_FAULT,
    is_value_type,
    read_quality,
    read_values,
    role_code,
    value_fault,
)

R, S, P, F = Role.RESISTANCE, Role.STATUS, Role.PERMISSIVE, Role.FLOW


def read(column: list[object] | pa.Array, role: Role, **options: object) -> list[float | Fault]:
    array = column if isinstance(column, pa.Array) else pa.array(column)
    roles = np.full(len(array), role_code(role), np.uint8)
    values, faults = read_values(array, roles, **options)  # type: ignore[arg-type]
    return [
        float(value) if fault == NO_FAULT else FAULTS[fault]
        for value, fault in zip(values, faults, strict=True)
    ]


@pytest.mark.parametrize(
    ("role", "text", "expected"),
    [
        (R, "2.31", 2.31),
        (R, "0", 0.0),
        (R, "+1e3", 1000.0),
        (R, ".5", 0.5),
        (R, " 7 ", 7.0),
        (R, "inf", math.inf),
        (R, "Infinity", math.inf),
        (R, "null", math.inf),
        (R, "OL", math.inf),
        (R, "o.l.", math.inf),
        (R, "Open", math.inf),
        (R, "OPEN CIRCUIT", math.inf),
        (R, "Over-Range", math.inf),
        (R, "over_range", math.inf),
        (R, ">100000", math.inf),
        (R, "> 100 kohm", math.inf),
        (R, "1e400", math.inf),
        (R, "-4", Fault.NEGATIVE),
        (R, "-0.01", Fault.NEGATIVE),
        (R, "-inf", Fault.NEGATIVE),
        (R, "-OL", Fault.NUMBER),
        (R, "nan", Fault.NAN),
        (R, "NaN", Fault.NAN),
        (R, "", Fault.EMPTY),
        (R, "  ", Fault.EMPTY),
        (R, "n/a", Fault.NUMBER),
        (R, "1_0", Fault.NUMBER),
        (R, "0x10", Fault.NUMBER),
        (R, "2,5", Fault.NUMBER),
        (R, "true", Fault.NUMBER),
        (F, "812.5", 812.5),
        (F, "-0.2", -0.2),
        (F, "OL", Fault.NUMBER),
        (F, "null", Fault.NUMBER),
        (F, "1e400", Fault.INFINITE),
        (S, "0", 0.0),
        (S, "3.0", 3.0),
        (S, "Bonded", 1.0),
        (S, "NOT BONDED", 0.0),
        (S, "not_bonded", 0.0),
        (S, "fault", 2.0),
        (S, "off", 3.0),
        (S, "Standby", 3.0),
        (S, "4", Fault.STATUS),
        (S, "1.5", Fault.STATUS),
        (S, "-1", Fault.STATUS),
        (S, "open", Fault.STATUS),
        (P, "1", 1.0),
        (P, "0.0", 0.0),
        (P, "TRUE", 1.0),
        (P, "false", 0.0),
        (P, "On", 1.0),
        (P, "off", 0.0),
        (P, "closed", 1.0),
        (P, "open", 0.0),
        (P, "2", Fault.CONTACT),
        (P, "inf", Fault.CONTACT),
        (P, "maybe", Fault.CONTACT),
        (Role.BYPASS, "on", 1.0),
        (Role.BYPASS, "closed", Fault.CONTACT),
        (Role.RUNNING, "false", 0.0),
        (Role.RUNNING, "open", Fault.CONTACT),
    ],
)
def test_written_value(role: Role, text: str, expected: float | Fault) -> None:
    assert read([text], role) == [expected]
    # The same among many of a few texts, and among many different ones.
    assert read(["1"] * 200 + [text] + ["0"] * 200, role)[200] == expected
    different = [repr(n / 7) for n in range(2000)]
    assert read([*different, text], role)[-1] == expected


@given(st.lists(st.floats(0, allow_nan=False), max_size=30), st.booleans())
def test_any_number_survives_being_written(numbers: list[float], repeated: bool) -> None:
    texts = [repr(number) for number in numbers] * (200 if repeated else 1)
    assert read(pa.array(texts, pa.string()), R) == numbers * (200 if repeated else 1)


def test_each_role_reads_the_same_word_its_own_way() -> None:
    roles = np.array([role_code(role) for role in (R, P, S, F)] * 2, np.uint8)
    values, faults = read_values(pa.array(["open"] * 4 + ["1"] * 4), roles)
    assert values.tolist() == [math.inf, 0, 0, 0, 1, 1, 1, 1]
    assert [FAULTS[fault] for fault in faults if fault != NO_FAULT] == [Fault.STATUS, Fault.NUMBER]


def test_units_are_converted_once() -> None:
    assert read(["2.5", "OL"], R, scale=1000.0) == [2500.0, math.inf]
    roles = np.array([role_code(F), role_code(F)], np.uint8)
    values, _ = read_values(pa.array(["6", "6"]), roles, np.array([1000 / 60, 1.0]))
    assert values.tolist() == [100.0, 6.0]


@pytest.mark.parametrize(
    ("text", "expected"),
    [("2,5", 2.5), ("-0,5", -0.5), ("2.5", 2.5), ("1.234,5", Fault.NUMBER), ("1,5e3", 1500.0)],
)
def test_decimal_comma(text: str, expected: float | Fault) -> None:
    assert read([text], F, decimal_comma=True) == [expected]


@pytest.mark.parametrize(
    ("column", "role", "expected"),
    [
        (pa.array([2.5, math.inf, -1.0, math.nan]), R, [2.5, math.inf, Fault.NEGATIVE, Fault.NAN]),
        (pa.array([2.5, None]), R, [2.5, math.inf]),
        (pa.array([2.5, None]), F, [2.5, Fault.EMPTY]),
        (pa.array([1, 0, 7]), P, [1.0, 0.0, Fault.CONTACT]),
        (pa.array([True, False]), P, [1.0, 0.0]),
        (pa.array([Decimal("1.5")]), F, [1.5]),
        (pa.array([None, None]), R, [math.inf, math.inf]),
        (pa.array(["OL", None]), R, [math.inf, Fault.EMPTY]),
        (pa.array([math.inf]), F, [Fault.INFINITE]),
    ],
)
def test_typed_values(column: pa.Array, role: Role, expected: list[float | Fault]) -> None:
    assert read(column, role) == expected


@pytest.mark.parametrize(
    ("column", "marks"),
    [
        (pa.array(["0", "1", "2"]), [0, 1, 2]),
        (pa.array(["Good", " uncertain ", "BAD", ""]), [0, 1, 2, 0]),
        (pa.array(["3", "192", "x"]), [None, None, None]),
        (pa.array([0, 2, None, 9]), [0, 2, 0, None]),
        (pa.array([1.0, 1.5, None]), [1, None, 0]),
        (pa.array([], pa.string()), []),
    ],
)
def test_quality(column: pa.Array, marks: list[int | None]) -> None:
    codes, bad = read_quality(column)
    assert [None if wrong else int(code) for code, wrong in zip(codes, bad, strict=True)] == marks


def test_a_fault_says_what_would_be_right() -> None:
    assert value_fault(Fault.NEGATIVE, "-4", "M1/1", R) == (
        "resistance '-4' for tag 'M1/1': expected 0 or more ohm, or an open-circuit word (OL, open)"
    )
    assert "is empty" in value_fault(Fault.EMPTY, "", "P1", P)
    assert len(value_fault(Fault.NUMBER, "x" * 10_000, "M1/1", R)) < 200


def test_which_types_hold_values() -> None:
    assert all(map(is_value_type, (pa.string(), pa.float32(), pa.int8(), pa.bool_(), pa.null())))
    assert not any(map(is_value_type, (pa.timestamp("s"), pa.list_(pa.int8()), pa.binary())))
