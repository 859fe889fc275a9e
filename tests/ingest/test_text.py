from __future__ import annotations

from pathlib import Path
from unittest import mock

import pytest

from bondtrail.results import Reject
from ingest import lines, text
from ingest.faults import RejectBook
from ingest.sources import open_source
from ingest.tables import Batch, Table, Taken, settle
from ingest.text import TextFile

HEAD = b"time,tag,value\n"


class Seen:
    """A file read with a note of each row's line and text."""

    def __init__(self, path: Path, content: bytes) -> None:
        path.write_bytes(content)
        source = open_source(str(path))
        book = RejectBook(path.name, now=0)
        self.file = TextFile(source, book)
        self.rows: list[tuple[int, str]] = []
        self.rejects: list[Reject] = [self.file.refusal] if self.file.refusal else []
        self.read = 0
        if self.file.layout:
            with mock.patch.object(text, "settle", self._settle):
                for batch in self.file.batches(lambda table: Taken(read=len(table.lines))):
                    self.rejects += batch.rejects
                    self.read += batch.read
        self.rejects += book.close()
        source.close()

    def _settle(self, table: Table, taken: Taken, book: RejectBook) -> Batch:
        self.rows += [
            (int(line), str(table.columns[0][row])) for row, line in enumerate(table.lines)
        ]
        return settle(table, taken, book)

    @property
    def told(self) -> list[tuple[str, str]]:
        return [(reject.where, reject.reason) for reject in self.rejects]


@pytest.fixture
def see(tmp_path: Path):  # type: ignore[no-untyped-def]
    return lambda content: Seen(tmp_path / "a.csv", content)


@pytest.mark.parametrize(
    ("content", "rows"),
    [
        (HEAD + b"a,b,c\nd,e,f\n", [(2, "a"), (3, "d")]),
        (b"\xef\xbb\xbf" + HEAD + b"a,b,c\n", [(2, "a")]),
        (b"\n\n \n" + HEAD + b"\na,b,c\n", [(6, "a")]),
        (b"\xef\xbb\xbf\n" + HEAD + b"a,b,c\n", [(3, "a")]),
        (HEAD.replace(b"\n", b"\r") + b"a,b,c\r\rd,e,f", [(2, "a"), (4, "d")]),
        (b"\n" * (9 << 20) + HEAD + b"a,b,c\n", [((9 << 20) + 2, "a")]),
        (HEAD + b"a,b,c\n" + b"\n" * (20 << 20) + b"d,e,f\n", [(2, "a"), ((20 << 20) + 3, "d")]),
    ],
    ids=["plain", "bom", "blank-first", "bom-and-blank", "cr", "header-late", "blank-middle"],
)
def test_rows_know_their_lines(see, content: bytes, rows: list[tuple[int, str]]) -> None:  # type: ignore[no-untyped-def]
    seen = see(content)
    assert seen.rows == rows
    assert seen.rejects == []


def test_lines_that_are_no_rows_are_told_in_place(see) -> None:  # type: ignore[no-untyped-def]
    long = b"x" * (lines.LONGEST_LINE + 1)
    seen = see(HEAD + b"a,b,c\n" + long + b"\nd,e\n" + b"g,\xff,i\n" + b'j,"k,l\n' + b"m,n,o\n")
    assert seen.rows == [(2, "a"), (7, "m")]
    assert seen.told == [
        ("line 3", f"the line is longer than {lines.LONGEST_LINE} bytes"),
        ("line 5", "the line is not UTF-8 text: save the file as UTF-8"),
        ("line 6", "a quote is opened and not closed: a row ends with its line"),
        ("line 4", "2 columns, but the header has 3"),
    ]
    assert seen.read == 6


@pytest.mark.parametrize(
    ("content", "width", "rows", "bad"),
    [
        (HEAD + b"a,b,c,\nd,e,f,\n", 4, 2, 0),
        (HEAD + b"a,b,c,\nd,e,f\n", 4, 1, 1),
        (HEAD + b"a,b,c\nd,e,f,\n", 3, 1, 1),
        (HEAD + b"a,b,c,x\n", 3, 0, 1),
        (HEAD + b"a,b,\n", 3, 1, 0),
    ],
)
def test_the_first_row_tells_whether_rows_end_in_a_delimiter(  # type: ignore[no-untyped-def]
    see, content: bytes, width: int, rows: int, bad: int
) -> None:
    seen = see(content)
    assert seen.file.layout.width == width
    assert (len(seen.rows), len(seen.rejects)) == (rows, bad)


@pytest.mark.parametrize(
    ("content", "where", "raw"),
    [
        (b"hello\nworld\n", "line 1", "hello"),
        (b"\n\nhello\nworld\n", "line 3", "hello"),
        (b"h" * 10_000 + b"\n", "line 1", "h" * 4096),
    ],
)
def test_a_refusal_shows_the_line_it_is_about(  # type: ignore[no-untyped-def]
    see, content: bytes, where: str, raw: str
) -> None:
    refusal = see(content).file.refusal
    assert (refusal.where, refusal.raw) == (where, raw)


@pytest.mark.parametrize("content", [b"", b"\n", b" \r\n\t", b"\xef\xbb\xbf"])
def test_a_file_with_nothing_in_it_is_empty(see, content: bytes) -> None:  # type: ignore[no-untyped-def]
    file = see(content).file
    assert (file.is_empty, file.layout, file.refusal) == (True, None, None)
