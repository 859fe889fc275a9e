"""Enclosed readings: Parquet and CSV lose nothing, and what is none is refused."""

from __future__ import annotations

import io

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analytics.evidence import readings
from analytics.evidence.faults import UnreadableError
from analytics.evidence.readings import Enclosed, csv, parquet, parse_parquet, signals_of
from bondtrail.samples import Samples
from bondtrail.site import Role, parse_site
from store import NEVER
from tests.analytics.evidence import quay

S = 1_000_000_000


def enclosed(
    time: list[int], value: list[float], quality: list[int], arrived: list[int]
) -> Enclosed:
    moments = np.array(arrived, np.int64)
    return Enclosed(Samples.of(time, value, quality), moments, moments)


FEW = enclosed(
    [0, 1, 2 * S, 1_772_345_678_123_456_789],
    [0.1, np.inf, 1e-300, 1 / 3],
    [0, 1, 2, 0],
    [NEVER, 5, NEVER, 1_772_345_679_000_000_000],
)


def same(a: Enclosed, b: Enclosed) -> bool:
    return (
        a.samples == b.samples
        and np.array_equal(a.arrived_from, b.arrived_from)
        and np.array_equal(a.arrived_until, b.arrived_until)
    )


def test_parquet_loses_nothing() -> None:
    assert same(parse_parquet(parquet(FEW), "x"), FEW)


def test_no_readings_are_a_file_too() -> None:
    none = enclosed([], [], [], [])
    assert same(parse_parquet(parquet(none), "x"), none)
    assert csv(none) == b"time,value,quality,arrived_from,arrived_until\n"


def test_the_csv_says_all_of_it() -> None:
    assert csv(FEW).decode().splitlines()[1:] == [
        "1970-01-01T00:00:00.000000000Z,0.1,0,,",
        "1970-01-01T00:00:00.000000001Z,open,1,"
        "1970-01-01T00:00:00.000000005Z,1970-01-01T00:00:00.000000005Z",
        "1970-01-01T00:00:02.000000000Z,1e-300,2,,",
        "2026-03-01T06:14:38.123456789Z,0.3333333333333333,0,"
        "2026-03-01T06:14:39.000000000Z,2026-03-01T06:14:39.000000000Z",
    ]


@settings(max_examples=30)
@given(
    st.lists(
        st.tuples(
            st.integers(0, 2**62),
            st.floats(min_value=0, allow_nan=False),
            st.integers(0, 2),
            st.one_of(st.just(NEVER), st.integers(0, 2**62)),
        ),
        max_size=30,
        unique_by=lambda row: row[0],
    )
)
def test_any_readings_come_back(rows: list[tuple[int, float, int, int]]) -> None:
    held = enclosed(*([row[k] for row in sorted(rows)] for k in range(4)))  # type: ignore[arg-type]
    assert same(parse_parquet(parquet(held), "x"), held)
    assert parquet(held) == parquet(held)


def test_any_parquet_reader_takes_it() -> None:
    table = pq.read_table(io.BytesIO(parquet(FEW)))
    assert table.column_names == ["time", "value", "quality", "arrived_from", "arrived_until"]
    assert table["arrived_from"].null_count == 2


def table(**columns: pa.Array) -> bytes:
    whole = pq.read_table(io.BytesIO(parquet(FEW)))
    for name, column in columns.items():
        place = whole.column_names.index(name)
        field = pa.field(name, column.type, nullable=name.startswith("arrived"))
        whole = whole.set_column(place, field, column)
    content = io.BytesIO()
    pq.write_table(whole, content, store_schema=False)
    return content.getvalue()


TIME = pa.timestamp("ns", tz="UTC")


@pytest.mark.parametrize(
    ("content", "why"),
    [
        pytest.param(b"", "no Parquet", id="empty"),
        pytest.param(parquet(FEW)[:-9], "no Parquet", id="cut-short"),
        pytest.param(table(value=pa.array(["a", "b", "c", "d"])), "expected the columns",
                     id="text"),
        pytest.param(table(quality=pa.array([0, 0, 0, 0], pa.int64())), "expected the columns",
                     id="wide-quality"),
        pytest.param(table(quality=pa.array([0, 0, 0, 3], pa.uint8())), "quality", id="quality-3"),
        pytest.param(table(value=pa.array([0, 1, np.nan, 2.0])), "no number", id="nan"),
        pytest.param(table(value=pa.array([0, 1, -np.inf, 2.0])), "no number", id="minus-inf"),
        pytest.param(table(time=pa.array([1, 0, 2, 3], pa.int64()).cast(TIME)), "out of order",
                     id="order"),
        pytest.param(table(time=pa.array([1, 1, 2, 3], pa.int64()).cast(TIME)), "out of order",
                     id="twice"),
    ],
)  # fmt: skip
def test_what_is_no_readings_is_refused(content: bytes, why: str) -> None:
    with pytest.raises(UnreadableError, match=why):
        parse_parquet(content, "readings/x.parquet")


def test_more_readings_than_any_package_has_are_not_unpacked(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(readings, "MOST_READINGS", 3)
    with pytest.raises(UnreadableError, match="more than 3 readings"):
        parse_parquet(parquet(FEW), "x")


@given(st.binary(max_size=300))
def test_no_bytes_do_harm(data: bytes) -> None:
    for content in (data, b"PAR1" + data + b"PAR1", parquet(FEW)[:200] + data):
        with pytest.raises(UnreadableError):
            parse_parquet(content, "x")


def test_signals_are_those_that_hold_into_a_span() -> None:
    station = parse_site(quay.SITE).station("rail-1")
    time = [k * S for k in range(100)]
    held = enclosed(time, [1.0] * 100, [0] * 100, [NEVER] * 100)
    signals = signals_of({Role.RESISTANCE: held}, station, 50 * S, 60 * S)
    assert signals[Role.RESISTANCE].time.tolist() == time[45:60]
    assert len(signals[Role.FLOW]) == 0
