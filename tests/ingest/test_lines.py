from __future__ import annotations

import io
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest import lines
from ingest.lines import Block, Broken, LongLine, split
from ingest.sources import DamagedSourceError


@pytest.fixture(autouse=True)
def small_bounds(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(lines, "LONGEST_LINE", 20)
    monkeypatch.setattr(lines, "GIVE_UP", 200)


def told(text: bytes, block: int = 8) -> list[str | tuple[str, ...]]:
    """Return each line, or what is told of it."""
    found: list[str | tuple[str, ...]] = []
    for part in split(io.BytesIO(text).read, block):
        if isinstance(part, Block):
            found += [part.line(index).decode() for index in range(part.count)]
        elif isinstance(part, LongLine):
            found.append(("gave up" if part.gave_up else "long", part.head.decode()))
    return found


LONG = "x" * 30


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("", []),
        ("a", ["a"]),
        ("a\n", ["a"]),
        ("a\nb\n\nc", ["a", "b", "", "c"]),
        ("a\r\nb\r\n", ["a", "b"]),
        ("a\rb\r\rc\r", ["a", "b", "", "c"]),
        ("a\rb\nc\r\nd", ["a", "b", "c", "d"]),
        ("1234567\r\n8", ["1234567", "8"]),  # the CR is the last byte of a block
        ("x" * 19 + "\na", ["x" * 19, "a"]),
        (f"a\n{LONG}\nb\n", ["a", ("long", LONG), "b"]),
        (f"{LONG}\n{LONG}\nb", [("long", LONG), ("long", LONG), "b"]),
        (LONG, [("long", LONG)]),
    ],
)
@pytest.mark.parametrize("block", [1, 2, 8, 1000])
def test_lines(text: str, expected: list[str | tuple[str, str]], block: int) -> None:
    found = told(text.encode(), block)
    # How much of a long line was there when it was found too long depends on the block.
    assert [line if isinstance(line, str) else line[0] for line in found] == [
        line if isinstance(line, str) else line[0] for line in expected
    ]


@given(st.text(alphabet="ab\r\n", max_size=60), st.integers(1, 20))
def test_lines_are_those_of_universal_newlines(text: str, block: int) -> None:
    expected = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    if not expected[-1]:
        expected.pop()
    if max(map(len, expected), default=0) < 18:
        assert told(text.encode(), block) == expected


def test_a_line_without_end_is_given_up() -> None:
    assert told(b"a\n" + b"x" * 10_000 + b"\nb\n") == ["a", ("gave up", "x" * 22)]


def failing_after(text: bytes) -> Callable[[int], bytes]:
    stream = io.BytesIO(text)

    def read(size: int) -> bytes:
        chunk = stream.read(size)
        if not chunk:
            raise DamagedSourceError("the compressed file ends early")
        return chunk

    return read


def test_whole_lines_before_a_damage_are_kept() -> None:
    parts = list(split(failing_after(b"a\nb\n2026-03"), 4))
    assert [part.data for part in parts if isinstance(part, Block)] == [b"a\nb\n"]
    assert parts[-1] == Broken(b"2026-03", "the compressed file ends early")


def test_a_damage_inside_a_long_line_is_told() -> None:
    *_, last = split(failing_after(b"a\n" + b"x" * 50), 8)
    assert isinstance(last, Broken)


def test_a_line_of_a_block_is_cut_for_a_message() -> None:
    block = Block(b"abc\r\ndefg\n")
    assert (block.count, block.line(0), block.line(1, 2)) == (2, b"abc", b"de")
