"""The potential of a vessel that is charged while it leaks."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from analytics.core.electrostatics import charging
from analytics.core.electrostatics.charging import potential
from bondtrail.samples import ValueArray

INF = math.inf

# Our own worked examples, V = I R (1 - exp(-t / RC)); the textbook relation is in any text of
# electricity.
WORKED = [  # current [A], resistance [ohm], capacitance [F], time [s], potential [V]
    pytest.param(1e-6, 1e9, 1e-9, 1, 632.1205588, id="one-time-constant"),
    pytest.param(1e-6, 1e9, 1e-9, 5, 993.2620530, id="five-time-constants"),
    pytest.param(1e-6, 1e9, 1e-9, 1e6, 1000.0, id="equilibrium"),
    pytest.param(1e-6, INF, 1e-9, 10, 10_000.0, id="no-leak"),
    pytest.param(100e-6, 1e6, 1e-9, 60, 100.0, id="a-megohm-at-100-uA"),
    pytest.param(100e-6, 10, 1e-9, 60, 1e-3, id="ten-ohm-at-100-uA"),
    pytest.param(1e-6, 1e6, 1e-9, 60, 1.0, id="a-megohm-at-1-uA"),
    pytest.param(1e-6, 0, 1e-9, 60, 0.0, id="perfect-bond"),
    # a drum cut off at 2 m/s in 50 mm by the least of the published forms: 3.75e-8 A
    pytest.param(3.75e-8, INF, 100e-12, 5.8423739, 2190.8902, id="drum-reaches-0.24-mJ"),
    pytest.param(3.75e-8, 100 / 3.75e-8, 100e-12, 1e4, 100.0, id="leak-that-holds-100-V"),
]


@pytest.mark.parametrize(("current", "resistance", "capacitance", "time", "expected"), WORKED)
def test_worked_examples(
    current: float, resistance: float, capacitance: float, time: float, expected: float
) -> None:
    edges = potential([time], [current], [resistance], capacitance)
    assert edges.tolist() == [0.0, pytest.approx(expected, rel=1e-8)]


def test_a_leak_of_at_most_2_67_gigohm_holds_the_drum_below_100_volts() -> None:
    # our own worked example, from memory's least form of the streaming current
    assert potential([1e6], [3.75e-8], [2.66667e9], 100e-12)[-1] == pytest.approx(100, rel=1e-5)
    assert potential([1e6], [3.75e-8], [2.7e9], 100e-12)[-1] > 101


DECAYS = [  # time constants -> what is left of 1000 V
    pytest.param(1e-12, 1000 * (1 - 1e-12), id="hardly-begun"),
    pytest.param(0.5, 1000 * math.exp(-0.5), id="half"),
    pytest.param(0.7, 1000 * math.exp(-0.7), id="where-the-form-changes"),
    pytest.param(50, 1000 * math.exp(-50), id="to-full-precision-when-little-is-left"),
    pytest.param(650, 1000 * math.exp(-650), id="next-to-nothing"),
    pytest.param(1e9, 0.0, id="nothing"),
]


@pytest.mark.parametrize(("constants", "left"), DECAYS)
def test_decay_without_current(constants: float, left: float) -> None:
    edges = potential([constants], [0], [1e9], 1e-9, initial_V=1000)
    assert edges[-1] == pytest.approx(left, rel=1e-13)


def script(seed: int, steps: int, corner: bool = True) -> tuple[ValueArray, ValueArray, ValueArray]:
    """Steps of any length, currents with pauses, resistances from bonded to none at all."""
    rng = np.random.default_rng(seed)
    step = 10.0 ** rng.uniform(-3, 1, steps)
    current = np.where(rng.random(steps) < 0.3, 0.0, 10.0 ** rng.uniform(-9, -5, steps))
    resistance = 10.0 ** rng.uniform(0, 14, steps)
    if corner:
        resistance[rng.random(steps) < 0.1] = INF
        resistance[rng.random(steps) < 0.1] = 0.0
        step[rng.random(steps) < 0.1] = 0.0
    return step, current, resistance


def step_by_step(
    step: ValueArray, current: ValueArray, resistance: ValueArray, capacitance: float
) -> ValueArray:
    """The closed form on one step after the other, in plain floats."""
    edges = [0.0]
    for t, i, r in zip(step.tolist(), current.tolist(), resistance.tolist(), strict=True):
        v = edges[-1]
        if t == 0 or math.isinf(r):
            edges.append(v + i * t / capacitance)
        elif r == 0:
            edges.append(0.0)
        else:
            x = t / (r * capacitance)
            edges.append(v * math.exp(-x) - i * r * math.expm1(-x))
    return np.array(edges)


@pytest.mark.parametrize("seed", range(5))
def test_against_the_closed_form_step_by_step(seed: int) -> None:
    step, current, resistance = script(seed, 5_000)
    ours = potential(step, current, resistance, 1e-9)
    expected = step_by_step(step, current, resistance, 1e-9)
    np.testing.assert_allclose(ours, expected, rtol=1e-11, atol=1e-280)


@pytest.mark.parametrize(("method", "seed"), [("Radau", 1), ("LSODA", 2), ("BDF", 3), ("Radau", 4)])
def test_against_an_ode_solver(method: str, seed: int) -> None:
    """The yardstick is scipy's solvers for stiff equations, started anew on each step."""
    step, current, resistance = script(seed, 15, corner=False)
    resistance = np.maximum(resistance, 1e6)  # 1 ms: stiffer ones only show the tolerance
    capacitance, edges = 1e-9, [0.0]
    for t, i, r in zip(step, current, resistance, strict=True):
        solved = solve_ivp(
            lambda _, v, i=i, r=r: i / capacitance - v / (r * capacitance),
            (0, t),
            [edges[-1]],
            method=method,
            rtol=1e-9,
            atol=1e-9,
        )
        edges.append(float(solved.y[0, -1]))
    ours = potential(step, current, resistance, capacitance)
    np.testing.assert_allclose(ours, edges, rtol=1e-6, atol=1e-5)


def test_stable_from_nanoseconds_to_hours() -> None:
    """Constants of 1 ns, 1 s and 10 h beside each other, on steps of 0.1 s for six hours."""
    constants = np.array([1e-9, 1.0, 36_000.0])[:, np.newaxis]
    steps = 216_000
    edges = potential(
        np.full(steps, 0.1), np.full(steps, 1e-6), np.full((3, steps), constants / 1e-9), 1e-9
    )
    time = np.arange(steps + 1) * 0.1
    expected = 1e-6 * constants / 1e-9 * -np.expm1(-time / constants)
    np.testing.assert_allclose(edges, expected, rtol=1e-9)


@pytest.mark.parametrize("resistance", [1e30, 1e300, INF])
def test_no_leak_is_the_limit_of_a_large_resistance(resistance: float) -> None:
    assert potential([10], [1e-6], [resistance], 1e-9)[-1] == pytest.approx(10_000, rel=1e-12)


@pytest.mark.parametrize("resistance", [1e-300, 1e-12, 0.0])
def test_a_perfect_bond_is_the_limit_of_a_small_resistance(resistance: float) -> None:
    assert potential([10], [1e-6], [resistance], 1e-9, 5_000)[-1] == pytest.approx(0, abs=1e-17)


def test_a_step_without_length_changes_nothing() -> None:
    assert potential([0, 0, 0], [1, 1, 1], [0, 1, INF], 1e-9, 7).tolist() == [7, 7, 7, 7]


def test_without_steps_there_is_just_the_beginning() -> None:
    assert potential([], [], [], 1e-9, 7).tolist() == [7]


moderate = st.floats(1e-3, 1e3)
currents = st.floats(0, 1e-4)
resistances = st.floats(0, 1e15) | st.just(INF)
capacitances = st.floats(1e-12, 1e-6)
scripts = st.lists(st.tuples(moderate, currents, resistances), min_size=1, max_size=40)


@given(scripts, capacitances, st.floats(0, 1e5))
def test_never_negative_and_never_beyond_what_leads_there(
    steps: list[tuple[float, float, float]], capacitance: float, initial: float
) -> None:
    step, current, resistance = map(np.array, zip(*steps, strict=True))
    edges = potential(step, current, resistance, capacitance, initial)
    assert np.all(edges >= 0)
    with np.errstate(invalid="ignore"):
        target = np.where(current > 0, current * resistance, 0.0)
    assert np.all(edges[1:] <= np.maximum(edges[:-1], target) * (1 + 1e-12))


@given(scripts, capacitances, st.floats(1, 10), st.floats(1, 10))
def test_monotone_in_current_and_resistance(
    steps: list[tuple[float, float, float]], capacitance: float, more: float, looser: float
) -> None:
    step, current, resistance = map(np.array, zip(*steps, strict=True))
    base = potential(step, current, resistance, capacitance) * (1 - 1e-12)
    assert np.all(potential(step, current * more, resistance, capacitance) >= base)
    assert np.all(potential(step, current, resistance * looser, capacitance) >= base)


@given(scripts, capacitances, st.floats(1, 100))
def test_more_capacitance_holds_more_charge_at_no_higher_a_peak(
    steps: list[tuple[float, float, float]], capacitance: float, more: float
) -> None:
    step, current, resistance = map(np.array, zip(*steps, strict=True))
    small, large = potential(step, current, resistance, np.array([1, more]) * capacitance)
    assert np.all(large * more >= small * (1 - 1e-12))
    assert large.max() <= small.max() * (1 + 1e-12)


@given(scripts, capacitances, st.integers(2, 5))
def test_splitting_steps_changes_nothing(
    steps: list[tuple[float, float, float]], capacitance: float, parts: int
) -> None:
    step, current, resistance = map(np.array, zip(*steps, strict=True))
    whole = potential(step, current, resistance, capacitance)
    split = potential(
        np.repeat(step / parts, parts),
        np.repeat(current, parts),
        np.repeat(resistance, parts),
        capacitance,
    )
    np.testing.assert_allclose(split[::parts], whole, rtol=1e-10, atol=1e-250)


@settings(deadline=None)
@given(st.integers(0, 200), st.integers(0, 1_000))
def test_any_number_of_steps_gives_what_one_after_the_other_gives(steps: int, seed: int) -> None:
    step, current, resistance = script(seed, steps)
    ours = potential(step, current, resistance, 1e-9)
    expected = step_by_step(step, current, resistance, 1e-9)
    np.testing.assert_allclose(ours, expected, rtol=1e-11, atol=1e-280)


@pytest.mark.parametrize(("block", "at_once"), [*itertools.product((1, 2, 7, 64), (1, 50, 1_000))])
def test_blocks_and_parts_of_any_size_give_the_same(
    monkeypatch: pytest.MonkeyPatch, block: int, at_once: int
) -> None:
    step, current, resistance = script(11, 777)
    expected = potential(step, current, resistance, 1e-9)
    monkeypatch.setattr(charging, "BLOCK", block)
    monkeypatch.setattr(charging, "STEPS_AT_ONCE", at_once)
    assert potential(step, current, resistance, 1e-9) == pytest.approx(expected, rel=1e-12)


def test_bands_are_worked_out_as_if_each_were_alone() -> None:
    rng = np.random.default_rng(5)
    step, current, _ = script(5, 700)
    resistance = 10.0 ** rng.uniform(6, 14, (2, 3, 700))
    capacitance = np.array([1e-10, 1e-9, 1e-8])
    initial = np.array([[100.0], [0.0]])
    bands = potential(step, current, resistance, capacitance, initial)
    assert bands.shape == (2, 3, 701)
    for one, three in np.ndindex(2, 3):
        alone = potential(
            step, current, resistance[one, three], capacitance[three], initial[one, 0]
        )
        assert bands[one, three] == pytest.approx(alone, rel=1e-12)


def test_what_vanishes_within_a_step_does_no_harm() -> None:
    """600 time constants a step: products of the decays are far below the least of numbers."""
    edges = potential(np.full(500, 600.0), np.full(500, 1e-6), np.full(500, 1e9), 1e-9, 1e300)
    assert edges[3:] == pytest.approx(1000.0)


REFUSED = [
    pytest.param({"step_s": [-1.0]}, "step_s must be finite and at least 0, got -1", id="step"),
    pytest.param({"step_s": [math.nan]}, "step_s must be .* got nan", id="step-unknown"),
    pytest.param({"current_A": [INF]}, "current_A must be .* got inf", id="current"),
    pytest.param({"current_A": [-1e-9]}, "current_A must be .* got -1e-09", id="current-sign"),
    pytest.param({"resistance_ohm": [-1]}, "resistance_ohm must be at least 0", id="resistance"),
    pytest.param({"resistance_ohm": [math.nan]}, "resistance_ohm .* got nan", id="not-known"),
    pytest.param({"capacitance_F": 0}, "capacitance_F must be finite and above 0", id="capacity"),
    pytest.param({"initial_V": -1}, "initial_V must be finite and at least 0", id="initial"),
    pytest.param({"step_s": [[1.0]]}, "step_s must have one axis", id="axes"),
]


@pytest.mark.parametrize(("wrong", "message"), REFUSED)
def test_refuses_nonsense(wrong: dict[str, object], message: str) -> None:
    right = {"step_s": [1.0], "current_A": [1e-6], "resistance_ohm": [1e9], "capacitance_F": 1e-9}
    with pytest.raises(ValueError, match=message):
        potential(**{**right, **wrong})  # type: ignore[arg-type]
