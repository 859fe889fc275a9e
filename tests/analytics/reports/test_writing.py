"""Writing: the suffix tells the format, an earlier report is replaced, half of one never seen."""

from __future__ import annotations

import errno
from pathlib import Path

import pytest

from analytics import files
from analytics.reports import SUFFIXES
from analytics.reports.writing import write_report
from tests.analytics.reports import made

REPORT = made.report(made.table(made.row()))


@pytest.mark.parametrize(
    ("suffix", "begins"),
    [(".html", b"<!DOCTYPE html>"), (".xlsx", b"PK"), (".json", b"{"), (".HTML", b"<!DOCTYPE")],
)
def test_the_suffix_tells_the_format(tmp_path: Path, suffix: str, begins: bytes) -> None:
    path = tmp_path / f"march{suffix}"
    assert write_report(REPORT, path) == [path]
    assert path.read_bytes().startswith(begins)
    assert list(tmp_path.iterdir()) == [path]


def test_csv_is_a_file_a_table_beside_the_summary(tmp_path: Path) -> None:
    path = tmp_path / "march.csv"
    files = write_report(REPORT, path)
    assert [file.name for file in files] == ["march-contents.csv", "march-made.csv", "march.csv"]
    assert sorted(tmp_path.iterdir()) == sorted(files)
    assert path.read_text(encoding="utf-8").startswith("item,value,unit")


def test_another_suffix_is_refused_with_those_that_there_are(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match=r"\.html, \.xlsx, \.csv, \.json"):
        write_report(REPORT, tmp_path / "march.pdf")
    assert list(tmp_path.iterdir()) == []


def test_an_earlier_report_is_replaced(tmp_path: Path) -> None:
    path = tmp_path / "march.json"
    path.write_text("old", encoding="utf-8")
    write_report(REPORT, path)
    assert path.read_text(encoding="utf-8") != "old"


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_when_writing_fails_the_earlier_report_stays(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, suffix: str
) -> None:
    path = tmp_path / f"march{suffix}"
    path.write_text("old", encoding="utf-8")

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(files.os, "fsync", full)
    with pytest.raises(OSError, match="No space left") as caught:
        write_report(REPORT, path)
    assert caught.value.filename == str(path)
    assert path.read_text(encoding="utf-8") == "old"
    assert list(tmp_path.iterdir()) == [path]


def test_a_folder_that_is_not_there_is_named_by_the_file_asked_for(tmp_path: Path) -> None:
    path = tmp_path / "gone" / "march.html"
    with pytest.raises(FileNotFoundError) as caught:
        write_report(REPORT, path)
    assert caught.value.filename == str(path)
