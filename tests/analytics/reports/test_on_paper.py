"""The page as a browser shows and prints it."""

from __future__ import annotations

import base64
import re
from pathlib import Path
from typing import Any

import pytest

from analytics.reports import Report, write_report
from tests.analytics.reports import made
from tests.services import Browser

A4_PT = (595, 842)


def opened(browser: Browser, report: Report, folder: Path) -> None:
    path = folder / "report.html"
    write_report(report, path)
    browser.driver.get("about:blank")
    browser.console(), browser.asked_for()
    browser.driver.get(path.as_uri())


def printed(browser: Browser) -> bytes:
    options = {"preferCSSPageSize": True, "printBackground": True}
    found: dict[str, Any] = browser.driver.execute_cdp_cmd("Page.printToPDF", options)
    return base64.b64decode(found["data"])


def sheets(pdf: bytes) -> list[tuple[int, int]]:
    """Return the size of each page in points."""
    boxes = re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", pdf)
    return [(round(float(width)), round(float(height))) for width, height in boxes]


def test_it_prints_to_a4_pages_and_asks_for_nothing(
    browser: Browser, report: Report, tmp_path: Path
) -> None:
    opened(browser, report, tmp_path)
    pages = sheets(printed(browser))
    assert len(pages) > 3
    assert set(pages) == {A4_PT}
    assert browser.console() == []
    assert not [url for url in browser.asked_for() if not url.startswith(("file:", "about:"))]


def test_a_long_table_runs_over_pages_and_a_long_word_stays_on_them(
    browser: Browser, tmp_path: Path
) -> None:
    rows = [made.row(station="x" * 300), *[made.row()] * 150]
    opened(browser, made.report(made.table(*rows)), tmp_path)
    browser.show(1000, 800)
    assert len(sheets(printed(browser))) > 4
    script = "return document.documentElement.scrollWidth <= window.innerWidth"
    assert browser.driver.execute_script(script)


@pytest.mark.parametrize("width", [1400, 900])
def test_nothing_runs_out_of_the_page(
    browser: Browser, report: Report, tmp_path: Path, width: int
) -> None:
    browser.show(width, 900)
    opened(browser, report, tmp_path)
    script = "return document.documentElement.scrollWidth"
    assert browser.driver.execute_script(script) <= width
