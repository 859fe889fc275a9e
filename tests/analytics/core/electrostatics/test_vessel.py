"""A vessel whose capacitance is known within a spread."""

from __future__ import annotations

import math

import numpy as np
import pytest

from analytics.core.electrostatics.charging import potential
from analytics.core.electrostatics.spread import Level, Spread
from analytics.core.electrostatics.vessel import capacitances, charged
from bondtrail.samples import ValueArray

ROWS = [
    pytest.param((7, 7, 7), [7], id="one-value"),
    pytest.param((10, 20, 40), [10, 20, 40], id="twice-apart"),
    pytest.param((10, 10, 80), [10, 20, 40, 80], id="typical-at-an-end"),
    pytest.param((10, 50, 50), [10, 17.0998, 29.2402, 50], id="in-between"),
    pytest.param((10, 11, 12), [10, 11, 12], id="close"),
]


@pytest.mark.parametrize(("ends", "expected"), ROWS)
def test_capacitances(ends: tuple[float, float, float], expected: list[float]) -> None:
    spread = Spread(*ends, "pF", "a test")
    for level in (Level.LOW, Level.HIGH):
        assert capacitances(spread, level) == pytest.approx(expected, rel=1e-5)
    assert capacitances(spread, Level.TYPICAL).tolist() == [ends[1]]


def steady(seconds: float, ohm: float) -> tuple[ValueArray, ValueArray, ValueArray]:
    return np.array([seconds]), np.array([1e-6]), np.array([ohm])


WIDE = Spread(100, 300, 1000, "pF", "a test")


@pytest.mark.parametrize("seconds", [0.02, 0.1, 0.3, 1, 5])
def test_the_worst_energy_is_found_between_the_ends(seconds: float) -> None:
    """The yardstick: 2000 capacitances one after the other. 1 uA through 1 Gohm.

    Energy is greatest where t = 1.2564 R C (our own: where (1 - exp(-z))^2 / z has its maximum).
    """
    step, current, resistance = steady(seconds, 1e9)
    pico = np.geomspace(WIDE.low, WIDE.high, 2000)
    volts = potential(step, current, resistance, pico * 1e-12)[:, -1]
    most = float((0.5e-9 * pico * volts**2).max())
    found = charged(Level.HIGH, step, current, resistance, WIDE, None).peak_energy_mJ
    assert 0.95 * most <= found <= most * (1 + 1e-12)


def test_each_figure_takes_the_capacitance_that_is_worst_for_it() -> None:
    """Worked by hand: 1 uA for 10 s without a leak is 10 uC, whatever the capacitance."""
    high = charged(Level.HIGH, *steady(10, math.inf), WIDE, 1.0)
    low = charged(Level.LOW, *steady(10, math.inf), WIDE, 1.0)
    assert (low.peak_potential_V, high.peak_potential_V) == pytest.approx((1e4, 1e5))
    assert (low.peak_charge_uC, high.peak_charge_uC) == pytest.approx((10, 10))
    assert (low.peak_energy_mJ, high.peak_energy_mJ) == pytest.approx((50, 500))
    # 1 mJ: sqrt(2 W / C) = 4472 V on 100 pF after 0.447 s, 1414 V on 1 nF after 1.414 s
    assert high.first is not None
    assert low.first is not None
    assert high.first == pytest.approx((0, math.sqrt(0.2)), rel=1e-9)
    assert low.first == pytest.approx((0, math.sqrt(2)), rel=1e-9)
    assert (low.seconds, high.seconds) == pytest.approx((10 - math.sqrt(2), 10 - math.sqrt(0.2)))


def test_an_equilibrium_holds_more_energy_the_larger_the_vessel() -> None:
    """Worked by hand: 1 uA through 1 Gohm is 1000 V: 0.05 mJ on 100 pF, 0.5 mJ on 1 nF."""
    script = steady(100, 1e9)
    low, typical, high = (charged(level, *script, WIDE, 0.3) for level in Level)
    energies = [each.peak_energy_mJ for each in (low, typical, high)]
    assert energies == pytest.approx([0.05, 0.15, 0.5])
    assert low.first is None
    assert typical.first is None
    assert high.first is not None
    assert low.seconds == typical.seconds == 0


def test_without_an_ignition_energy_nothing_is_crossed() -> None:
    found = charged(Level.HIGH, *steady(10, math.inf), WIDE, None)
    assert found.first is None
    assert found.seconds is None
