from __future__ import annotations

import pytest

from ingest.header import MOST_COLUMNS, HeaderError, layout_of_line, layout_of_names
from ingest.report import FileKind


@pytest.mark.parametrize(
    ("line", "kind", "delimiter"),
    [
        ("time,tag,value", FileKind.LONG, ","),
        ("Time;TAG;Value;Quality", FileKind.LONG, ";"),
        ("value\ttag\ttime", FileKind.LONG, "\t"),
        ('"time","tag","value"', FileKind.LONG, ","),
        ("\ufefftime,tag,value", FileKind.LONG, ","),
        ("time,M1/1,P1", FileKind.WIDE, ","),
        ("TIME;M1/1;a,b", FileKind.WIDE, ";"),
        ("start,end,station,what", FileKind.WORK, ","),
        ("start,end,station,batch,product,operator", FileKind.BATCH, ","),
        ("station,batch,start,end", FileKind.BATCH, ","),
    ],
)
def test_kind_and_delimiter(line: str, kind: FileKind, delimiter: str) -> None:
    layout = layout_of_line(line.encode())
    assert (layout.kind, layout.delimiter) == (kind, delimiter)


def test_columns_are_found_by_name() -> None:
    layout = layout_of_line(b" Value , note , TIME , tag ")
    assert layout.columns == {"time": 2, "tag": 3, "value": 0}
    assert layout.others == (1,)
    assert layout.width == 4


@pytest.mark.parametrize(
    ("line", "told"),
    [
        (b"", "no header"),
        (b"2026-03-01T00:00:00Z,M1/1,2.3", "no header: the first line must name the columns"),
        (b"hello", "no header"),
        (b"time", "no tag"),
        (b"start,end", "no header"),
        (b"time,tag,value,value", "'value' is there 2 times"),
        (b"time,time,M1/1", "'time' is there 2 times"),
        (b"start,end,station,station,what", "'station' is there 2 times"),
        (b"time,M\xff", "not UTF-8"),
        (b"time" + b",x" * MOST_COLUMNS, f"{MOST_COLUMNS + 1} columns"),
        (b"x" * 200_000, "no header"),
    ],
)
def test_a_header_that_tells_nothing(line: bytes, told: str) -> None:
    with pytest.raises(HeaderError, match=told):
        layout_of_line(line)


def test_names_of_a_table_that_holds_nothing_of_ours() -> None:
    with pytest.raises(HeaderError, match="none that can be read"):
        layout_of_names(["when", "what"])
