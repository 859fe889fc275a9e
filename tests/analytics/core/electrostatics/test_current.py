"""The current of a product at the three levels."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

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
    share = 1 - math.exp(-14 / (7 * TAU_S))
    expected = [1.8375 * share, 4.9 * share, 12.25 * share]
    assert micro(inputs(pipe_length_m=14)) == pytest.approx(expected, rel=1e-4)


@pytest.mark.parametrize("missing", ["conductivity_pS_m", "relative_permittivity"])
def test_a_pipe_without_a_relaxation_time_counts_as_long(missing: str) -> None:
    unknown = MODEL.model_copy(update={missing: None})
    assert micro(inputs(unknown, pipe_length_m=14)) == pytest.approx([1.8375, 4.9, 12.25])


def test_what_is_left_of_a_filter_is_added() -> None:
    # 100 uC/m3 in 0.0549779 m3/s is 5.49779 uA
    share = 1 - math.exp(-14 / (7 * TAU_S))
    left = 5.49779 * (1 - share)
    expected = [1.8375 * share + left, 4.9 * share + left, 12.25 * share + left]
    found = micro(inputs(pipe_length_m=14, filter_charge_uC_m3=100))
    assert found == pytest.approx(expected, rel=1e-4)


def test_a_filter_at_an_unknown_distance_is_none_or_all_of_it() -> None:
    found = micro(inputs(filter_charge_uC_m3=100))
    assert found == pytest.approx([1.8375, 4.9 + 5.49779, 12.25 + 5.49779], rel=1e-5)


def test_a_spread_of_conductivity_widens_the_levels() -> None:
    """At 1 to 4 pS/m the relaxation time is 17.708 to 4.427 s; 14 m at 7 m/s take 2 s."""
    found = replace(
        inputs(pipe_length_m=14, filter_charge_uC_m3=0),
        conductivity_pS_m=Spread(1, 2, 4, "pS/m", "a test"),
    )
    lost = [1 - math.exp(-2 / tau) for tau in (TAU_S, TAU_S / 2, TAU_S / 4)]
    pipe = [1.8375 * lost[0], 4.9 * lost[1], 12.25 * lost[2]]
    assert micro(found) == pytest.approx(pipe, rel=1e-4)
    filtered = replace(found, filter_charge_uC_m3=Spread.of(100, "uC/m3", "a test"))
    # of a filter's charge the most is left where the liquid relaxes most slowly
    left = [5.49779 * (1 - each) for each in reversed(lost)]
    assert micro(filtered) == pytest.approx(
        [a + b for a, b in zip(pipe, left, strict=True)], rel=1e-4
    )


def test_no_flow_carries_nothing() -> None:
    assert micro(inputs(pipe_length_m=14, filter_charge_uC_m3=100), 0.0) == [0, 0, 0]
    assert micro(inputs(filter_charge_uC_m3=100), 0.0) == [0, 0, 0]


def test_current_rises_with_flow() -> None:
    flow = np.linspace(0, 5000, 101)
    found = inputs(pipe_length_m=5, filter_charge_uC_m3=10)
    for current in liquid_currents(dict.fromkeys(Level, flow), found, 0.1).values():
        assert np.all(np.diff(current) > 0)


def test_powder() -> None:
    # 120 kg/min at 0.1, 1 and 10 uC/kg
    flow = dict.fromkeys(Level, np.array([0.0, 120.0]))
    levels = powder_currents(flow, Spread(0.1, 1, 10, "uC/kg", "a test"))
    found = [levels[level].tolist() for level in Level]
    assert found == [[0, pytest.approx(x)] for x in (2e-7, 2e-6, 2e-5)]
