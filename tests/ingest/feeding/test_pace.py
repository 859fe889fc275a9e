from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from ingest.feeding.pace import AT_ONCE, TICK_S, due
from ingest.feeding.stretches import Stretch
from tests.ingest.feeding.test_merging import stretch

S = 10**9


class Clock:
    """A clock that goes on only while someone waits."""

    def __init__(self) -> None:
        self.now = 100.0

    def wait(self, seconds: float) -> None:
        self.now += seconds


def paced(times: list[list[int]], speed: float | None) -> list[tuple[float, list[int]]]:
    """Return what was handed on, and when, in seconds since the beginning."""
    clock = Clock()
    handed: Callable[[], float] = lambda: clock.now - 100.0  # noqa: E731
    stretches = [stretch(*some) for some in times]
    return [
        (pytest.approx(handed(), abs=1e-6), part.time.tolist())
        for part in due(stretches, speed, lambda: clock.now, clock.wait)
    ]


CASES = [
    pytest.param([[0, S, 3 * S]], 1.0, [(0, [0]), (1, [S]), (3, [3 * S])], id="real-time"),
    pytest.param([[0, S]], 0.5, [(0, [0]), (2, [S])], id="half-the-speed"),
    pytest.param([[7 * S, 9 * S]], 2.0, [(0, [7 * S]), (1, [9 * S])], id="from-its-own-beginning"),
    pytest.param([[0], [2 * S]], 1.0, [(0, [0]), (2, [2 * S])], id="across-stretches"),
    pytest.param([[0, S], [S // 2]], 1.0, [(0, [0]), (1, [S]), (1, [S // 2])], id="late-at-once"),
    pytest.param(
        [[0, S, 2 * S, 3 * S]],
        2 / TICK_S,
        [(0, [0]), (TICK_S, [S, 2 * S]), (2 * TICK_S, [3 * S])],
        id="faster-is-gathered",
    ),
    pytest.param([[0, S, 99 * S]], None, [(0, [0, S, 99 * S])], id="as-fast-as-it-goes"),
    pytest.param([], 1.0, [], id="nothing"),
    pytest.param([[]], 1.0, [], id="an-empty-stretch"),
]


@pytest.mark.parametrize(("times", "speed", "expected"), CASES)
def test_readings_are_handed_on_when_they_are_due(
    times: list[list[int]], speed: float | None, expected: list[tuple[float, list[int]]]
) -> None:
    assert paced(times, speed) == expected


def test_never_too_many_at_once() -> None:
    many = np.arange(2 * AT_ONCE + 1)
    size = many.size
    whole = Stretch(np.zeros(size, np.int16), many, np.zeros(size), np.zeros(size, np.uint8))
    sizes = [len(part) for part in due([whole], None, lambda: 0.0, lambda _: None)]
    assert sizes == [AT_ONCE, AT_ONCE, 1]
