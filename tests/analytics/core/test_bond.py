"""Bond state, the hold, and what is a loss."""

from __future__ import annotations

import math

import numpy as np
import pytest

from analytics.core.bond import (
    Bond,
    contact_states,
    losses,
    not_low,
    resistance_states,
    status_states,
    verified,
)
from tests.analytics.core.build import Pair, bond, ns, pairs


@pytest.mark.parametrize(
    ("ohm", "expected"),
    [
        # Common practice: 10 ohm is the limit for metal paths, itself still good.
        pytest.param(10.0, Bond.LOW, id="common-practice-10-ohm-is-low"),
        pytest.param(10.01, Bond.HIGH, id="common-practice-above-10-ohm-is-high"),
        pytest.param(0.0, Bond.LOW, id="dead-short"),
        pytest.param(99_999.9, Bond.HIGH, id="just-below-open"),
        pytest.param(100_000.0, Bond.OPEN, id="exactly-open"),
        pytest.param(math.inf, Bond.OPEN, id="open-circuit"),
    ],
)
def test_resistance_states(ohm: float, expected: Bond) -> None:
    assert resistance_states(np.array([ohm]), 10.0, 100_000.0).tolist() == [expected]


@pytest.mark.parametrize(
    ("code", "expected"),
    [
        pytest.param(0, Bond.OPEN, id="not-bonded"),
        pytest.param(1, Bond.LOW, id="bonded"),
        pytest.param(2, Bond.UNKNOWN, id="fault"),
        pytest.param(3, Bond.UNKNOWN, id="off-or-standby"),
    ],
)
def test_status_states(code: float, expected: Bond) -> None:
    assert status_states(np.array([code], float)).tolist() == [expected]


def test_contact_states_closed_is_low() -> None:
    assert contact_states(np.array([0.0, 1.0])).tolist() == [Bond.OPEN, Bond.LOW]


def test_states_of_nothing_are_none() -> None:
    nothing = np.empty(0)
    for states in (resistance_states(nothing, 10, 1e5), status_states(nothing)):
        assert states.tolist() == []
    assert contact_states(nothing).tolist() == []


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        pytest.param("open 9", [], id="never-low"),
        pytest.param("low 1", [], id="low-exactly-as-long-as-the-hold"),
        pytest.param("low 1.5", [(1, 1.5)], id="low-longer-than-the-hold"),
        pytest.param("low 5 open 1 low 5", [(1, 5), (7, 11)], id="a-new-hold-after-open"),
        pytest.param("low 5 ? 1 low 5", [(1, 5), (7, 11)], id="a-new-hold-after-unknown"),
        pytest.param("low 5 high 1 low 1", [(1, 5)], id="second-hold-not-served"),
    ],
)
def test_verified_after_the_hold(words: str, expected: list[Pair]) -> None:
    assert pairs(verified(bond(words), ns(1))) == expected


def test_without_a_hold_low_is_verified_at_once() -> None:
    assert pairs(verified(bond("open 2 low 3"), 0)) == [(2, 5)]


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        pytest.param("low 9", [], id="low-throughout"),
        pytest.param("? 9", [], id="unknown-throughout"),
        pytest.param("high 2 open 3 low 1", [(0, 5)], id="high-and-open-are-one-stretch"),
        pytest.param("open 2 ? 3 open 1", [(0, 2), (5, 6)], id="unknown-parts-stretches"),
    ],
)
def test_not_low(words: str, expected: list[Pair]) -> None:
    assert pairs(not_low(bond(words))) == expected


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        pytest.param("low 9", [], id="never-lost"),
        pytest.param("open 9", [], id="open-from-the-first"),
        pytest.param("low 2 open 3", [(2, 5)], id="lost"),
        pytest.param("low 2 high 1 open 2 low 1", [(2, 5)], id="one-loss-by-way-of-high"),
        pytest.param("low 2 ? 3 open 1", [(5, 6)], id="found-lost-after-unknown"),
        pytest.param("low 2 open 1 ? 1 open 1", [(2, 3)], id="unknown-ends-it-and-no-new-one"),
        pytest.param("low 2 ? 9", [], id="unknown-is-no-loss"),
        pytest.param("low 1 open 1 low 1 high 1", [(1, 2), (3, 4)], id="each-anew"),
    ],
)
def test_losses(words: str, expected: list[Pair]) -> None:
    assert pairs(losses(bond(words))) == expected
