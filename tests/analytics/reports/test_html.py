"""The page: everything escaped, nothing from elsewhere, and the same bytes each time."""

from __future__ import annotations

from html.parser import HTMLParser
from typing import Any

import pytest

from analytics.core.shares import wilson
from analytics.holes import Coverage
from analytics.reports import Report
from analytics.reports.html import html_file
from analytics.reports.tables import Place
from tests.analytics.reports import made
from tests.analytics.reports.quay import FORMULA, SCRIPT


class Page(HTMLParser):
    """Which tags there are, with their attributes, and which text."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.texts: list[str] = []
        self._in: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: Any) -> None:
        self.tags.append((tag, dict(attrs)))
        self._in.append(tag)

    def handle_endtag(self, tag: str) -> None:
        while self._in and self._in.pop() != tag:
            pass

    def handle_data(self, data: str) -> None:
        if "style" not in self._in:
            self.texts.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.texts).split())

    def classes(self) -> list[str]:
        return [attrs.get("class") or "" for _, attrs in self.tags]


def page(report: Report) -> Page:
    return Page(html_file(report).decode())


def of(*rows: made.Row, **more: Any) -> Page:
    return page(made.report(made.table(*rows, **more)))


def test_nothing_runs_and_nothing_comes_from_elsewhere(report: Report) -> None:
    found = page(report)
    assert not {"script", "link", "img", "iframe", "object", "form"} & {
        tag for tag, _ in found.tags
    }
    for _, attrs in found.tags:
        for name, value in attrs.items():
            assert not name.startswith("on")
            if name in ("href", "src", "xlink:href"):
                assert str(value).startswith("#")
    text = html_file(report).decode()
    assert "@import" not in text
    assert "url(http" not in text
    policy = dict(found.tags)["meta"]
    assert policy is not None
    assert "default-src 'none'" in text


def test_what_comes_from_outside_is_text(report: Report) -> None:
    text = html_file(report).decode()
    assert SCRIPT not in text
    assert "<b>& sons</b>" not in text
    found = page(report).text
    assert SCRIPT in found
    assert FORMULA in found
    assert "Quay <b>& sons</b> (invented)" in found


@pytest.mark.parametrize("character", ["\x1b", "\x00", "\x85", "\u202e", "\u2066"])
def test_no_name_steers_a_screen_or_turns_the_text(character: str) -> None:
    text = html_file(made.report(site_name=f"Quay {character}7")).decode()
    assert character not in text
    assert "Quay \N{REPLACEMENT CHARACTER}7" in text


def test_the_same_report_is_the_same_bytes(report: Report) -> None:
    assert html_file(report) == html_file(report)


def test_the_first_page_has_the_figure_its_interval_and_its_count() -> None:
    text = page(made.report()).text
    assert "97.3 %" in text
    assert "498 of 512 transfers compliant" in text
    assert "95 % interval 95.5 to 98.4 % (Wilson)" in text
    assert "Bad bond 6" in text
    assert "Bypassed 3" in text
    assert "Not verifiable 5" in text
    assert "unknown 60 s, no record 40 s" in text
    assert "not analysed" not in text
    assert "Flow unknown" not in text
    assert "not recorded at" not in text
    assert "of them from first flow to last" in text
    assert "2026-03-01 to 2026-03-31, 31 days of Europe/Lisbon" in text


def test_the_first_page_has_the_caveats_and_the_cautions() -> None:
    text = page(made.report()).text
    assert "▲ Mind: The records have holes. rail-1: no record for 40 s" in text
    assert "It is not a safety function" in text
    assert "licensed or competent persons" in text


def test_a_period_without_transfers_has_no_figure() -> None:
    text = page(made.report(compliance=wilson(0, 0))).text
    assert "No transfers began in this period" in text
    assert "Wilson" not in text


def test_what_is_not_known_stands_beside_what_is() -> None:
    coverage = Coverage(900.0, 60.0, 40.0, 7200.0, 3600.0)
    text = page(made.report(coverage=coverage, without_bypass=(2, 5))).text
    assert "no record 40 s, not analysed 2 h. Flow unknown 1 h" in text
    assert "not recorded at 2 of 5 stations with flow" in text


def test_a_period_that_is_not_analysed_is_not_one_without_transfers() -> None:
    coverage = Coverage(0.0, 0.0, 40.0, 7200.0)
    text = page(made.report(compliance=wilson(0, 0), coverage=coverage)).text
    assert "Not analysed : readings of this period are loaded" in text
    assert "No transfers began" not in text


def test_few_transfers_are_said_to_tell_little() -> None:
    assert "so few transfers tell little" in page(made.report(compliance=wilson(3, 4))).text
    assert "so few transfers tell little" not in page(made.report()).text


def test_a_cell_says_what_stands_behind_its_figure() -> None:
    text = of(made.row()).text
    assert "90.0 % 9 of 10, 59.6 to 98.2 %" in text
    assert "Begins Day Share Lowest Lasts Trips Rate per 100 h In short" in text
    assert "2026-03-10 06:00:00" in text
    assert "0.3333 ohm" in text


def test_what_is_unknown_is_a_dash_and_an_open_circuit_is_open() -> None:
    assert "– – – open – – – in short" in of(made.UNKNOWN).text  # noqa: RUF001


def test_what_is_abnormal_has_a_colour_a_sign_and_its_word() -> None:
    bad = of(made.row(station="bad"))
    assert "mark mark-critical" in bad.classes()
    assert "◆ bad" in bad.text
    assert not any("mark" in each for each in of(made.row()).classes())


def test_a_cause_stands_below_its_row_and_data_alone_is_left_out() -> None:
    text = of(made.row(id="only-in-data")).text
    assert "Cause: It was so." in text
    assert "only-in-data" not in text
    assert "Cause:" not in of(made.row(cause="")).text


def test_a_table_without_rows_says_so_in_its_place() -> None:
    text = of().text
    assert "Nothing here." in text
    assert "A note." not in text
    assert not [tag for tag, _ in of().tags if tag == "table"]


def test_a_table_that_has_nothing_to_say_is_left_out() -> None:
    shown = of(empty="")
    assert "Made by hand" not in shown.text
    assert "Nothing here." not in shown.text


def test_a_table_for_data_alone_is_left_out() -> None:
    assert "It was so." not in of(made.row(), place=Place.DATA).text


def test_a_long_word_may_be_broken_and_a_short_text_not() -> None:
    classes = of(made.row(station="x" * 200)).classes()
    assert "long" in classes
    assert "nowrap" in of(made.row()).classes()


@pytest.mark.parametrize(("rows", "together"), [(8, True), (9, False)])
def test_a_small_table_is_kept_on_one_page(rows: int, together: bool) -> None:
    assert ("table together" in of(*[made.row()] * rows).classes()) is together
