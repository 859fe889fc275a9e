"""SIGTERM and Ctrl-C: the first ends in good order, the second as it always does."""

from __future__ import annotations

import os
import signal
import threading
import time
from collections.abc import Iterator

import pytest

from bondtrail.cli.stopping import told_to_stop
from tests.waiting import LONG_S


@pytest.fixture
def heard() -> Iterator[list[int]]:
    """What comes through to the handlers that were there before."""
    signals: list[int] = []
    before = {
        number: signal.signal(number, lambda got, _frame: signals.append(got))
        for number in (signal.SIGTERM, signal.SIGINT)
    }
    yield signals
    for number, handler in before.items():
        signal.signal(number, handler)


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_the_first_sets_the_event_and_the_second_comes_through(
    heard: list[int], number: signal.Signals
) -> None:
    with told_to_stop() as stop:
        assert not stop.is_set()
        os.kill(os.getpid(), number)
        assert stop.wait(LONG_S)
        assert heard == []
        os.kill(os.getpid(), number)
        assert heard == [number]


def test_a_signal_that_comes_as_the_wait_begins_is_heard(heard: list[int]) -> None:
    with told_to_stop() as stop:
        with stop._cond:  # what a wait holds for a moment as it begins
            os.kill(os.getpid(), signal.SIGTERM)
        assert stop.wait(LONG_S)


def test_a_signal_that_does_not_wake_the_wait_is_heard(heard: list[int]) -> None:
    """One that came a moment before the wait begins, or to another thread, does not."""

    def tell() -> None:
        time.sleep(0.1)
        signal.pthread_kill(threading.get_ident(), signal.SIGTERM)

    teller = threading.Thread(target=tell)
    with told_to_stop() as stop:
        teller.start()
        assert stop.wait(LONG_S)
    teller.join()


def test_afterwards_all_is_as_before(heard: list[int]) -> None:
    threads = threading.active_count()
    with told_to_stop():
        pass
    assert threading.active_count() == threads
    assert signal.set_wakeup_fd(-1) == -1
    os.kill(os.getpid(), signal.SIGTERM)
    assert heard == [signal.SIGTERM]
