"""When and for how long a level is reached."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.core.electrostatics.charging import potential
from analytics.core.electrostatics.crossing import Above, above

INF = math.inf
Steps = list[tuple[float, float, float]]
"""Seconds, amperes, ohms."""

NANO = 1e-9


def found(level: float, steps: Steps, capacitance: float = NANO, initial: float = 0.0) -> Above:
    step, current, resistance = map(np.array, zip(*steps, strict=True))
    course = potential(step, current, resistance, capacitance, initial)
    return above(level, course, step, current, resistance, capacitance)


LN2 = math.log(2)

CASES = [  # our own worked examples: 1 uA on 1 nF is 1000 V/s, with 1 Gohm it tends to 1000 V
    pytest.param(500, [(1, 1e-6, INF)], Above(0, 0.5, 0.5), id="half-way-up-a-ramp"),
    pytest.param(500, [(5, 1e-6, 1e9)], Above(0, LN2, 5 - LN2), id="half-of-the-equilibrium"),
    pytest.param(2000, [(50, 1e-6, 1e9)], Above(None, 0, 0), id="above-the-equilibrium"),
    pytest.param(500, [(1, 0, INF), (1, 1e-6, INF)], Above(1, 0.5, 0.5), id="on-a-later-step"),
    pytest.param(1001, [(1, 1e-6, INF)], Above(None, 0, 0), id="just-not-reached"),
    pytest.param(
        500, [(1, 1e-6, INF), (10, 0, 1e9)], Above(0, 0.5, 0.5 + LN2), id="decays-through-it"
    ),
    pytest.param(500, [(1, 1e-6, INF), (9, 0, 0)], Above(0, 0.5, 0.5), id="bonded-at-once"),
    pytest.param(
        500, [(1, 1e-6, INF), (9, 1e-6, 1e-9)], Above(0, 0.5, 0.5), id="bonded-next-to-at-once"
    ),
    pytest.param(
        500,
        [(1, 1e-6, INF), (1, 0, 0), (1, 1e-6, INF)],
        Above(0, 0.5, 1.0),
        id="twice-and-the-first-is-told",
    ),
    pytest.param(500, [(1, 1e-6, INF), (3, 0, INF)], Above(0, 0.5, 3.5), id="stays-without-a-leak"),
    # our own worked example: a drum of 100 pF at 3.75e-8 A reaches 0.24 mJ, 2190.89 V
    pytest.param(
        2190.8902, [(60, 3.75e-10, INF)], Above(None, 0, 0), id="drum-at-a-hundredth-of-it"
    ),
]


@pytest.mark.parametrize(("level", "steps", "expected"), CASES)
def test_above(level: float, steps: Steps, expected: Above) -> None:
    ours = found(level, steps)
    assert ours.step == expected.step
    assert ours.after_s == pytest.approx(expected.after_s, rel=1e-9)
    assert ours.seconds == pytest.approx(expected.seconds, rel=1e-9)


def test_a_drum_at_two_metres_a_second_reaches_its_ignition_energy_in_under_six_seconds() -> None:
    # our own worked example: 3.75e-8 A on 100 pF, 0.24 mJ at 2190.89 V, 5.8424 s
    assert found(2190.89023, [(60, 3.75e-8, INF)], 100e-12).after_s == pytest.approx(
        5.8424, abs=5e-5
    )


def test_a_level_is_reached_at_it_and_not_just_above() -> None:
    # in powers of two, so that no digit is rounded: 1024 V after 1 s
    assert found(1024, [(1, 2**-20, INF)], 2**-30) == Above(0, 1.0, 0.0)
    assert found(1025, [(1, 2**-20, INF)], 2**-30) == Above(None, 0.0, 0.0)


def test_above_from_the_beginning() -> None:
    assert found(500, [(2, 0, INF)], initial=500) == Above(0, 0.0, 2.0)
    assert found(500, [(2, 0, 0)], initial=500) == Above(0, 0.0, 0.0)


def test_hardly_any_leak_is_as_none() -> None:
    for resistance in (1e25, 1e120, 1e300):
        assert found(500, [(1, 1e-6, resistance)]).after_s == pytest.approx(0.5, rel=1e-12)


def test_a_level_at_the_equilibrium_is_no_harm() -> None:
    ours = found(1000.0, [(1e6, 1e-6, 1e9), (1, 1e-6, 1e9)])
    assert ours.seconds <= 1e6 + 1
    assert ours.step in (None, 0)


scripts = st.lists(
    st.tuples(
        st.floats(1e-3, 1e3),
        st.floats(0, 1e-4),
        st.floats(0, 1e15) | st.just(INF),
    ),
    min_size=1,
    max_size=30,
)


@given(scripts, st.floats(1, 1e6), st.integers(2, 4))
def test_splitting_steps_changes_nothing(steps: Steps, level: float, parts: int) -> None:
    whole = found(level, steps)
    split = found(level, [(t / parts, i, r) for t, i, r in steps for _ in range(parts)])
    total = sum(step[0] for step in steps)
    # a course that just grazes the level may be put on either side of it by rounding
    if found(level * (1 - 1e-9), steps).step == found(level * (1 + 1e-9), steps).step:
        assert (whole.step is None) == (split.step is None)
    assert split.seconds == pytest.approx(whole.seconds, abs=1e-6 * total) or grazes(level, steps)


def grazes(level: float, steps: Steps) -> bool:
    near = found(level * (1 - 1e-9), steps).seconds - found(level * (1 + 1e-9), steps).seconds
    return near > 1e-9 * sum(step[0] for step in steps)


@given(scripts, st.floats(1, 1e6), st.floats(1, 10))
def test_a_higher_level_is_reached_later_and_for_less_long(
    steps: Steps, level: float, more: float
) -> None:
    lower, higher = found(level, steps), found(level * more, steps)
    assert higher.seconds <= lower.seconds * (1 + 1e-9) + 1e-9
    assert 0 <= lower.seconds <= sum(step[0] for step in steps) * (1 + 1e-12)
    if higher.step is not None:
        assert lower.step is not None
        assert (lower.step, lower.after_s) <= (higher.step, higher.after_s * (1 + 1e-9) + 1e-12)


@given(scripts, st.floats(1, 1e5))
def test_it_agrees_with_a_fine_grid_of_moments(steps: Steps, level: float) -> None:
    """The yardstick: each step cut into 400, and the moments at or above the level counted."""
    fine = 400
    step, current, resistance = map(np.array, zip(*steps, strict=True))
    dense = potential(
        np.repeat(step / fine, fine), np.repeat(current, fine), np.repeat(resistance, fine), NANO
    )
    counted = float((np.repeat(step / fine, fine) * (dense[1:] >= level)).sum())
    assert found(level, steps).seconds == pytest.approx(counted, abs=3 * step.sum() / fine + 1e-9)


def test_refuses_nonsense() -> None:
    with pytest.raises(ValueError, match="level_V must be above 0, got 0"):
        found(0, [(1, 1, 1)])
    nothing = np.array([])
    with pytest.raises(ValueError, match="a step at least"):
        above(1, np.array([0.0]), nothing, nothing, nothing, NANO)
