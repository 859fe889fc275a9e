"""What a formula takes, and how it says what it does not."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
import pytest

from analytics.core.electrostatics.bounds import number, within


@pytest.mark.parametrize(
    ("value", "wrong"),
    [
        pytest.param(0.0, "gap_m must be above 0 m, got 0", id="the-bound-itself"),
        pytest.param(-0.5, "gap_m must be above 0 m, got -0.5", id="below"),
        pytest.param(math.inf, "gap_m must be finite m, got inf", id="infinite"),
        pytest.param(-math.inf, "gap_m must be finite m, got -inf", id="minus-infinite"),
        pytest.param([1.0, math.nan, -2.0, -3.0], "got -2$", id="the-first-that-is-wrong"),
    ],
)
def test_error_names_argument_bound_and_value(value: npt.ArrayLike, wrong: str) -> None:
    with pytest.raises(ValueError, match=wrong):
        within("gap_m", value, "m", above=0)


def test_no_unit_leaves_no_gap() -> None:
    with pytest.raises(ValueError, match=r"^share must be at most 1, got 1\.5$"):
        within("share", 1.5, "", at_least=0, at_most=1)


@pytest.mark.parametrize("value", [0.0, 1.0])
def test_bounds_that_are_allowed_pass(value: float) -> None:
    assert within("share", value, "", at_least=0, at_most=1) == value


def test_not_known_passes() -> None:
    assert np.isnan(within("gap_m", math.nan, "m", above=0))


def test_infinite_passes_where_it_makes_sense() -> None:
    assert within("length_m", math.inf, "m", at_least=0, infinite=True) == math.inf
    with pytest.raises(ValueError, match="length_m must be at least 0 m, got -inf"):
        within("length_m", -math.inf, "m", at_least=0, infinite=True)


def test_nothing_at_all_is_within() -> None:
    assert within("gap_m", [], "m", above=0).shape == (0,)


def test_a_number_has_to_be_known() -> None:
    assert number("gap_m", 2, "m", above=0) == 2
    with pytest.raises(ValueError, match="gap_m must be a number, got nan"):
        number("gap_m", math.nan, "m", above=0)
    with pytest.raises(ValueError, match="gap_m must be at least 1 m, got 0"):
        number("gap_m", 0, "m", at_least=1)
    with pytest.raises(ValueError, match="gap_m must be finite m, got inf"):
        number("gap_m", math.inf, "m", above=0)
    assert number("gap_m", math.inf, "m", above=0, infinite=True) == math.inf
