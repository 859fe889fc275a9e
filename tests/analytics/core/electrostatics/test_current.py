"""The current of a product at the three levels."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.core.electrostatics.current import liquid_currents, powder_currents
from analytics.core.electrostatics.inputs import Inputs, gather
from analytics.core.electrostatics.spread import Level, Spread
from bondtrail.site import HazardRules, Product, Role
from tests.analytics.core.build import station

SEVEN_M_S = 60_000 * math.pi / 4 * 0.1**2 * 7
"""L/min in a pipe of 100 mm."""

MODEL = Product(phase="liquid", conductivity_pS_m=1, relative_permittivity=2)
TAU_S = 17.708  # of our own check values: eps_0 x 2 / 1 pS/m


def inputs(product: Product = MODEL, **pipe: float) -> Inputs:
    of = station(Role.FLOW).model_copy(update=pipe)
    return gather(of, product, None, HazardRules())


def micro(found: Inputs, flow: float = SEVEN_M_S) -> list[float]:
    levels = liquid_currents({level: np.array([flow]) for level in Level}, found, 0.1)
    return [float(levels[level][0]) * 1e6 for level in Level]


def test_long_pipe_at_seven_metres_a_second() -> None:
    # forms from memory at 7 m/s in 100 mm: Schon, Crowl and Louvar, NFPA 77
    assert micro(inputs()) == pytest.approx([1.8375, 4.9, 12.25])


def test_a_short_pipe_gives_a_share() -> None:
    """14 m at 7 m/s take 2 s: at the high level as at 2 pS/m, by which tau is 8.8542 s."""
    share = 1 - math.exp(-2 / TAU_S)
    expected = [1.8375 * share, 4.9 * share, 12.25 * (1 - math.exp(-2 / 8.8542))]
    assert micro(inputs(pipe_length_m=14)) == pytest.approx(expected, rel=1e-4)


FIVE_HUNDRED = math.pi / 4 * 0.1**2 * 10 / (0.5 / 60)
"""Seconds that 500 L/min take through 10 m of a pipe of 100 mm."""


@pytest.mark.parametrize("kappa", [7.8e-5, 0.01, 1, 2, 3, 50])
def test_the_high_level_takes_no_liquid_for_a_worse_conductor_than_two(kappa: float) -> None:
    """What lets charge go faster than by Ohm's law lets it build up faster.

    AIChE CCPS glossary, "Effective Conductivity", from memory: below about 2 pS/m.
    """
    poor = MODEL.model_copy(update={"conductivity_pS_m": kappa})
    full = micro(inputs(poor), 500)
    low, typical, high = micro(inputs(poor, pipe_length_m=10), 500)
    tau = TAU_S / kappa
    assert low == pytest.approx(full[0] * -math.expm1(-FIVE_HUNDRED / tau), rel=1e-4)
    assert typical == pytest.approx(full[1] * -math.expm1(-FIVE_HUNDRED / tau), rel=1e-4)
    at_most = -math.expm1(-FIVE_HUNDRED / min(tau, TAU_S / 2))
    assert high == pytest.approx(full[2] * at_most, rel=1e-4)


@pytest.mark.parametrize("missing", ["conductivity_pS_m", "relative_permittivity"])
def test_a_pipe_without_a_relaxation_time_counts_as_long(missing: str) -> None:
    unknown = MODEL.model_copy(update={missing: None})
    assert micro(inputs(unknown, pipe_length_m=14)) == pytest.approx([1.8375, 4.9, 12.25])


def test_what_is_left_of_a_filter_is_added() -> None:
    """Worked by hand: 100 uC/m3 in 0.0549779 m3/s is 5.49779 uA, and 2 s later exp(-2/tau) of it.

    At the high level tau is four times longer behind a microfilter (CCPS glossary, from memory: 3
    to 4). At the low one the two work against each other, the filter's as little as it may be.
    """
    lost = 1 - math.exp(-2 / TAU_S)
    most = 12.25 * (1 - math.exp(-2 / 8.8542)), 5.49779 * math.exp(-2 / (4 * TAU_S))
    expected = [5.49779 * (1 - lost) - most[0], 4.9 * lost + 5.49779 * (1 - lost), sum(most)]
    found = micro(inputs(pipe_length_m=14, filter_charge_uC_m3=100))
    assert found == pytest.approx(expected, rel=1e-4)


def test_a_poor_conductor_loses_the_charge_of_a_filter_faster_than_by_ohm() -> None:
    """By hand: 1000 uC/m3, 2 s: 1 / (1 + 1e-8 x 1e-3 x 2 / 1.7708e-11) is 0.46961 of 54.9779 uA.

    By Ohm's law at 0.01 pS/m 0.9989 of it. The hyperbolic law is Bustin's (1964), from memory.
    """
    poor = MODEL.model_copy(update={"conductivity_pS_m": 0.01})
    low, typical, _ = micro(inputs(poor, pipe_length_m=14, filter_charge_uC_m3=1000))
    pipe_at_most = 12.25 * (1 - math.exp(-2 / 8.8542))
    assert low == pytest.approx(54.9779 * 0.46961 - pipe_at_most, rel=1e-4)
    kept = math.exp(-2 / (100 * TAU_S))
    assert typical == pytest.approx(54.9779 * kept + 4.9 * (1 - kept), rel=1e-4)


@pytest.mark.parametrize(
    ("density", "low"),
    [
        pytest.param(0, 1.8375, id="none"),
        pytest.param(10, 1.8375 - 0.549779, id="less-than-the-pipe"),
        pytest.param(100, 0, id="may-undo-it"),
        # however much it is, none of it may be left at the vessel
        pytest.param(1e5, 0, id="far-more"),
    ],
)
def test_a_filter_at_an_unknown_distance_is_none_or_all_of_it(density: float, low: float) -> None:
    found = micro(inputs(filter_charge_uC_m3=density))
    all_of_it = 54.9779e-3 * density
    assert found == pytest.approx([low, 4.9 + all_of_it, 12.25 + all_of_it], rel=1e-5)


def test_a_spread_of_conductivity_widens_the_levels() -> None:
    """At 1 to 4 pS/m the relaxation time is 17.708 to 4.427 s; 14 m at 7 m/s take 2 s."""
    found = replace(
        inputs(pipe_length_m=14, filter_charge_uC_m3=0),
        conductivity_pS_m=Spread(1, 2, 4, "pS/m", "a test"),
    )
    lost = [1 - math.exp(-2 / tau) for tau in (TAU_S, TAU_S / 2, TAU_S / 4)]
    pipe = [1.8375 * lost[0], 4.9 * lost[1], 12.25 * lost[2]]
    assert micro(found) == pytest.approx(pipe, rel=1e-4)
    filtered = replace(found, filter_charge_uC_m3=Spread.of(1000, "uC/m3", "a test"))
    # of a filter's charge the most is left where the liquid relaxes most slowly; the least of
    # 1000 uC/m3 is left by the hyperbolic law, as above
    left = [54.9779 * x for x in (0.46961, 1 - lost[1], math.exp(-2 / (4 * TAU_S)))]
    expected = [left[0] - pipe[2], left[1] + pipe[1], left[2] + pipe[2]]
    assert micro(filtered) == pytest.approx(expected, rel=1e-4)


RANGE = st.tuples(st.floats(1e-3, 1e3), st.floats(1, 50))
"""The least of a quantity, and how many times it the greatest is."""


@given(RANGE, RANGE, st.sampled_from([0.5, 14.0, 200.0]), st.floats(0, 1000), st.data())
def test_whatever_fits_lies_between_low_and_high(
    kappa: tuple[float, float],
    flow: tuple[float, float],
    length: float,
    density: float,
    data: st.DataObject,
) -> None:
    """A liquid and a flow within their ranges, by Ohm's law, the filter's charge of either sign."""
    (least, times), (slow, faster) = kappa, flow
    between = least * math.sqrt(times), slow * math.sqrt(faster)
    found = replace(
        inputs(pipe_length_m=length, filter_charge_uC_m3=density),
        conductivity_pS_m=Spread(least, between[0], least * times, "pS/m", "a test"),
    )
    flows = dict(zip(Level, ([slow], [between[1]], [slow * faster]), strict=True))
    levels = liquid_currents({level: np.array(x) for level, x in flows.items()}, found, 0.1)
    low, typical, high = (float(levels[level][0]) * 1e6 for level in Level)
    assert 0 <= low <= typical * (1 + 1e-9)
    assert typical <= high * (1 + 1e-9)
    tau = TAU_S / data.draw(st.floats(least, least * times))
    cubic = data.draw(st.floats(slow, slow * faster)) / 60_000  # m3/s
    velocity = cubic / (math.pi * 0.05**2)
    k = data.draw(st.floats(3.75, 25))
    pipe = k * (velocity * 0.1) ** 2 * -math.expm1(-length / velocity / tau)
    rest = cubic * density * math.exp(-length / velocity / tau)
    slack = 1e-4 * (pipe + rest) + 1e-12
    assert low <= abs(pipe - rest) + slack
    assert pipe + rest <= high + slack


def test_no_flow_carries_nothing() -> None:
    assert micro(inputs(pipe_length_m=14, filter_charge_uC_m3=100), 0.0) == [0, 0, 0]
    assert micro(inputs(filter_charge_uC_m3=100), 0.0) == [0, 0, 0]


def test_current_rises_with_flow() -> None:
    flow = np.linspace(0, 5000, 101)
    found = inputs(pipe_length_m=5, filter_charge_uC_m3=10)
    levels = liquid_currents(dict.fromkeys(Level, flow), found, 0.1)
    for level in (Level.TYPICAL, Level.HIGH):
        assert np.all(np.diff(levels[level]) > 0)
    alone = liquid_currents(dict.fromkeys(Level, flow), inputs(pipe_length_m=5), 0.1)
    assert np.all(np.diff(alone[Level.LOW]) > 0)


def test_powder() -> None:
    # 120 kg/min at 0.1, 1 and 10 uC/kg
    flow = dict.fromkeys(Level, np.array([0.0, 120.0]))
    levels = powder_currents(flow, Spread(0.1, 1, 10, "uC/kg", "a test"))
    found = [levels[level].tolist() for level in Level]
    assert found == [[0, pytest.approx(x)] for x in (2e-7, 2e-6, 2e-5)]
