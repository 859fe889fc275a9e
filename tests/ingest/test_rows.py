from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.faults import Fault
from ingest.header import layout_of_line
from ingest.lines import Block
from ingest.rows import parse, text_of

LAYOUT = layout_of_line(b"time,tag,value")
Told = tuple[list[tuple[int, tuple[str, ...]]], list[tuple[int, Fault]]]


def told(text: bytes) -> Told:
    """Return the rows by line, and the bad lines."""
    block = Block(text)
    rows = parse(block, LAYOUT)
    assert rows.count == block.count
    values = zip(*(column.to_pylist() for column in rows.columns), strict=True)
    bad = [(each.line, each.fault) for each in rows.bad]
    return list(zip(rows.lines.tolist(), values, strict=True)), sorted(bad)


C, E, Q = Fault.COLUMNS, Fault.ENCODING, Fault.QUOTE


@pytest.mark.parametrize(
    ("text", "rows", "bad"),
    [
        (b"a,b,c\n", [(0, ("a", "b", "c"))], []),
        (b"a,b,c", [(0, ("a", "b", "c"))], []),
        (b"a,b,c\r\nd,e,f\r\n", [(0, ("a", "b", "c")), (1, ("d", "e", "f"))], []),
        (b"\n\na,b,c\n\n", [(2, ("a", "b", "c"))], []),
        (b"\r\na,b,c\r\n", [(1, ("a", "b", "c"))], []),
        (b",,\n  \na,b,c\n", [(2, ("a", "b", "c"))], []),
        (b"a,b\na,b,c\na,b,c,d\n", [(1, ("a", "b", "c"))], [(0, C), (2, C)]),
        (b'"a","b","c,d"\n', [(0, ("a", "b", "c,d"))], []),
        (b'a,"say ""x""",c\n', [(0, ("a", 'say "x"', "c"))], []),
        (b'a,4" pipe,c\n', [(0, ("a", '4" pipe', "c"))], []),
        (b'a,"b,c\nd,e,f\n', [(1, ("d", "e", "f"))], [(0, Q)]),
        (b'a,"b,c\nd,e,f\ng,"h",i\n', [(1, ("d", "e", "f")), (2, ("g", "h", "i"))], [(0, Q)]),
        (b'a,"b\nb",c\nd,e,f\n', [(2, ("d", "e", "f"))], [(0, Q), (1, C)]),
        (b'a,4" b,c\nd,"e,f\n', [(0, ("a", '4" b', "c"))], [(1, Q)]),
        (b"a,\xff,c\nd,e,f\n", [(1, ("d", "e", "f"))], [(0, E)]),
        (b"a,\0,c\nd,e,f\ng,h\n", [(1, ("d", "e", "f"))], [(0, E), (2, C)]),
        ("a,ü,c\n".encode(), [(0, ("a", "ü", "c"))], []),
        (b"a,b\n" * 3, [], [(0, C), (1, C), (2, C)]),
    ],
)  # fmt: skip
def test_lines_and_rows(
    text: bytes, rows: list[tuple[int, tuple[str, ...]]], bad: list[tuple[int, Fault]]
) -> None:
    assert told(text) == (rows, bad)


def test_very_many_odd_lines_spoil_no_other() -> None:
    rows, bad = told(b"a,b\n" * 3000 + b"d,e,f\n" + b"x" * 2000)
    assert rows == [(3000, ("d", "e", "f"))]
    assert len(bad) == 3001


def test_a_line_of_a_million_columns_is_one_bad_line() -> None:
    rows, bad = told(b"a,b,c\n" + b"x," * 1_000_000 + b"\nd,e,f\n")
    assert [line for line, _ in rows] == [0, 2]
    assert bad == [(1, Fault.COLUMNS)]


FIELDS = st.text(alphabet='ab ,"', max_size=4)


@given(st.lists(st.tuples(FIELDS, FIELDS, FIELDS), max_size=20), st.sampled_from([0, 1]))
def test_what_a_csv_writer_wrote_is_read(written: list[tuple[str, str, str]], quoting: int) -> None:
    out = io.StringIO()
    csv.writer(out, quoting=quoting, lineterminator="\n").writerows(written)  # type: ignore[arg-type]
    filled = [(line, row) for line, row in enumerate(written) if any(row)]
    assert told(out.getvalue().encode()) == (filled, []) if written else True


@given(st.lists(st.text(alphabet='ab,"', max_size=8), max_size=20))
def test_any_text_gives_each_line_one_fate(lines: list[str]) -> None:
    text = "\n".join([*lines, "x,y,z"]).encode()
    rows, bad = told(text)
    fates = [line for line, _ in rows] + [line for line, _ in bad]
    assert len(set(fates)) == len(fates)
    blank = {line for line, each in enumerate(lines) if not each.strip(' ,"')}
    assert set(range(len(lines) + 1)) - set(fates) <= blank
    assert (len(lines), ("x", "y", "z")) in rows


@pytest.mark.parametrize("text", [b"a,b,c\n", b'"a","b",c\n', b"x\na,b,c\n"])
def test_text_of_a_row_is_its_line(text: bytes) -> None:
    block = Block(text)
    rows = parse(block, LAYOUT)
    found = text_of(rows, block, ",", 0)
    assert (found.encode() if isinstance(found, str) else found) == text.splitlines()[-1]
