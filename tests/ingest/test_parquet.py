from __future__ import annotations

import math
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from bondtrail.results import WorkWindow
from bondtrail.site import Site
from ingest import load_files
from store import Store
from tests.ingest.conftest import NOW, Loaded

MOMENT = 1_772_345_730_000_000_000


@pytest.fixture
def load(store: Store, site: Site, tmp_path: Path):  # type: ignore[no-untyped-def]
    def write_and_load(table: pa.Table | dict[str, object], **options: object) -> Loaded:
        path = tmp_path / "file.parquet"
        rows = options.pop("row_group_size", None)
        pq.write_table(
            table if isinstance(table, pa.Table) else pa.table(table), path, row_group_size=rows
        )
        report = load_files(store, site, [path], now=NOW, **options)  # type: ignore[arg-type]
        return Loaded(store, report.files[0])

    return write_and_load


TIMES = [
    pytest.param(pa.array([MOMENT], pa.timestamp("ns", "UTC")), id="ns"),
    pytest.param(pa.array([MOMENT // 10**6], pa.timestamp("ms", "Europe/Lisbon")), id="ms-zoned"),
    pytest.param(pa.array([MOMENT // 10**9]), id="seconds"),
    pytest.param(pa.array([MOMENT // 10**3]), id="microseconds"),
    pytest.param(pa.array(["2026-03-01T06:15:30Z"]), id="text"),
    pytest.param(pa.array(["2026-03-01T06:15:30Z"], pa.large_string()), id="large-text"),
    pytest.param(pa.array(["2026-03-01T06:15:30Z"]).dictionary_encode(), id="dictionary"),
]


@pytest.mark.parametrize("times", TIMES)
def test_long(load, times: pa.Array) -> None:  # type: ignore[no-untyped-def]
    loaded = load({"time": times, "tag": ["M1/1"], "value": [2.5], "quality": [1]})
    assert loaded.samples("rail-1.resistance") == [(MOMENT, 2.5, 1)]
    assert loaded.counts == (1, 1, 0, 0, 0)


@pytest.mark.parametrize("times", TIMES)
def test_wide(load, times: pa.Array) -> None:  # type: ignore[no-untyped-def]
    loaded = load({"time": times, "M1/1": ["OL"], "F2": [7], "P1": [True], "K1": [None]})
    assert loaded.samples("rail-1.resistance") == [(MOMENT, math.inf, 0)]
    assert loaded.values("rail-2.flow") == [7.0]
    assert loaded.values("rail-1.permissive") == [1.0]
    assert loaded.counts == (3, 3, 0, 0, 0)


def test_null_is_open_circuit_in_a_long_file_and_no_sample_in_a_wide_one(load) -> None:  # type: ignore[no-untyped-def]
    long = load(
        {"time": [MOMENT] * 2, "tag": ["M1/1", "F1"], "value": pa.array([None, None], pa.float64())}
    )
    assert long.values("rail-1.resistance") == [math.inf]
    assert "is empty" in long.rejects[0].reason
    wide = load({"time": [MOMENT], "M1/2": pa.array([None], pa.float64())})
    assert wide.counts == (0, 0, 0, 0, 0)


def test_a_pandas_frame_as_it_is_commonly_written(store: Store, site: Site, tmp_path: Path) -> None:
    index = pd.date_range("2026-03-01T06:15:30Z", periods=3, freq="s", name="time")
    frame = pd.DataFrame({"M1/1": [2.0, np.nan, np.inf], "P1": [True, False, True]}, index=index)
    frame.to_parquet(tmp_path / "frame.parquet")
    report = load_files(store, site, [tmp_path / "frame.parquet"], now=NOW)
    loaded = Loaded(store, report.files[0])
    second = 10**9
    assert loaded.samples("rail-1.resistance") == [
        (MOMENT, 2.0, 0),
        (MOMENT + 2 * second, math.inf, 0),
    ]
    assert loaded.values("rail-1.permissive") == [1.0, 0.0, 1.0]


def test_bad_rows_are_kept_by_row_number(load) -> None:  # type: ignore[no-untyped-def]
    loaded = load(
        {
            "time": ["2026-03-01T06:15:30Z", "soon", "2026-03-01T06:15:31Z"],
            "tag": ["M1/1", "M1/1", "M9/9"],
            "value": [-4.0, 1.0, 1.0],
        },
        row_group_size=1,
    )
    told = {(reject.where, reject.raw) for reject in loaded.rejects}
    assert told == {
        ("row 1", "2026-03-01T06:15:30Z,M1/1,-4.0"),
        ("row 2", "soon,M1/1,1.0"),
        ("row 3", "2026-03-01T06:15:31Z,M9/9,1.0"),
    }
    assert loaded.counts == (3, 0, 0, 0, 3)


def test_timestamps_without_a_zone_need_one(load) -> None:  # type: ignore[no-untyped-def]
    table = {"time": pa.array([MOMENT // 10**9], pa.timestamp("s")), "M1/1": [2.0]}
    loaded = load(table)
    assert "no offset" in loaded.rejects[0].reason
    assert load(table, zone=ZoneInfo("Europe/Lisbon")).report.new == 1


@pytest.mark.parametrize(
    ("table", "told"),
    [
        ({"when": [1], "value": [2.0]}, "none that can be read"),
        ({"time": [1.5], "M1/1": [2.0]}, "column 'time' is of type double"),
        ({"time": [MOMENT], "M1/1": [[2.0]]}, "column 'M1/1' is of type list"),
        ({"time": [MOMENT], "tag": ["M1/1"], "value": pa.array([MOMENT], pa.timestamp("ns"))},
         "column 'value' is of type timestamp"),
        ({"time": [MOMENT], "tag": [{"a": 1}], "value": [1.0]}, "column 'tag' is of type struct"),
        ({"time": [MOMENT], "tag": ["M1/1"], "value": [1.0], "quality": [[1]]},
         "column 'quality' is of type list"),
        ({"start": [1], "end": [2], "station": [[1]], "what": ["x"]},
         "column 'station' is of type list"),
        ({"time": [MOMENT], "M1/1": [2.0], "rail-1.resistance": [2.0]}, "keep one of them"),
    ],
)  # fmt: skip
def test_columns_that_cannot_be_read(load, table: dict[str, object], told: str) -> None:  # type: ignore[no-untyped-def]
    loaded = load(table)
    assert told in loaded.rejects[0].reason
    assert loaded.report.rejected == 1


def test_work_windows(load) -> None:  # type: ignore[no-untyped-def]
    loaded = load(
        {"start": [1_772_344_800], "end": [1_772_352_000], "station": ["rail-1"], "what": ["x"]}
    )
    assert loaded.store.work() == [
        WorkWindow("rail-1", 1_772_344_800 * 10**9, 1_772_352_000 * 10**9, "x")
    ]


def test_many_row_groups(load) -> None:  # type: ignore[no-untyped-def]
    rows = 50_000
    times = MOMENT + np.arange(rows) * 10**9
    loaded = load({"time": times, "M1/1": np.arange(rows) % 7 + 0.5}, row_group_size=1000)
    assert loaded.counts == (rows, rows, 0, 0, 0)


@pytest.mark.parametrize("keep", [8, 600, 3000])
def test_a_damaged_file(store: Store, site: Site, tmp_path: Path, keep: int) -> None:
    path = tmp_path / "a.parquet"
    pq.write_table(
        pa.table({"time": np.arange(5000) + MOMENT, "M1/1": np.arange(5000) * 1.0}), path
    )
    path.write_bytes(path.read_bytes()[:keep])
    report = load_files(store, site, [path], now=NOW)
    assert report.rejected == 1
    assert "damaged Parquet" in store.rejects()[0].reason


def test_damage_inside_keeps_what_was_read_before(store: Store, site: Site, tmp_path: Path) -> None:
    path = tmp_path / "a.parquet"
    rng = np.random.default_rng(1)
    table = pa.table({"time": np.arange(200_000) * 10**9 + MOMENT, "M1/1": rng.random(200_000)})
    pq.write_table(table, path, row_group_size=100_000, compression="zstd", use_dictionary=False)
    data = bytearray(path.read_bytes())
    data[len(data) // 2 + 50_000 : len(data) - 10_000] = b"\xff" * (len(data) // 2 - 60_000)
    path.write_bytes(data)
    report = load_files(store, site, [path], now=NOW)
    assert report.rejected >= 1
    assert any("damaged Parquet" in reject.reason for reject in store.rejects())


def test_an_empty_table(load) -> None:  # type: ignore[no-untyped-def]
    loaded = load({"time": pa.array([], pa.int64()), "M1/1": pa.array([], pa.float64())})
    assert loaded.counts == (0, 0, 0, 0, 0)
    assert loaded.report.notes == ["a header and no rows"]
