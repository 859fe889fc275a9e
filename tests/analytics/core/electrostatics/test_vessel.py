"""A vessel whose capacitance is known within a spread."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from analytics.core.electrostatics import vessel
from analytics.core.electrostatics.charging import potential
from analytics.core.electrostatics.spread import Level, Spread
from analytics.core.electrostatics.vessel import capacitances, charged
from bondtrail.samples import ValueArray

ROWS = [
    pytest.param((7, 7, 7), [7], [7], id="one-value"),
    pytest.param((10, 20, 40), [10, 20, 40], None, id="twice-apart"),
    pytest.param((10, 10, 80), [10, 20, 40, 80], None, id="typical-at-an-end"),
    pytest.param((10, 50, 50), [10, 17.0998, 29.2402, 50], None, id="in-between"),
    pytest.param((10, 11, 12), [10, 11, 12], [10, 11, 12], id="close"),
    pytest.param((10, 12, 14), [10, 12, 14], [10, 12, 14], id="as-close-as-it-takes"),
]


@pytest.mark.parametrize(("ends", "apart", "close"), ROWS)
def test_capacitances(
    ends: tuple[float, float, float], apart: list[float], close: list[float] | None
) -> None:
    spread = Spread(*ends, "pF", "a test")
    assert capacitances(spread, Level.LOW) == pytest.approx(apart, rel=1e-5)
    high = capacitances(spread, Level.HIGH)
    assert close is None or high == pytest.approx(close)
    assert {*ends} <= {*np.round(high, 9).tolist()}
    assert np.all(high[1:] / high[:-1] <= 1.2 * (1 + 1e-12))
    assert capacitances(spread, Level.TYPICAL).tolist() == [ends[1]]


Script = tuple[ValueArray, ValueArray, ValueArray]
"""Steps, current and resistance. [s, A, ohm]"""


def steady(seconds: float, ohm: float) -> Script:
    return np.array([seconds]), np.array([1e-6]), np.array([ohm])


WIDE = Spread(100, 300, 1000, "pF", "a test")
FINE_PF = np.geomspace(WIDE.low, WIDE.high, 2000)


def energies(script: Script) -> ValueArray:
    """The yardstick: 2000 capacitances one after the other, and the energy of each at each edge."""
    return 0.5e-9 * FINE_PF[:, np.newaxis] * potential(*script, FINE_PF * 1e-12) ** 2


@pytest.mark.parametrize("seconds", [0.02, 0.1, 0.13, 0.3, 0.37, 1, 5])
def test_the_worst_energy_is_found_between_the_ends(seconds: float) -> None:
    """1 uA through 1 Gohm.

    Energy is greatest where t = 1.2564 R C (our own: where (1 - exp(-z))^2 / z has its maximum).
    """
    script = steady(seconds, 1e9)
    most = float(energies(script).max())
    found = charged(Level.HIGH, *script, WIDE, None).peak_energy_mJ
    assert 0.995 * most <= found <= most * (1 + 1e-12)


def test_the_least_energy_is_found_between_the_ends() -> None:
    """Worked by hand: a ramp to Q without a leak, then I R at once: Q^2 / 2C falls as C grows,
    C (I R)^2 / 2 rises; they meet where C = Q / (I R), here 0.1 uC / 300 V = 333 pF and 15 uJ.
    """
    step = np.array([0.1, 1e-9, 100])
    current, ohm = np.array([1e-6, 0, 1e-6]), np.array([math.inf, 0, 3e8])
    found = charged(Level.LOW, step, current, ohm, WIDE, None)
    assert found.peak_energy_mJ == pytest.approx(0.015, rel=0.005)
    assert found.peak_energy_mJ >= 0.015
    assert found.peak_potential_V == pytest.approx(300)
    assert found.peak_charge_uC == pytest.approx(0.1)


def any_script(seed: int) -> Script:
    rng = np.random.default_rng(seed)
    ohm = rng.choice([2.0, 1e7, 3e8, 1e9, 4e9, math.inf], 30)
    return rng.choice([0.01, 0.1, 0.7], 30), rng.choice([0, 1e-7, 1e-6, 5e-6], 30), ohm


@pytest.mark.parametrize("seed", range(20))
def test_figures_are_within_half_a_percent_of_a_fine_row(seed: int) -> None:
    script = any_script(seed)
    fine = energies(script)
    high = charged(Level.HIGH, *script, WIDE, None)
    assert high.peak_energy_mJ == pytest.approx(fine.max(), rel=0.005)
    np.testing.assert_allclose(high.energy_mJ, fine.max(axis=0), rtol=0.005, atol=1e-300)
    low = charged(Level.LOW, *script, WIDE, None)
    assert low.peak_energy_mJ == pytest.approx(fine.max(axis=1).min(), rel=0.005)


@pytest.mark.parametrize("seed", range(10))
def test_the_first_crossing_of_a_fine_row_is_found(seed: int) -> None:
    """At the high level the ignition energy is reached no later than 0.5 % more of it is by any."""
    script = any_script(seed)
    mie = float(energies(script).max()) / 3
    found = charged(Level.HIGH, *script, WIDE, mie).first
    begins = np.concatenate(([0], np.cumsum(script[0])))

    def moment(first: tuple[int, float] | None) -> float:
        return math.inf if first is None else float(begins[first[0]]) + first[1]

    each = [
        charged(Level.TYPICAL, *script, Spread.of(pico, "pF", "a test"), mie * 1.005).first
        for pico in FINE_PF[::20].tolist()
    ]
    assert moment(found) <= min(map(moment, each))


def test_the_least_is_looked_for_within_bounds(monkeypatch: pytest.MonkeyPatch) -> None:
    """However wide the range: the work is bounded, and nothing lies outside it."""
    tried: list[float] = []

    def counted(*args: Any) -> ValueArray:
        tried.append(args[-1])
        return potential(*args)

    monkeypatch.setattr(vessel, "potential", counted)
    wide = Spread(1, 1e3, 1e6, "pF", "a test")
    charged(Level.LOW, *any_script(3), wide, None)
    assert len(tried) <= vessel.MOST
    assert len(set(tried)) == len(tried)
    assert (min(tried), max(tried)) == pytest.approx((1e-12, 1e-6))


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
