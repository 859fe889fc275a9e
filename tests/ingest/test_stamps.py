"""The quick way to read times must tell what the slow one tells, of every text."""

from __future__ import annotations

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bondtrail.times import TimeError, format_time, parse_time
from ingest import moments, stamps
from ingest.moments import read_times

SECOND = 1_000_000_000
START = parse_time("2026-03-01T06:15:00Z")


def expected(texts: list[str]) -> list[int | None]:
    moments: list[int | None] = []
    for text in texts:
        try:
            moments.append(parse_time(text))
        except TimeError:
            moments.append(None)
    return moments


def told(texts: list[str]) -> list[int | None]:
    ns, bad = read_times(pa.array(texts, pa.string()), None)
    return [None if wrong else int(moment) for moment, wrong in zip(ns, bad, strict=True)]


def usual(count: int, step: int = SECOND) -> list[str]:
    return [format_time(START + row * step) for row in range(count)]


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> list[bool]:
    """Note of each column whether the quick way took it."""
    taken: list[bool] = []
    plain = moments._from_stamps

    def noted(*given: object) -> object:
        found = plain(*given)  # type: ignore[arg-type]
        taken.append(found is not None)
        return found

    monkeypatch.setattr(moments, "_from_stamps", noted)
    return taken


@pytest.mark.parametrize(
    "odd",
    [
        "2026-03-01T06:15:60.000Z",  # a second that is none
        "2026-03-01T06:15:59.9990",
        "2026-03-01T06:15:5/.999Z",  # the characters before 0 and after 9
        "2026-03-01T06:15:5:.999Z",
        "2026-03-01T06:15:6:.999Z",
        "2026-03-01T06:15:30,250Z",
        "2026-03-01T06:15:30.250z",
        "2026-03-01T06:15:3é.50Z",
        "2026-03-01 06:15:30.250Z",
        "2026-02-29T06:15:30.250Z",  # a day that is none
        "2026-03-01T24:15:30.250Z",
        "1677-09-21T00:12:43.145Z",  # before and after what can be kept
        "2262-04-11T23:47:16.854Z",
        "2262-04-11T23:47:16.855Z",
        "2026-03-01T06:15:30.250+00:00",
        "1772323200",
        "not-a-time",
        "",
    ],
)
@pytest.mark.parametrize("place", [0, 1, 251, 499])
def test_odd_row_among_usual_ones(odd: str, place: int, quick: list[bool]) -> None:
    texts = usual(500)
    texts[place] = odd
    assert told(texts) == expected(texts)
    assert quick == [True]


def test_rows_after_an_odd_one_of_their_own_minute_are_read() -> None:
    texts = usual(500)
    texts[3] = texts[60] = texts[61] = texts[2].replace("Z", "X")
    assert told(texts) == expected(texts)


def test_minute_at_the_end_of_time_is_read_row_by_row() -> None:
    edge = [f"2262-04-11T23:47:{second:02}.854Z" for second in range(60)] * 10
    assert told(edge) == expected(edge)


@pytest.mark.parametrize("step", [SECOND // 4, SECOND, 7 * SECOND, 61 * SECOND, -SECOND])
def test_steps_of_any_size(step: int) -> None:
    texts = usual(1000, step)
    assert told(texts) == expected(texts)


def test_rows_that_share_no_minute_go_the_other_way(quick: list[bool]) -> None:
    texts = usual(500, 3600 * SECOND)
    assert told(texts) == expected(texts)
    assert quick == [False]


def test_part_of_a_column_is_read_from_its_own_place() -> None:
    texts = [*usual(300), "odd", *usual(300)]
    ns, bad = read_times(pa.array(texts, pa.string()).slice(100, 450), None)
    wanted = expected(texts[100:550])
    assert [None if b else int(n) for n, b in zip(ns, bad, strict=True)] == wanted


def test_every_millisecond_of_a_minute() -> None:
    texts = pa.array(usual(60_000, SECOND // 1000))
    words = stamps.words_of(texts, np.ones(len(texts), bool))
    read = stamps.read_words(words, lambda rows: (START + rows * SECOND // 1000, rows < 0))
    assert read is not None
    assert read[1].all()
    assert np.array_equal(read[0], START + np.arange(60_000) * 1_000_000)


CHARACTERS = st.sampled_from("0123456789:.TZ-/ xé\x7f")


@given(st.integers(0, 199), st.integers(0, 23), CHARACTERS)
def test_any_character_in_any_place(row: int, place: int, character: str) -> None:
    texts = usual(200)
    texts[row] = texts[row][:place] + character + texts[row][place + 1 :]
    assert told(texts) == expected(texts)
