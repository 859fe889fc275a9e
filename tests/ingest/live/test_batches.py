"""Where a batch ends, on a clock that goes on only while the line is served."""

from __future__ import annotations

import threading
from collections.abc import Iterable
from types import SimpleNamespace

import pytest

from ingest.live import batches
from ingest.live.batches import TICK_S, Batches, Bounds
from ingest.live.inbox import Inbox

NEVER = threading.Event()
PATIENCE_S = 5.0


class Line:
    """A line that brings messages of some bytes at some moments, then nothing more."""

    def __init__(self, moments: Iterable[float] = (), size: int = 1) -> None:
        self.now = 0.0
        self.is_open = True
        self.inbox = Inbox(lambda: 0)
        self.batches = Batches(self.inbox)
        self.size = size
        self.come(*moments)

    def come(self, *moments: float) -> None:
        """Bring more, at moments after now."""
        self.coming = [self.now + moment for moment in moments]

    @property
    def is_silent(self) -> bool:
        return not (self.coming and self.coming[0] <= self.now)

    def serve(self, wait_s: float) -> None:
        assert 0 < wait_s <= TICK_S
        self.now = min([self.now + wait_s, *(max(self.now, at) for at in self.coming[:1])])
        if not self.is_silent:
            self.coming.pop(0)
            self.inbox.put(0, b"a", 0, b"x" * self.size)

    def batch(self, bounds: Bounds, stop: threading.Event = NEVER) -> tuple[int, float]:
        """Return how many messages a batch has, and when it ended."""
        self.batches.fill(self, bounds, stop, patience_s=PATIENCE_S)
        return len(self.inbox.take()), round(self.now, 6)


@pytest.fixture
def line(monkeypatch: pytest.MonkeyPatch) -> Line:
    made = Line()
    monkeypatch.setattr(batches, "time", SimpleNamespace(monotonic=lambda: made.now))
    return made


STEADY = [0.01 * n for n in range(1000)]


@pytest.mark.parametrize(
    ("moments", "bounds", "expected"),
    [
        pytest.param([], Bounds(), (0, 5.0), id="patience"),
        pytest.param([1.0], Bounds(), (1, 1.02), id="silence"),
        pytest.param([1.0, 1.019, 1.04], Bounds(), (2, 1.039), id="silence-after-the-last"),
        pytest.param(STEADY, Bounds(messages=3), (3, 0.02), id="messages"),
        pytest.param(STEADY, Bounds(size=39), (4, 0.03), id="size-passed"),
        pytest.param(STEADY, Bounds(size=40), (4, 0.03), id="size-reached"),
        pytest.param(STEADY, Bounds(seconds=0.105), (11, 0.105), id="seconds"),
    ],
)
def test_a_batch_ends_at_whichever_comes_first(
    line: Line, moments: list[float], bounds: Bounds, expected: tuple[int, float]
) -> None:
    line.size = 10
    line.come(*moments)
    assert line.batch(bounds) == expected


def test_silence_is_waited_for_longer_where_nothing_waited_at_the_broker(line: Line) -> None:
    line.inbox.is_prompt = True
    line.come(1.0, 1.09)
    assert line.batch(Bounds()) == (2, 1.19)


def test_a_full_batch_may_have_left_more_behind(line: Line) -> None:
    line.inbox.is_prompt = True
    line.come(*STEADY)
    line.batch(Bounds(messages=3))
    assert not line.inbox.is_prompt


def test_a_line_that_is_lost_ends_a_batch(line: Line) -> None:
    line.is_open = False
    assert line.batch(Bounds()) == (0, 0.0)


def test_a_stop_ends_a_batch(line: Line) -> None:
    stop = threading.Event()
    stop.set()
    assert line.batch(Bounds(), stop) == (0, 0.0)


def test_what_a_broker_sends_at_once_is_learned_from_two_batches_alike(line: Line) -> None:
    took = []
    for _ in range(3):
        begun = line.now
        line.come(0, 0, 0)
        count, ended = line.batch(Bounds())
        took.append((count, round(ended - begun, 6)))
    assert took == [(3, 0.02), (3, 0.02), (3, 0.0)]


def test_what_was_learned_of_a_broker_is_forgotten_with_the_connection(line: Line) -> None:
    for _ in range(2):
        line.come(0, 0, 0)
        line.batch(Bounds())
    line.batches.begin()
    begun = line.now
    line.come(0, 0, 0)
    assert line.batch(Bounds()) == (3, round(begun + 0.02, 6))
