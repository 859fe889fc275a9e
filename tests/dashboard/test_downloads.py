"""The report of a period, and the evidence of a transfer, as files."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator

import pytest

from analytics.evidence import Grade, verify_bytes
from dashboard.downloads import DownloadError, evidence_file, report_file
from store import Store, open_store
from tests.dashboard.bay import ID


@pytest.fixture
def store(filled_url: str) -> Iterator[Store]:
    with open_store(filled_url) as opened:
        yield opened


def test_a_page_to_print(store: Store) -> None:
    name, content = report_file(store, "2026-03-01", "2026-03-03", None, ".html")
    assert name == "compliance-quay-2026-03-01-to-2026-03-03.html"
    text = content.decode()
    assert text.startswith("<!DOCTYPE html>") or text.startswith("<!doctype html>")
    assert "Test Quay (invented)" in text


def test_a_workbook_of_an_area(store: Store) -> None:
    name, content = report_file(store, "2026-03-01", "2026-03-31", "Rails", ".xlsx")
    assert name == "compliance-quay-2026-03.xlsx"
    with zipfile.ZipFile(io.BytesIO(content)) as book:
        texts = book.read("xl/sharedStrings.xml").decode()
    assert "1 of 4 stations of the site: rail-1." in texts


def test_a_period_that_a_page_cannot_wait_for_names_the_command(store: Store) -> None:
    with pytest.raises(DownloadError, match="bondtrail report --from 2020-01-01 --to 2026-01-01"):
        report_file(store, "2020-01-01", "2025-12-31", None, ".html")


def test_a_period_to_come_has_no_report(store: Store) -> None:
    with pytest.raises(DownloadError, match="has not begun"):
        report_file(store, "2999-01-01", "2999-01-02", None, ".html")


def test_an_empty_store_has_no_report(empty_url: str) -> None:
    with open_store(empty_url) as empty, pytest.raises(DownloadError, match="no site"):
        report_file(empty, "2026-03-01", "2026-03-02", None, ".html")


def test_the_evidence_of_a_transfer_is_not_wrong(bay_url: str) -> None:
    with open_store(bay_url) as bay:
        made = evidence_file(bay, ID)
    assert made.name == "evidence-bay-1-20260312T061500.000Z.zip"
    assert made.faults == ()
    checked = verify_bytes(made.content)
    # Its record ends before a pause would be over: whether it went on is not told.
    assert [each.about for each in checked.checks if each.grade is Grade.WRONG] == []
    content = [each for each in checked.checks if each.about in ("readings", "documents", "page")]
    assert {each.grade for each in content} == {Grade.GOOD}
    assert checked.sha256 == made.sha256


def test_no_evidence_is_told_in_words(store: Store) -> None:
    with pytest.raises(DownloadError, match=r"^There is no evidence: .*20990101"):
        evidence_file(store, "rail-1/20990101T000000.000Z")
