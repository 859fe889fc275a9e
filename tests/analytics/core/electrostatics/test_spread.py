"""A quantity with the ends of its spread."""

from __future__ import annotations

import math

import pytest

from analytics.core.electrostatics.spread import Level, Spread


def test_each_level_has_its_end() -> None:
    spread = Spread(1, 2, math.inf, "ohm", "our assumption")
    assert [spread.at(level) for level in Level] == [1, 2, math.inf]


def test_one_value_is_the_same_at_all_levels() -> None:
    spread = Spread.of(2.5, "pS/m", "site file")
    assert {spread.at(level) for level in Level} == {2.5}
    assert (spread.unit, spread.source) == ("pS/m", "site file")


@pytest.mark.parametrize(
    ("low", "typical", "high"),
    [
        pytest.param(2, 1, 3, id="typical-below-low"),
        pytest.param(1, 3, 2, id="typical-above-high"),
        pytest.param(3, 3, 1, id="falling"),
        pytest.param(math.nan, 1, 2, id="low-is-no-number"),
        pytest.param(1, math.nan, 2, id="typical-is-no-number"),
        pytest.param(1, 2, math.nan, id="high-is-no-number"),
    ],
)
def test_values_out_of_order_are_refused(low: float, typical: float, high: float) -> None:
    with pytest.raises(ValueError, match=r"a spread must rise from low to high, got .*, .*, .*"):
        Spread(low, typical, high, "m", "nobody")
