"""A table in plain text: its columns stand below each other, and it fits."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bondtrail.cli.text_table import Heading, laid_out, width_of

NAME, TEXT, FIGURE = Heading("Name"), Heading("Text", wraps=True), Heading("ohm", right=True)


def drawn(headings: list[Heading], rows: list[tuple[str, ...]], widest: int) -> list[str]:
    head, rule, lines = laid_out(headings, rows, widest)
    return [*head, rule, *lines]


@pytest.mark.parametrize(
    ("headings", "rows", "widest", "lines"),
    [
        pytest.param([NAME, TEXT], [], 40, ["Name  Text", "----------"], id="no-rows"),
        pytest.param(
            [NAME, FIGURE, TEXT],
            [("bay-1", "12.5", "so"), ("b", "open", "")],
            40,
            ["Name    ohm  Text", "-----------------", "bay-1  12.5  so", "b      open"],
            id="to-the-right-and-no-blanks-at-the-end",
        ),
        pytest.param(
            [NAME, TEXT],
            [("bay-1", "the bond was lost")],
            17,
            ["Name   Text", "-----------------", "bay-1  the bond", "       was lost"],
            id="words-wrap",
        ),
        pytest.param(
            [TEXT],
            [("the bond",)],
            8,
            ["Text", "--------", "the bond"],
            id="just-as-wide",
        ),
        pytest.param(
            [TEXT],
            [("so abcdefgh-ijklmnop so",)],
            12,
            ["Text", "------------", "so", "abcdefgh-ijk", "lmnop so"],
            id="a-word-that-is-too-long-is-broken",
        ),
        pytest.param(
            [NAME, TEXT],
            [("a", "one\ntwo"), ("b\nc", "three")],
            40,
            ["Name  Text", "-----------", "a     one", "      two", "b     three", "c"],
            id="lines-of-a-cell",
        ),
        pytest.param(
            [NAME, Heading("Bond,\nstop", right=True)],
            [("a", "1.3")],
            40,
            ["      Bond,", "Name   stop", "-----------", "a       1.3"],
            id="lines-of-a-heading-stand-on-the-rule",
        ),
        pytest.param(
            [NAME, FIGURE],
            [("a" * 10, "12.5")],
            12,
            ["Name     ohm", "------------", "aaaaaa… 12.5"],
            id="what-does-not-wrap-is-cut-where-nothing-else-gives",
        ),
        pytest.param(
            [TEXT, FIGURE],
            [("2026-03-09", "0 (0-2,250) /1000 h")],
            30,
            ["Text                       ohm", "-" * 30, "2026-03-09 0 (0-2,250) /1000 h"],
            id="the-gap-gives-before-a-word-is-broken",
        ),
        pytest.param(
            [TEXT, FIGURE],
            [("2026-03-09", "0 (0-2,250) /1000 h")],
            28,
            [
                "Text                     ohm",
                "-" * 28,
                "2026-03- 0 (0-2,250) /1000 h",
                "09",
            ],
            id="a-word-is-broken-before-a-figure-is-cut",
        ),
        pytest.param(
            [NAME, FIGURE],
            [("漢字", "1"), ("e\u0301", "2")],
            40,
            ["Name  ohm", "---------", "漢字    1", "e\u0301       2"],
            id="characters-of-two-columns-and-of-none",
        ),
        pytest.param(
            [Heading("", wraps=True)],
            [("漢字漢",)],
            5,
            ["", "-----", "漢字", "漢"],
            id="wide-characters-are-not-halved",
        ),
        pytest.param([NAME], [("a\tb",)], 40, ["Name", "-" * 9, "a       b"], id="tab"),
    ],
)
def test_a_table_in_lines(
    headings: list[Heading], rows: list[tuple[str, ...]], widest: int, lines: list[str]
) -> None:
    assert drawn(headings, rows, widest) == lines


HEADINGS = st.lists(st.sampled_from([NAME, TEXT, FIGURE]), min_size=1, max_size=5)
CELLS = st.text(st.sampled_from("ab1 .-\n漢"), max_size=40)


@given(HEADINGS, st.data(), st.integers(40, 100))
def test_whatever_is_in_a_table_it_fits(
    headings: list[Heading], data: st.DataObject, widest: int
) -> None:
    rows = data.draw(st.lists(st.tuples(*(CELLS for _ in headings)), max_size=4))
    assert max(map(width_of, drawn(headings, rows, widest))) <= widest


@given(CELLS, st.integers(2, 30))
def test_nothing_of_a_cell_that_wraps_is_lost(cell: str, widest: int) -> None:
    _, _, lines = laid_out([Heading("", wraps=True)], [(cell,)], widest)
    assert "".join("".join(lines).split()) == "".join(cell.split())


def test_a_table_of_many_long_cells_takes_no_long_time_to_fit() -> None:
    """The widths are found by taking from them, so they begin no wider than the table."""
    lines = drawn([NAME, TEXT], [("a" * 10**6, "b" * 100)], 40)
    assert lines[2].startswith("a")
    assert len(lines[2]) == 40
