from __future__ import annotations

import gzip
from pathlib import Path

import pytest
import zstandard

from ingest.sources import DamagedSourceError, expand, open_source, size_of

TEXT = b"time,tag,value\n" + b"2026-03-01T06:15:30Z,M1/1,2.3\n" * 10_000


def read_all(path: Path) -> bytes:
    source = open_source(str(path))
    try:
        parts = iter(lambda: source.read(1 << 16), b"")
        return b"".join(parts)
    finally:
        source.close()


@pytest.mark.parametrize("name", ["a.csv", "a.csv.gz", "a.zst", "a"])
@pytest.mark.parametrize("pack", [bytes, gzip.compress, zstandard.compress])
def test_compression_is_told_by_content_not_by_name(tmp_path: Path, name: str, pack) -> None:  # type: ignore[no-untyped-def]
    path = tmp_path / name
    path.write_bytes(pack(TEXT))
    assert read_all(path) == TEXT


@pytest.mark.parametrize("pack", [gzip.compress, zstandard.compress])
def test_packed_parts_one_after_the_other_are_one_file(tmp_path: Path, pack) -> None:  # type: ignore[no-untyped-def]
    path = tmp_path / "a"
    path.write_bytes(pack(TEXT) + pack(TEXT))
    assert read_all(path) == TEXT * 2


@pytest.mark.parametrize("pack", [gzip.compress, zstandard.compress])
@pytest.mark.parametrize(
    ("spoil", "told"),
    [(lambda data: data[:-9], "ends early"), (lambda data: data + b"rubbish", "damaged")],
)
def test_a_damaged_file_says_so(tmp_path: Path, pack, spoil, told: str) -> None:  # type: ignore[no-untyped-def]
    path = tmp_path / "a"
    path.write_bytes(spoil(pack(TEXT)))
    with pytest.raises(DamagedSourceError, match=told):
        read_all(path)


def test_consumed_counts_bytes_on_disk(tmp_path: Path) -> None:
    path = tmp_path / "a.gz"
    path.write_bytes(gzip.compress(TEXT))
    source = open_source(str(path))
    while source.read(1 << 16):
        pass
    assert source.consumed == path.stat().st_size == size_of(str(path))
    source.close()


def test_size_is_unknown_for_standard_input_and_nothing_for_no_file(tmp_path: Path) -> None:
    assert size_of("-") is None
    assert size_of(str(tmp_path / "none")) == 0


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name in ("b.csv", "a.csv.zst", "c.PARQUET", "notes.txt", "odd[1].csv"):
        (tmp_path / name).write_bytes(b"")
    (tmp_path / "empty").mkdir()
    return tmp_path


def test_a_directory_stands_for_its_readable_files_in_order(folder: Path) -> None:
    names = [Path(path).name for path in expand([folder])]
    assert names == ["a.csv.zst", "b.csv", "c.PARQUET", "odd[1].csv"]


@pytest.mark.parametrize(
    ("pattern", "names"),
    [
        ("*.csv*", ["a.csv.zst", "b.csv", "odd[1].csv"]),
        ("[bc].*", ["b.csv", "c.PARQUET"]),
        ("odd[1].csv", ["odd[1].csv"]),
        ("none-*.csv", ["none-*.csv"]),
        ("none.csv", ["none.csv"]),
        ("empty", ["empty"]),
    ],
)
def test_a_pattern_stands_for_what_it_matches(folder: Path, pattern: str, names: list[str]) -> None:
    assert [Path(path).name for path in expand([folder / pattern])] == names


def test_patterns_may_be_relative(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(folder)
    assert expand(["b*", "-", "b.csv"]) == ["b.csv", "-"]
