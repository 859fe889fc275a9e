from __future__ import annotations

from collections.abc import Callable, Generator

import numpy as np
import pytest

from ingest.feeding.merging import KEPT_OPEN, Begin, merged
from ingest.feeding.stretches import Stretch, joined


def stretch(*times: int, point: int = 0) -> Stretch:
    size = len(times)
    return Stretch(
        np.full(size, point, np.int16), np.array(times), np.zeros(size), np.zeros(size, np.uint8)
    )


def file(*stretches: Stretch) -> tuple[Begin, Begin]:
    def begin() -> Generator[Stretch, None, None]:
        yield from stretches

    return begin, begin


CASES = [
    pytest.param([], [], id="no-file"),
    pytest.param([file()], [], id="an-empty-file"),
    pytest.param([file(stretch(1, 2), stretch(3))], [1, 2, 3], id="one-file"),
    pytest.param(
        [file(stretch(1, 4), stretch(7, 8)), file(stretch(2, 3, 9))],
        [1, 2, 3, 4, 7, 8, 9],
        id="overlapping",
    ),
    pytest.param([file(stretch(5, 6)), file(stretch(1, 2))], [1, 2, 5, 6], id="named-backwards"),
    pytest.param(
        [file(stretch(5, 6), stretch(2, 7)), file(stretch(1, 8))],
        [1, 5, 6, 2, 7, 8],
        id="too-late-within-a-file-goes-as-it-comes",
    ),
    pytest.param(
        [file(stretch(10 * n + 5, 10 * n + 17)) for n in reversed(range(3 * KEPT_OPEN))],
        sorted(10 * n + m for n in range(3 * KEPT_OPEN) for m in (5, 17)),
        id="more-files-than-stay-open",
    ),
]


@pytest.mark.parametrize(("files", "times"), CASES)
def test_files_are_read_in_one_order_of_time(
    files: list[tuple[Begin, Begin]], times: list[int]
) -> None:
    assert joined(merged(files)).time.tolist() == times


def test_of_one_time_a_later_file_comes_later() -> None:
    files = [file(stretch(1, 2, 2, point=number)) for number in range(3)]
    found = joined(merged(files))
    assert found.time.tolist() == [1, 1, 1, 2, 2, 2, 2, 2, 2]
    assert found.point.tolist() == [0, 1, 2, 0, 0, 1, 1, 2, 2]


def test_files_of_later_days_are_not_open_from_the_beginning() -> None:
    open_now: set[int] = set()

    def day(number: int) -> Callable[[], Generator[Stretch, None, None]]:
        def begin() -> Generator[Stretch, None, None]:
            open_now.add(number)
            yield stretch(10 * number, 10 * number + 9)
            open_now.discard(number)

        return begin

    def look(number: int) -> Callable[[], Generator[Stretch, None, None]]:
        def begin() -> Generator[Stretch, None, None]:
            yield stretch(10 * number)

        return begin

    count = 4 * KEPT_OPEN
    most = 0
    for _ in merged([(day(number), look(number)) for number in range(count)]):
        most = max(most, len(open_now))
    assert 0 < most <= KEPT_OPEN + 1


def test_all_files_are_closed_when_a_feed_ends_early() -> None:
    closed = []

    def begin() -> Generator[Stretch, None, None]:
        try:
            yield stretch(1)
            yield stretch(2)
        finally:
            closed.append(True)

    stretches = merged([(begin, begin), (begin, begin)])
    next(iter(stretches))
    stretches.close()
    assert closed == [True, True]
