from __future__ import annotations

import pytest

from ingest import FileReport, IngestError, LoadReport, Unreadable


@pytest.mark.parametrize(
    ("report", "is_repeat"),
    [
        (FileReport("a"), False),
        (FileReport("a", read=2, repeated=2), True),
        (FileReport("a", read=3, repeated=2, rejected=1), True),
        (FileReport("a", read=3, new=1, repeated=2), False),
        (FileReport("a", read=3, repeated=2, replaced=1), False),
        (FileReport("a", read=1, rejected=1), False),
    ],
)
def test_a_repeat_is_a_file_that_brought_nothing(report: FileReport, is_repeat: bool) -> None:
    assert report.is_repeat == is_repeat


def test_a_report_sums_its_files() -> None:
    report = LoadReport(
        (
            FileReport("a", read=10, new=4, repeated=3, replaced=2, rejected=1),
            FileReport("b", read=1, new=1),
        )
    )
    counts = (report.read, report.new, report.repeated, report.replaced, report.rejected)
    assert counts == (11, 5, 3, 2, 1)


@pytest.mark.parametrize(
    ("file", "is_clean"),
    [
        (FileReport("a", read=1, new=1), True),
        (FileReport("a", read=1, rejected=1), False),
        (FileReport("a", error="no such file"), False),
    ],
)
def test_clean_means_all_read_and_all_taken(file: FileReport, is_clean: bool) -> None:
    assert LoadReport((FileReport("b", read=1, new=1), file)).is_clean == is_clean


def test_an_error_names_every_path_and_keeps_the_facts() -> None:
    error = IngestError([Unreadable("a.csv", "no such file"), Unreadable("b.csv", "too odd")])
    assert str(error) == "a.csv: no such file; b.csv: too odd"
    assert error.unreadable[1].reason == "too odd"
