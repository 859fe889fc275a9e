"""The clamp that came off before the charge had its time."""

from __future__ import annotations

import pytest

from analytics.core.hookups import NEVER, Contacts
from analytics.core.release import early_release
from tests.analytics.core.build import Pair, moments, ns, spans


def clamp(*on_and_off: Pair) -> Contacts:
    return Contacts(spans(*on_and_off), moments(*(off for _, off in on_and_off)))


@pytest.mark.parametrize(
    ("on_and_off", "expected"),
    [
        pytest.param([], None, id="no-hookup"),
        pytest.param([(0, 104)], 104, id="off-after-4-of-5-s"),
        pytest.param([(0, 105)], None, id="off-exactly-when-allowed"),
        pytest.param([(0, 100)], 100, id="off-as-flow-ends"),
        pytest.param([(0, 99)], None, id="off-before-flow-ended"),
        pytest.param([(100, 102)], 102, id="on-as-flow-ends"),
        pytest.param([(101, 103)], None, id="clamped-only-after-flow"),
        pytest.param([(0, 50), (60, 103)], 103, id="the-hookup-under-way-counts"),
        pytest.param([(0, 101), (102, 104)], 101, id="the-first-time-off-counts"),
    ],
)
def test_early_release_after_flow_that_ended_at_100(
    on_and_off: list[Pair], expected: float | None
) -> None:
    found = early_release(ns(100), int(NEVER), clamp(*on_and_off), ns(5))
    assert found == (None if expected is None else ns(expected))


def test_a_clamp_never_seen_off_is_not_off_early() -> None:
    still_on = Contacts(spans((0, 102)), moments(0) + NEVER)
    assert early_release(ns(100), int(NEVER), still_on, ns(5)) is None


@pytest.mark.parametrize(
    ("next_start", "expected"),
    [
        pytest.param(103, None, id="stayed-on-for-the-next-transfer"),
        pytest.param(104, 104, id="off-as-the-next-transfer-begins"),
        pytest.param(105, 104, id="off-before-the-next-transfer"),
    ],
)
def test_a_clamp_that_stays_on_for_the_next_transfer(
    next_start: float, expected: float | None
) -> None:
    found = early_release(ns(100), ns(next_start), clamp((0, 104)), ns(5))
    assert found == (None if expected is None else ns(expected))


def test_no_wait_asks_for_nothing() -> None:
    assert early_release(ns(100), int(NEVER), clamp((0, 100)), 0) is None
