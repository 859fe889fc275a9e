"""After some failures each further attempt waits, ever longer, and memory stays bounded."""

from __future__ import annotations

import pytest

from dashboard.access.throttle import (
    FORGOTTEN_S,
    FREE,
    LONGEST_S,
    MOST_KEPT,
    Throttle,
    address_key,
    name_key,
)


def failing(times: int) -> Throttle:
    throttle = Throttle()
    for _ in range(times):
        throttle.failed(["as kim", "from 192.0.2.7"], 100.0)
    return throttle


@pytest.mark.parametrize(
    ("failures", "wait_s"),
    [(0, 0), (FREE - 1, 0), (FREE, 1), (FREE + 1, 2), (FREE + 4, 16), (FREE + 99, LONGEST_S)],
)
def test_the_wait_doubles_with_each_failure_up_to_a_bound(failures: int, wait_s: float) -> None:
    throttle = failing(failures)
    assert throttle.wait_s(["as kim"], 100.0) == wait_s
    assert throttle.wait_s(["from 192.0.2.7", "as robin"], 100.0) == wait_s
    assert throttle.wait_s(["as robin"], 100.0) == 0


def test_a_wait_runs_out() -> None:
    throttle = failing(FREE + 2)
    assert throttle.wait_s(["as kim"], 103.0) == 1
    assert throttle.wait_s(["as kim"], 104.0) == 0


def test_failures_are_forgotten_after_success_and_after_a_while() -> None:
    throttle = failing(FREE + 3)
    throttle.succeeded(["as kim"])
    assert throttle.wait_s(["as kim"], 100.0) == 0
    assert throttle.wait_s(["from 192.0.2.7"], 100.0) == 8
    throttle.failed(["from 192.0.2.7"], 100.0 + FORGOTTEN_S + 1)
    assert throttle.wait_s(["from 192.0.2.7"], 100.0 + FORGOTTEN_S + 1) == 0


def test_many_names_take_no_more_than_their_room_and_the_one_at_work_stays() -> None:
    throttle = Throttle()
    for n in range(MOST_KEPT + 50):
        throttle.failed([f"as {n}", "from 192.0.2.7"], 100.0)
    assert len(throttle) == MOST_KEPT
    assert throttle.wait_s(["from 192.0.2.7"], 100.0) == LONGEST_S


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        ("192.0.2.7", "192.0.2.8", False),
        ("192.0.2.7", "::ffff:192.0.2.7", True),
        ("2001:db8::1", "2001:db8::ffff:1", True),
        ("2001:db8::1", "2001:db8:0:1::1", False),
        ("no address", "no address", True),
    ],
)
def test_addresses_that_one_holder_has_count_together(one: str, other: str, same: bool) -> None:
    assert (address_key(one) == address_key(other)) is same


def test_ways_of_writing_a_name_count_together() -> None:
    assert name_key(" Kim ") == name_key("\uff2b\uff29\uff2d") == name_key("kim")
    assert name_key("kim") != name_key("kimm")
