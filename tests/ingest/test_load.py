from __future__ import annotations

import gzip
import io
import math
import os
import shutil
import signal
import subprocess
import sys
import threading
import tracemalloc
from collections.abc import Callable
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
import zstandard
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bondtrail.samples import Samples, later_wins
from bondtrail.site import Site
from bondtrail.times import parse_time
from ingest import FileKind, IngestError, Progress, load_files
from ingest import faults as faults_module
from ingest import lines as lines_module
from store import BulkWriter, Store, StoreError, open_store
from tests.ingest.conftest import NOW, SITE, Load, Loaded

AT = "2026-03-01T06:15:30"
MOMENT = parse_time(AT + "Z")
SECOND = 10**9
MINUTE = 60 * SECOND
HEAD = "time,tag,value\n"
ROW = f"{AT}Z,M1/1,2.5\n"
R, F = "rail-1.resistance", "rail-1.flow"
GOOD = [(MOMENT, 2.5, 0)]


def only_reason(loaded: Loaded) -> str:
    (reject,) = loaded.rejects
    return reject.reason


# What a file may look like


@pytest.mark.parametrize(
    "text",
    [
        pytest.param(HEAD + ROW, id="plain"),
        pytest.param(HEAD + ROW.rstrip(), id="no-last-break"),
        pytest.param("\ufeff" + HEAD + ROW, id="byte-order-mark"),
        pytest.param((HEAD + ROW).replace("\n", "\r\n"), id="crlf"),
        pytest.param((HEAD + ROW).replace("\n", "\r"), id="lone-cr"),
        pytest.param("\n\r\n" + HEAD + "\n\n" + ROW + "\n\n", id="blank-lines"),
        pytest.param(HEAD.upper() + ROW, id="upper-case"),
        pytest.param((HEAD + ROW).replace(",", ";"), id="semicolons"),
        pytest.param((HEAD + ROW).replace(",", "\t"), id="tabs"),
        pytest.param("Time;Tag;Value\n" + ROW.replace(",", ";").replace("2.5", "2,5"), id="comma"),
        pytest.param(" time , tag , value \n" + ROW.replace(",", " , "), id="spaces"),
        pytest.param('"time","tag","value"\n' + f'"{AT}Z","M1/1","2.5"\n', id="quoted"),
        pytest.param("time,tag,value,\n" + ROW.replace("\n", ",\n"), id="trailing-delimiters"),
        pytest.param(HEAD + ROW.replace("\n", ",\n"), id="trailing-delimiters-in-rows"),
        pytest.param("value,time,tag\n" + f"2.5,{AT}Z,M1/1\n", id="other-order"),
        pytest.param("time,tag,value,quality\n" + ROW.replace("\n", ",good\n"), id="quality"),
        pytest.param(HEAD + ROW.replace("M1/1", "rail-1.resistance"), id="own-name"),
        pytest.param(HEAD + ROW.replace("M1/1", "Füllstelle 1"), id="not-ascii"),
        pytest.param(f"time,M1/1\n{AT}Z,2.5\n", id="wide"),
        pytest.param(f"time;M1/1;P1\n{AT}Z;2,5;\n", id="wide-comma-and-empty-cell"),
        pytest.param(f"M1/1\tTIME\n2.5\t{AT}Z\n", id="wide-time-last"),
        pytest.param(f"time,M1/1,\n{AT}Z,2.5,\n", id="wide-trailing-delimiters"),
    ],
)
@pytest.mark.parametrize("pack", [bytes, gzip.compress, zstandard.compress])
def test_one_reading_in_many_dresses(load: Load, text: str, pack: Callable[[bytes], bytes]) -> None:
    loaded = load(pack(text.encode()), "any.name")
    assert loaded.samples(R) == GOOD
    assert loaded.counts == (1, 1, 0, 0, 0)
    assert loaded.rejects == []


def test_every_role_is_read(load: Load) -> None:
    rows = (
        ("M1/1", "OL"),
        ("S1", "bonded"),
        ("P1", "closed"),
        ("F1", "6"),
        ("R1", "on"),
        ("K1", "0"),
    )
    loaded = load(HEAD + "".join(f"{AT}Z,{tag},{value}\n" for tag, value in rows))
    roles = ("resistance", "status", "permissive", "flow", "running", "bypass")
    found = [loaded.values(f"rail-1.{role}") for role in roles]
    assert found == [[math.inf], [1.0], [1.0], [pytest.approx(100.0)], [1.0], [0.0]]


def test_units_are_converted(load: Load) -> None:
    assert load(f"time,M1/2,F2\n{AT}Z,1.5,7\n").values("rail-2.resistance") == [1500.0]


def test_two_time_forms_in_one_file(load: Load) -> None:
    rows = "".join(
        f"{AT}.{n:03d}Z,M1/1,{n}\n{MOMENT // 10**6 + 1000 + n},M1/1,{n}\n" for n in range(1000)
    )
    loaded = load(HEAD + rows)
    assert loaded.counts == (2000, 2000, 0, 0, 0)
    times = [time for time, _, _ in loaded.samples(R)]
    assert times == [MOMENT + n * 10**6 for n in range(2000)]


def test_rows_out_of_order_and_twice_in_one_file(load: Load) -> None:
    rows = [f"{MOMENT // SECOND + n},M1/1,{n}\n" for n in (5, 1, 3, 1, 5)]
    loaded = load(HEAD + "".join(rows) + f"{MOMENT // SECOND + 3},M1/1,9\n")
    assert loaded.values(R) == [1.0, 9.0, 5.0]
    assert loaded.counts == (6, 3, 2, 1, 0)


def test_times_without_offset_need_a_zone(load: Load) -> None:
    text = HEAD + "2026-07-01T06:15:30,M1/1,2.5\n"
    assert "has no offset" in only_reason(load(text))
    loaded = load(text, zone=ZoneInfo("Europe/Lisbon"))
    assert loaded.samples(R) == [(parse_time("2026-07-01T05:15:30Z"), 2.5, 0)]


# What cannot be taken


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ("soon,M1/1,1", "time 'soon': expected ISO 8601"),
        (f"{AT},M1/1,1", "has no offset"),
        (",M1/1,1", "the time is empty"),
        (f"{AT}Z,M1/1,-4", "resistance '-4' for tag 'M1/1': expected 0 or more ohm"),
        (f"{AT}Z,M1/1,nan", "resistance 'nan'"),
        (f"{AT}Z,M1/1,", "the value of tag 'M1/1' is empty"),
        (f"{AT}Z,F1,OL", "flow 'OL' for tag 'F1': expected a finite number"),
        (f"{AT}Z,S1,7", "status '7' for tag 'S1': expected 0 to 3"),
        (f"{AT}Z,P1,2", "permissive '2' for tag 'P1': expected 0 or 1"),
        (f"{AT}Z,M9/9,1", "tag 'M9/9' is not in the site file"),
        (f"{AT}Z,,1", "the tag is empty"),
        (f"{AT}Z,M1/1", "2 columns, but the header has 3"),
        (f"{AT}Z,M1/1,1,0", "4 columns, but the header has 3"),
        (f'{AT}Z,"M1/1,1', "a quote is opened and not closed"),
    ],
)
def test_a_bad_row_is_kept_and_stops_nothing(load: Load, row: str, told: str) -> None:
    good = [f"{MOMENT // SECOND + n},M1/1,{n}\n" for n in range(4)]
    loaded = load(HEAD + "".join(good[:2]) + row + "\n" + "".join(good[2:]), "readings.csv")
    (reject,) = loaded.rejects
    assert told in reject.reason
    named = (Path(reject.source).name, reject.where, reject.raw)
    assert named == ("readings.csv", "line 4", row)
    assert (reject.at, reject.count) == (NOW, 1)
    assert loaded.values(R) == [0.0, 1.0, 2.0, 3.0]
    assert loaded.counts == (5, 4, 0, 0, 1)


@pytest.mark.parametrize("mark", ["3", "192", "x"])
def test_a_bad_quality_is_kept(load: Load, mark: str) -> None:
    loaded = load(f"time,tag,value,quality\n{AT}Z,M1/1,2.5,{mark}\n{AT}Z,P1,1,2\n")
    assert only_reason(loaded) == (f"quality '{mark}': expected 0 (good), 1 (uncertain) or 2 (bad)")
    assert loaded.samples("rail-1.permissive") == [(MOMENT, 1.0, 2)]


@pytest.mark.parametrize(
    ("content", "about"),
    [
        pytest.param(f"{HEAD}{AT}Z,M1/1,-4\n", [(R, MOMENT)], id="long"),
        pytest.param(
            f"time,tag,value,quality\n{AT}Z,M1/1,2.5,9\n", [(R, MOMENT)], id="its-quality"
        ),
        pytest.param(f"time,F1,M1/1\n{AT}Z,1,-4\n", [(R, MOMENT)], id="wide"),
        pytest.param(
            f"time,F1,M1/1\n{AT}Z,x,-4\n", [(R, MOMENT), (F, MOMENT)], id="wide-two-cells"
        ),
        pytest.param(f"{HEAD}yesterday,M1/1,4\n", [(None, None)], id="no-time"),
        pytest.param("time,F1,M1/1\nyesterday,1,4\n", [(None, None)], id="wide-no-time"),
        pytest.param(f"{HEAD}{AT}Z,M9/9,4\n", [(None, None)], id="no-point"),
        pytest.param(f"{HEAD}{AT}Z,M1/1\n", [(None, None)], id="no-row"),
    ],
)
def test_a_reject_says_which_reading_it_would_have_been(
    load: Load, content: str, about: list[tuple[str | None, int | None]]
) -> None:
    loaded = load(content)
    told = {(reject.point, reject.time) for reject in loaded.rejects}
    assert told == set(about)
    for point, _ in about:
        if point is not None:
            found = loaded.store.rejected(point, MOMENT, MOMENT + 1)
            assert found == [each for each in loaded.rejects if each.point == point]


def test_line_numbers_hold_over_many_blocks(load: Load, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(lines_module.split, "__defaults__", (4096,))
    rows = [f"{MOMENT // SECOND + n},M1/1,{n}\n" for n in range(3000)]
    for line in (2, 700, 1501, 2999):
        rows[line - 2] = "bad,M1/1,1\n" if line % 2 else "a,b\n"
    loaded = load(HEAD + "".join(rows))
    assert [reject.where for reject in loaded.rejects] == [
        "line 2", "line 700", "line 1501", "line 2999",
    ]  # fmt: skip
    assert loaded.counts == (3000, 2996, 0, 0, 4)


def test_unknown_tags_are_one_reject_each(load: Load) -> None:
    rows = f"{AT}Z,M9/1,1\n{AT}Z,M1/1,2.5\n{AT}Z,M9/2,1\n{AT}Z,M9/1,2\nsoon,M9/1,1\n"
    loaded = load(HEAD + rows)
    told = [(reject.where, reject.raw, reject.count) for reject in loaded.rejects]
    assert told == [("line 2", f"{AT}Z,M9/1,1", 3), ("line 4", f"{AT}Z,M9/2,1", 1)]
    assert loaded.counts == (5, 1, 0, 0, 4)


def test_very_many_bad_rows_are_listed_up_to_a_bound_and_counted(
    load: Load, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(faults_module, "LISTED", 50)
    loaded = load(HEAD + "soon,M1/1,1\n" * 2000 + "x\n" * 2000 + ROW)
    assert loaded.counts == (4001, 1, 0, 0, 4000)
    assert len(loaded.rejects) == 102
    assert sum(reject.count for reject in loaded.rejects) == 4000
    assert "1950 more from this line on" in loaded.rejects[-2].reason


def test_wide_cells_are_told_apart(load: Load) -> None:
    text = f"time,M1/1,P1,Note,F1\n{AT}Z,-4,maybe,,6\nsoon,1,1,x,1\n{AT}Z,,,y, \n"
    loaded = load(text)
    told = sorted((reject.where, reject.reason[:25]) for reject in loaded.rejects)
    assert told == [
        ("line 2", "permissive 'maybe' for ta"),
        ("line 2", "resistance '-4' for tag '"),
        ("line 3", "time 'soon': expected ISO"),
        ("line 4", "tag 'Note' is not in the "),
    ]
    assert loaded.values(F) == [pytest.approx(100.0)]
    assert loaded.counts == (5, 1, 0, 0, 4)


@pytest.mark.parametrize(
    ("content", "told"),
    [
        pytest.param(bytes(range(256)) * 100, "binary", id="binary"),
        pytest.param(b"\x7fELF" + b"\0" * 100, "binary", id="program"),
        pytest.param(b"PK\x03\x04" + b"\0" * 100, "spreadsheet", id="spreadsheet"),
        pytest.param((HEAD + ROW).encode("utf-16"), "UTF-16 text: save it as UTF-8", id="utf-16"),
        pytest.param(gzip.compress(b"PAR1" + b"\0" * 50), "Parquet inside", id="packed-parquet"),
        pytest.param(ROW.encode(), "no header: the first line must name", id="no-header"),
        pytest.param(b"time,tag,value,value\n" + ROW.encode(), "is there 2 times", id="twice"),
        pytest.param(f"time,M1/1,M1/1\n{AT}Z,1,1\n".encode(), "keep one of them", id="same-tag"),
        pytest.param(f"time,M1/1,{R}\n{AT}Z,1,1\n".encode(), "keep one of them", id="same-point"),
        pytest.param(b"time" + b",x" * 10**6 + b"\n", "no header", id="million-columns"),
        pytest.param(b"time" + b",x" * 10**5 + b"\n", "100001 columns", id="many-columns"),
        pytest.param(b"x" * 3_000_000, "longer than", id="endless-first-line"),
        pytest.param(gzip.compress(ROW.encode())[:20], "ends early", id="truncated-at-once"),
        pytest.param(b"\x28\xb5\x2f\xfd" + b"rubbish" * 9, "damaged", id="not-zstd-after-all"),
    ],
)
def test_a_file_that_is_none(load: Load, content: bytes, told: str) -> None:
    loaded = load(content)
    reason = only_reason(loaded)
    assert told in reason
    assert "\n" not in reason
    assert loaded.counts == (1, 0, 0, 0, 1)


@pytest.mark.parametrize(
    ("content", "note"),
    [
        (b"", "empty"),
        (b"\n\n  \n", "empty"),
        (b"\xef\xbb\xbf", "empty"),
        (gzip.compress(b"", mtime=0), "empty"),
        (HEAD.encode(), "a header and no rows"),
        (HEAD.rstrip().encode(), "a header and no rows"),
        (f"time,M1/1\n{AT}Z,\n".encode(), "a header and no rows"),
    ],
)
def test_a_file_with_nothing_in_it(load: Load, content: bytes, note: str) -> None:
    loaded = load(content)
    assert loaded.counts == (0, 0, 0, 0, 0)
    assert loaded.report.notes == [note]
    assert loaded.rejects == []


def test_columns_nobody_reads_are_told(load: Load) -> None:
    loaded = load(f"time,tag,value,unit,\n{AT}Z,M1/1,2.5,ohm,\n")
    assert loaded.samples(R) == GOOD
    assert loaded.report.notes == ["not read: column 'unit'"]


@pytest.mark.parametrize("pack", [gzip.compress, zstandard.compress])
def test_a_truncated_file_gives_what_it_has(load: Load, pack: Callable[[bytes], bytes]) -> None:
    rng = np.random.default_rng(1)
    rows = [f"{MOMENT // SECOND + n},M1/1,{v:.6f}\n" for n, v in enumerate(rng.random(60_000))]
    packed = pack((HEAD + "".join(rows)).encode())
    loaded = load(packed[: len(packed) * 3 // 4])
    assert "ends early" in only_reason(loaded)
    read, new, *_, rejected = loaded.counts
    assert rejected == 1
    assert new == read - 1 > 10_000
    # The last line of what is there may be cut in the middle of a number: it is not taken.
    assert loaded.values(R) == [float(row.split(",")[2]) for row in rows[:new]]
    assert loaded.rejects[0].where == f"line {new + 2}"


def test_a_long_line_is_passed_over(load: Load) -> None:
    loaded = load(HEAD + ROW + "x" * 100_000_000 + "\nsoon,M1/1,1\n")
    assert [(reject.where, reject.reason[:20]) for reject in loaded.rejects] == [
        ("line 3", "the line is longer t"),
        ("line 4", "time 'soon': expecte"),
    ]
    assert loaded.samples(R) == GOOD
    assert len(loaded.rejects[0].raw) == 4096


def test_a_line_of_a_million_columns_is_passed_over(load: Load) -> None:
    loaded = load(HEAD + "x," * 400_000 + "\n" + "x," * 1_000_000 + "\n" + ROW)
    assert loaded.samples(R) == GOOD
    assert [reject.where for reject in loaded.rejects] == ["line 2", "line 3"]
    assert "400001 columns" in loaded.rejects[0].reason


def bomb(head: bytes, unit: bytes, size: int) -> bytes:
    """Return zstd that unpacks to a head and ``size`` bytes more."""
    chunk = unit * (1 << 20)
    return zstandard.compress(head) + zstandard.compress(chunk) * (size // len(chunk))


@pytest.mark.parametrize(
    ("head", "unit", "size", "told"),
    [
        pytest.param(b"", b"\0", 10 << 30, "binary", id="zeros"),
        pytest.param(HEAD.encode(), b"\0", 1 << 30, "had no end", id="zeros-below-a-header"),
        pytest.param(b"", b"x", 2 << 30, "the first line is longer", id="no-line-break"),
    ],
)
def test_a_decompression_bomb_is_given_up_in_little_memory(
    load: Load, head: bytes, unit: bytes, size: int, told: str
) -> None:
    content = bomb(head, unit, size)
    tracemalloc.start()
    loaded = load(content)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert told in only_reason(loaded)
    assert peak < 150 << 20


def test_a_bomb_of_line_breaks_is_an_empty_file(load: Load) -> None:
    loaded = load(bomb(HEAD.encode(), b"\n", 1 << 30))
    assert loaded.counts == (0, 0, 0, 0, 0)


# Many files


def write(folder: Path, **files: str) -> None:
    for name, text in files.items():
        (folder / f"{name}.csv").write_text(text)


def test_overlapping_files(store: Store, site: Site, tmp_path: Path) -> None:
    rows = [f"{MOMENT // SECOND + n},M1/1,{n}\n" for n in range(100)]
    write(tmp_path, a=HEAD + "".join(rows[:60]), b=HEAD + "".join(rows[40:]))
    report = load_files(store, site, [tmp_path / "*.csv"], now=NOW)
    assert [(file.name, file.new, file.repeated) for file in report.files] == [
        ("a.csv", 60, 0),
        ("b.csv", 40, 20),
    ]
    assert (report.read, report.new, report.repeated, report.replaced) == (120, 100, 20, 0)
    assert report.is_clean


def test_readings_arrive_when_they_are_stored(store: Store, site: Site, tmp_path: Path) -> None:
    write(tmp_path, a=HEAD + f"{MOMENT // SECOND},M1/1,1\n")
    write(tmp_path, b=HEAD + "".join(f"{MOMENT // SECOND + n},M1/1,1\n" for n in range(3)))
    clock = iter([NOW + 90 * SECOND, NOW + 500 * SECOND])
    load_files(store, site, [tmp_path / "*.csv"], now=NOW, clock=clock.__next__)
    told = store.arrivals("rail-1.resistance", store.read("rail-1.resistance").time)
    assert ((told.first - NOW) // SECOND).tolist() == [90, 500, 500]
    assert (told.last - told.first <= MINUTE).all()  # rows that may go on leave room for more


def test_without_a_clock_readings_arrive_now(store: Store, site: Site, tmp_path: Path) -> None:
    write(tmp_path, a=HEAD + ROW)
    for now in (NOW, NOW + 3600 * SECOND):
        load_files(store, site, [tmp_path / "a.csv"], now=now)
        told = store.arrivals("rail-1.resistance", store.read("rail-1.resistance").time)
        assert told.first.tolist() == [NOW]
        assert told.last[0] - NOW <= MINUTE


def test_a_directory_with_everything_a_site_has(store: Store, site: Site, tmp_path: Path) -> None:
    span = "2026-03-01T06:00:00Z,2026-03-01T08:00:00Z,rail-1"
    write(
        tmp_path,
        long=HEAD + ROW,
        wide=f"time,P1\n{AT}Z,1\n",
        work=f"start,end,station,what\n{span},strap\n",
        batch=f"start,end,station,batch,product,operator\n{span},B-7,toluene,A\n",
    )
    report = load_files(store, site, [tmp_path], now=NOW)
    assert [file.kind for file in report.files] == [
        FileKind.BATCH, FileKind.LONG, FileKind.WIDE, FileKind.WORK,
    ]  # fmt: skip
    assert report.new == 4


def test_the_same_file_twice_changes_nothing(load: Load) -> None:
    text = HEAD + ROW + f"{AT}Z,M1/1,-4\n{AT}Z,M9/9,1\n{AT}Z,F1,6\n"
    first = load(text)
    before = (first.samples(R), first.samples(F), first.rejects, first.store.touched())
    again = load(text)
    assert again.counts == (4, 0, 2, 0, 2)
    assert again.report.is_repeat
    after = (again.samples(R), again.samples(F), again.rejects, again.store.touched())
    assert after == before


def test_a_missing_file_does_not_stop_the_others(store: Store, site: Site, tmp_path: Path) -> None:
    write(tmp_path, a=HEAD + ROW)
    (tmp_path / "folder").mkdir()
    paths = [tmp_path / "no.csv", tmp_path / "a.csv", tmp_path / "folder", tmp_path / "n*.csv"]
    report = load_files(store, site, paths, now=NOW)
    assert report.new == 1
    assert not report.is_clean
    assert [(Path(file.name).name, file.error) for file in report.errors] == [
        ("no.csv", "no such file"),
        ("folder", "a directory with no CSV or Parquet file in it"),
        ("n*.csv", "no such file"),
    ]


def test_nothing_to_load_is_an_error_that_names_each_path(store: Store, site: Site) -> None:
    with pytest.raises(IngestError, match="no such file") as caught:
        load_files(store, site, ["no.csv", "neither.csv"], now=NOW)
    assert [each.path for each in caught.value.unreadable] == ["no.csv", "neither.csv"]
    with pytest.raises(IngestError, match="no file was named"):
        load_files(store, site, [], now=NOW)


def test_a_file_that_may_not_be_read(
    store: Store, site: Site, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write(tmp_path, a=HEAD + ROW)

    def refuse(*_: object, **__: object) -> None:  # root may read everything
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)
    with pytest.raises(IngestError, match="may not be read"):
        load_files(store, site, [tmp_path / "a.csv"], now=NOW)


class FakeStdin:
    def __init__(self, content: bytes) -> None:
        self.buffer = io.BytesIO(content)


@pytest.mark.parametrize("pack", [bytes, gzip.compress, zstandard.compress])
def test_standard_input(
    store: Store, site: Site, monkeypatch: pytest.MonkeyPatch, pack: Callable[[bytes], bytes]
) -> None:
    monkeypatch.setattr(sys, "stdin", FakeStdin(pack((HEAD + ROW + "x\n").encode())))
    told: list[Progress] = []
    report = load_files(store, site, ["-"], now=NOW, progress=told.append)
    assert (report.new, report.rejected) == (1, 1)
    assert store.rejects()[0].source == "standard input"
    assert told[-1].total_bytes is None


def test_parquet_cannot_come_from_standard_input(
    store: Store, site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "stdin", FakeStdin(b"PAR1" + b"\0" * 99))
    load_files(store, site, ["-"], now=NOW)
    assert "Parquet" in store.rejects()[0].reason


def test_progress_reaches_the_total(store: Store, site: Site, tmp_path: Path) -> None:
    write(tmp_path, a=HEAD + ROW * 10, b=HEAD + ROW * 20)
    told: list[Progress] = []
    load_files(store, site, [tmp_path], now=NOW, progress=told.append)
    last = told[-1]
    assert (last.file, last.rows, last.read_bytes) == ("b.csv", 30, last.total_bytes)


@pytest.mark.parametrize("rows", [0, 1, 300_000])
def test_progress_of_parquet_reaches_the_total(
    store: Store, site: Site, tmp_path: Path, rows: int
) -> None:
    table = pa.table({"time": MOMENT + np.arange(rows) * SECOND, "M1/1": np.ones(rows)})
    pq.write_table(table, tmp_path / "a.parquet")
    write(tmp_path, b=HEAD + ROW)
    told: list[Progress] = []
    load_files(store, site, [tmp_path], now=NOW, progress=told.append)
    assert told[-1].read_bytes == told[-1].total_bytes
    assert [step.read_bytes for step in told] == sorted(step.read_bytes for step in told)


def test_a_store_that_takes_no_more_ends_the_load_and_the_reading(
    store: Store, site: Site, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object) -> None:
        raise StoreError("here", "the disk is full")

    write(tmp_path, a=HEAD + ROW * 2_000_000)
    monkeypatch.setattr(BulkWriter, "add", refuse)
    with pytest.raises(StoreError, match="the disk is full"):
        load_files(store, site, [tmp_path / "a.csv"], now=NOW)
    assert not [
        each
        for each in threading.enumerate()
        if each.name.startswith(("read-ahead", "side-by-side"))
    ]


# The whole way


@st.composite
def series(draw: st.DrawFn) -> dict[str, Samples]:
    found = {}
    for point, values in (
        (R, st.floats(0, allow_nan=False)),
        (F, st.floats(-1e6, 1e6)),
        ("rail-1.permissive", st.sampled_from([0.0, 1.0])),
    ):
        times = draw(st.lists(st.integers(10**12, 4 * 10**12), max_size=12, unique=True))
        marks = draw(st.lists(st.integers(0, 2), min_size=len(times), max_size=len(times)))
        some = draw(st.lists(values, min_size=len(times), max_size=len(times)))
        found[point] = later_wins(Samples.of(np.array(times, np.int64) * 10**6, some, marks))
    return found


def written(source: dict[str, Samples], draw: st.DataObject) -> bytes:
    """Return the samples as a long CSV of any shape."""
    delimiter = draw.draw(st.sampled_from(",;\t"))
    rows = []
    for point, samples in source.items():
        for time, value, mark in zip(samples.time, samples.value, samples.quality, strict=True):
            form = draw.draw(st.sampled_from(["iso", "ms", "ns", "offset"]))
            text = str(np.datetime64(int(time), "ns"))
            moment = {
                "iso": text + "Z",
                "ms": str(time // 10**6),
                "ns": str(time),
                "offset": str(np.datetime64(int(time) + 7_200_000_000_000, "ns")) + "+02:00",
            }[form]
            if point == F:
                value = value * 60 / 1000  # back to m3/h
            number = "OL" if math.isinf(value) else repr(float(value))
            if delimiter == ";":
                number = number.replace(".", ",")
            rows.append(delimiter.join((moment, point, number, str(mark))))
    rows = draw.draw(st.permutations(rows))
    end = draw.draw(st.sampled_from(["\n", "\r\n"]))
    text = end.join(["time,tag,value,quality".replace(",", delimiter), *rows])
    pack = draw.draw(st.sampled_from([bytes, gzip.compress, zstandard.compress]))
    return pack(text.encode())


@given(series(), st.data())
@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_what_was_written_in_any_shape_is_loaded(
    site: Site,
    made: Path,
    tmp_path_factory: pytest.TempPathFactory,
    source: dict[str, Samples],
    data: st.DataObject,
) -> None:
    folder = tmp_path_factory.mktemp("any")
    (folder / "file").write_bytes(written(source, data))
    shutil.copy(made, folder / "trail.db")
    with open_store(f"sqlite:///{folder / 'trail.db'}") as store:
        report = load_files(store, site, [folder / "file"], now=NOW)
        assert report.new == report.read == sum(map(len, source.values()))
        for point, samples in source.items():
            loaded = store.read(point)
            assert loaded.time.tolist() == samples.time.tolist()
            assert loaded.quality.tolist() == samples.quality.tolist()
            np.testing.assert_allclose(loaded.value, samples.value, rtol=1e-12, atol=1e-300)


@given(st.lists(st.tuples(st.integers(0, 50), st.integers(0, 9)), max_size=60), st.data())
@settings(max_examples=15)
def test_pieces_in_any_order_give_what_one_file_gives(
    site: Site,
    made: Path,
    tmp_path_factory: pytest.TempPathFactory,
    readings: list[tuple[int, int]],
    data: st.DataObject,
) -> None:
    """Each reading is in one piece or two; one at a time has one value, or order would count."""
    values = dict(readings)
    rows = [f"{MOMENT // SECOND + second},M1/1,{value}\n" for second, value in values.items()]
    places = [data.draw(st.sets(st.integers(0, 3), min_size=1, max_size=2)) for _ in rows]
    folder = tmp_path_factory.mktemp("pieces")
    shutil.copy(made, folder / "trail.db")
    for piece in range(4):
        some = [row for row, where in zip(rows, places, strict=True) if piece in where]
        (folder / f"{piece}.csv").write_text(HEAD + "".join(some))
    order = data.draw(st.permutations(range(4)))
    with open_store(f"sqlite:///{folder / 'trail.db'}") as store:
        report = load_files(store, site, [folder / f"{piece}.csv" for piece in order], now=NOW)
        assert (report.new, report.replaced, report.rejected) == (len(values), 0, 0)
        found = store.read(R)
        seconds = ((found.time - MOMENT) // SECOND).tolist()
        assert list(zip(seconds, found.value.tolist(), strict=True)) == sorted(values.items())


def test_a_load_into_postgresql_is_the_same(
    store: Store, site: Site, tmp_path: Path, postgres_url: str
) -> None:
    rows = "".join(f"{MOMENT // SECOND + n},M1/1,{n % 7}\n" for n in range(5000))
    write(tmp_path, a=HEAD + rows + f"{AT}Z,M9\\9,1\n" + "soon,M1/1,\u00fc\n" + "a,\0,b\n")
    with open_store(postgres_url) as other:
        reports = [load_files(each, site, [tmp_path / "a.csv"], now=NOW) for each in (store, other)]
        assert reports[0] == reports[1]
        assert store.read(R) == other.read(R)
        assert store.rejects() == other.rejects()
        assert len(other.rejects()) == 3


def test_a_wide_table_of_every_point_over_many_rows(load: Load) -> None:
    tags = ("M1/1", "S1", "P1", "F1", "R1", "K1", "M1/2", "F2")
    rows = 4000
    lines = (
        f"{MOMENT // SECOND + n}," + ",".join("1" if (n + c) % 3 else "" for c in range(8))
        for n in range(rows)
    )
    loaded = load("time," + ",".join(tags) + "\n" + "\n".join(lines))
    filled = sum(bool((n + c) % 3) for n in range(rows) for c in range(8))
    assert loaded.counts == (filled, filled, 0, 0, 0)
    assert len(loaded.store.points()) == 8


LOADER = """
import sys
from functools import partialmethod
from pathlib import Path
from bondtrail.site import load_site
from ingest import load_files
from store import Store, open_store
Store.bulk = partialmethod(Store.bulk, flush_rows=250_000)  # a tenth: parts are there sooner
site, url, path = sys.argv[1:]
def tell(progress):
    print(progress.rows, flush=True)
with open_store(url) as store:
    load_files(store, load_site(Path(site)), [path], now=0, progress=tell)
"""


def test_killed_in_the_middle_then_loaded_again_is_as_loaded_once(
    site: Site, tmp_path: Path
) -> None:
    (tmp_path / "site.toml").write_text(SITE)
    path = tmp_path / "long.csv"
    rows = 1_000_000
    half = [f"{MOMENT // SECOND + n},M1/1,{n % 97}\n" for n in range(rows)]
    path.write_text(HEAD + "".join(half) + "bad,M1/1,1\n")
    url = f"sqlite:///{tmp_path / 'killed.db'}"
    command = [sys.executable, "-c", LOADER, str(tmp_path / "site.toml"), url, str(path)]
    root = Path(__file__).parents[2]
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, text=True, env=os.environ | {"PYTHONPATH": str(root)}
    ) as child:
        assert child.stdout is not None
        for line in child.stdout:
            if int(line) >= 400_000:  # a first part is committed, or about to be
                child.send_signal(signal.SIGKILL)
                break
    assert child.returncode == -signal.SIGKILL
    with open_store(url) as store:
        report = load_files(store, site, [path], now=0)
        assert (report.read, report.new + report.repeated) == (rows + 1, rows)
        assert report.replaced == 0
        found = store.read(R)
        assert np.array_equal(found.time, MOMENT + np.arange(rows) * SECOND)
        assert np.array_equal(found.value, np.arange(rows) % 97)
        assert len(store.rejects()) == 1
