"""The value in force at a moment, and what had flowed by then."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.core.in_force import amounts_until, flowed, in_force
from analytics.core.spans import NOWHERE
from analytics.core.volumes import FlowMeter
from bondtrail.samples import Samples
from tests.analytics.core.build import held, moments, ns, spans

READ = Samples.of(moments(10, 11, 20), [4.0, math.inf, 5.0], [0, 0, 2])


@pytest.mark.parametrize(
    ("second", "expected"),
    [
        pytest.param(9.9, None, id="before-the-first"),
        pytest.param(10, 4.0, id="at-a-reading"),
        pytest.param(10.9, 4.0, id="between"),
        pytest.param(11, math.inf, id="open-circuit"),
        pytest.param(15.9, math.inf, id="just-fresh"),
        pytest.param(16, None, id="stale"),
        pytest.param(20, None, id="bad"),
    ],
)
def test_the_value_in_force(second: float, expected: float | None) -> None:
    (found,) = in_force(READ, ns(5), moments(second)).tolist()
    assert found == expected if expected is not None else math.isnan(found)


def test_without_readings_nothing_is_in_force() -> None:
    assert np.isnan(in_force(Samples.empty(), ns(5), moments(1, 2))).all()


METER = FlowMeter.of(held((10, 60), (5, 0), (10, 120), start=100), ns(1))  # L/min, each second


@pytest.mark.parametrize(
    ("second", "litres"),
    [
        pytest.param(99, 0, id="before"),
        pytest.param(100, 0, id="at-the-first-reading"),
        pytest.param(100.5, 0.5, id="within-a-reading"),
        pytest.param(110, 10, id="a-minute-a-second"),
        pytest.param(115, 10, id="paused"),
        pytest.param(120, 20, id="twice-as-fast"),
        pytest.param(125, 30, id="at-the-end"),
        pytest.param(500, 30, id="stale: nothing-more"),
    ],
)
def test_amounts_until(second: float, litres: float) -> None:
    assert amounts_until(METER, moments(second)).tolist() == pytest.approx([litres])


@pytest.mark.parametrize(
    ("second", "litres"),
    [(99, 0), (104, 0), (106, 1), (108, 3), (112, 3), (116, 5), (999, 21)],
)
def test_only_flow_within_runs_counts(second: float, litres: float) -> None:
    runs = spans((105, 108), (115, 124))
    assert flowed(METER, runs, moments(second)).tolist() == pytest.approx([litres])


def test_no_runs_and_no_readings_give_nothing() -> None:
    assert flowed(METER, NOWHERE, moments(110)).tolist() == [0.0]
    empty = FlowMeter.of(Samples.empty(), ns(1))
    assert flowed(empty, spans((0, 5)), moments(3)).tolist() == [0.0]


@given(
    st.lists(st.integers(1, 4), min_size=1, max_size=30),
    st.data(),
)
def test_what_has_flowed_is_what_the_meter_sums(gaps: list[int], data: st.DataObject) -> None:
    """`FlowMeter.amounts` adds the same samples up span by span."""
    time = np.cumsum(gaps) * ns(1)
    rate = data.draw(st.lists(st.integers(0, 900), min_size=time.size, max_size=time.size))
    meter = FlowMeter.of(Samples.of(time, rate), ns(2))
    end = data.draw(st.integers(0, 130)) * ns(1)
    (summed,) = meter.amounts(np.array([[0, end]]))
    assert amounts_until(meter, np.array([end])).item() == pytest.approx(summed)
