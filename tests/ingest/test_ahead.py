from __future__ import annotations

import threading
import time
from collections.abc import Generator, Iterator
from contextlib import closing

import pytest

from ingest.ahead import ahead, side_by_side


def steps(made: list[int], count: int) -> Generator[int, None, None]:
    try:
        for step in range(count):
            made.append(step)
            yield step
    finally:
        made.append(-1)


@pytest.mark.parametrize("depth", [1, 2, 10])
@pytest.mark.parametrize("count", [0, 1, 5])
def test_steps_come_in_order_and_all(count: int, depth: int) -> None:
    assert list(ahead(steps([], count), depth)) == list(range(count))


def test_no_more_steps_are_made_than_are_asked_for() -> None:
    made: list[int] = []
    with closing(ahead(steps(made, 100), 3)) as listened:
        next(listened)
        next(listened)
    assert set(made) <= {0, 1, 2, 3, -1}


def test_closing_closes_the_steps_and_ends_the_thread() -> None:
    made: list[int] = []
    with closing(ahead(steps(made, 100), 2)) as listened:
        assert next(listened) == 0
    assert made[-1] == -1
    assert not [each for each in threading.enumerate() if each.name.startswith("read-ahead")]


def test_what_goes_wrong_in_a_step_comes_in_its_place() -> None:
    def failing() -> Generator[int, None, None]:
        yield 1
        raise OSError("gone")

    listened = ahead(failing(), 4)
    assert next(listened) == 1
    with pytest.raises(OSError, match="gone"):
        next(listened)


@pytest.mark.parametrize("count", [0, 1, 3, 50])
def test_what_is_made_side_by_side_comes_in_order(count: int) -> None:
    def make(item: int) -> int:
        time.sleep(0.002 * (item % 3 == 0))  # some take longer than those after them
        return item * item

    assert list(side_by_side(make, iter(range(count)))) == [item**2 for item in range(count)]


def test_items_are_taken_only_a_few_ahead() -> None:
    taken: list[int] = []

    def items() -> Iterator[int]:
        for item in range(1000):
            taken.append(item)
            yield item

    with closing(side_by_side(str, items())) as made:
        assert next(made) == "0"
    assert len(taken) <= 5
    assert not [each for each in threading.enumerate() if each.name.startswith("side-by-side")]


def test_what_goes_wrong_with_an_item_comes_in_its_place() -> None:
    made = side_by_side(lambda item: 1 // item, iter([1, 1, 0, 1]))
    assert [next(made), next(made)] == [1, 1]
    with pytest.raises(ZeroDivisionError):
        next(made)
