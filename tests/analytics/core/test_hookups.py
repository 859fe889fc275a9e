"""Hookups: where a contact begins and ends, its figures, and why it failed."""

from __future__ import annotations

import numpy as np
import pytest

from analytics.core.hookups import NEVER, contacts, failure_cause, hookups, median
from bondtrail.results import HookupCause, Outcome
from bondtrail.samples import Samples
from bondtrail.site import Limits
from tests.analytics.core.build import (
    BAD,
    OPEN,
    Pair,
    Stretch,
    bond,
    held,
    ns,
    pairs,
    spans,
)

LIMITS = Limits()
"""10 ohm, open at 100 kiloohm, marginal up to 15 ohm."""


@pytest.mark.parametrize(
    ("words", "expected", "off"),
    [
        pytest.param("open 9", [], [], id="never-in-contact"),
        pytest.param("? 9", [], [], id="never-known"),
        pytest.param("low 9", [(0, 9)], [None], id="from-the-first-to-the-last"),
        pytest.param("open 2 low 5 open 3", [(2, 7)], [7], id="open-exactly-long-enough"),
        pytest.param(
            "open 2 low 5 open 2.9 low 4 open 3", [(2, 13.9)], [13.9], id="short-open-stays-inside"
        ),
        pytest.param("open 2 high 5 low 1 open 9", [(2, 8)], [8], id="high-is-contact-too"),
        pytest.param("low 5 ? 4 low 3 open 3", [(0, 12)], [12], id="unknown-inside-stays-inside"),
        pytest.param("low 5 ? 4 open 9", [(0, 5)], [9], id="unknown-then-open-ends-where-it-began"),
        pytest.param("low 5 ? 4 open 1 low 3", [(0, 5), (10, 13)], [9, None], id="however-short"),
        pytest.param("low 5 ? 9", [(0, 5)], [None], id="ends-with-what-is-known"),
        pytest.param("? 2 low 5 open 9", [(2, 7)], [7], id="begins-after-unknown"),
        pytest.param("low 2 open 3 low 2 open 3", [(0, 2), (5, 7)], [2, 7], id="two"),
        pytest.param("low 2 open 1 ? 1 open 9", [(0, 3)], [4], id="short-open-then-unknown"),
    ],
)
def test_contacts(words: str, expected: list[Pair], off: list[float | None]) -> None:
    found = contacts(bond(words), ns(3))
    assert pairs(found.spans) == expected
    assert found.off.tolist() == [int(NEVER) if t is None else ns(t) for t in off]


@pytest.mark.parametrize(
    ("verified", "time_to_bond"),
    [
        pytest.param([], None, id="never"),
        pytest.param([(15, 18)], 5.0, id="once"),
        pytest.param([(13, 14), (15, 18)], 3.0, id="the-first-counts"),
        pytest.param([(2, 9)], None, id="only-before"),
        pytest.param([(2, 10)], None, id="until-it-begins"),
        pytest.param([(20, 25)], None, id="only-from-its-end-on"),
        pytest.param([(2, 12)], 0.0, id="from-the-first-moment"),
    ],
)
def test_time_to_bond(verified: list[Pair], time_to_bond: float | None) -> None:
    (found,) = hookups("spot", spans((10, 20)), spans(*verified), Samples.empty(), LIMITS)
    assert found.time_to_bond_s == time_to_bond
    assert found.outcome is (Outcome.FAILED if time_to_bond is None else Outcome.VERIFIED)
    assert (found.start, found.end, found.station) == (ns(10), ns(20), "spot")


@pytest.mark.parametrize(
    ("ohms", "lowest", "middle", "cause"),
    [
        pytest.param([], None, None, None, id="no-readings"),
        pytest.param([(4, OPEN)], None, None, None, id="no-reading-in-contact"),
        pytest.param([(4, 100_000.0)], None, None, None, id="exactly-open-is-no-contact"),
        pytest.param([(4, BAD)], None, None, None, id="only-bad-readings"),
        pytest.param([(1, 300.0), (1, 400.0)], 300.0, 350.0, HookupCause.LAYER, id="even"),
        pytest.param(
            [(1, 300.0), (1, BAD), (2, 400.0), (2, OPEN)],
            300.0,
            400.0,
            HookupCause.UNSTEADY,
            id="bad-and-open-left-out",
        ),
        pytest.param(
            [(9, 300.0), (9, 2.0)], 300.0, 300.0, HookupCause.LAYER, id="only-what-lies-inside"
        ),
    ],
)
def test_figures_of_a_failed_hookup(
    ohms: list[Stretch], lowest: float | None, middle: float | None, cause: HookupCause | None
) -> None:
    (found,) = hookups("spot", spans((0, 9)), spans(), held(*ohms), LIMITS)
    assert (found.lowest_ohm, found.median_ohm, found.cause) == (lowest, middle, cause)


def test_a_verified_hookup_has_no_cause() -> None:
    (found,) = hookups("spot", spans((0, 9)), spans((1, 9)), held((9, 2.0)), LIMITS)
    assert (found.cause, found.lowest_ohm, found.median_ohm) == (None, 2.0, 2.0)


def test_without_contact_there_are_no_hookups() -> None:
    assert hookups("spot", spans(), spans((1, 9)), held((9, 2.0)), LIMITS) == []


DECADE = [100.0, 1000.0]


@pytest.mark.parametrize(
    ("ohms", "expected"),
    [
        pytest.param([], None, id="no-readings"),
        pytest.param([OPEN, OPEN], None, id="never-in-contact"),
        pytest.param([15.0], HookupCause.MARGINAL, id="exactly-marginal"),
        pytest.param([15.01], HookupCause.LAYER, id="just-above-marginal"),
        pytest.param([500.0, 400.0, 15.0, 900.0], HookupCause.MARGINAL, id="lowest-counts"),
        pytest.param([300.0] * 9, HookupCause.LAYER, id="steady-and-high"),
        # The changes in log10 are +1 and -1: a standard deviation of 1.
        pytest.param([*DECADE, 100.0], HookupCause.UNSTEADY, id="jumping-a-decade"),
        pytest.param(DECADE, HookupCause.LAYER, id="one-change-is-no-jumping"),
        # +0.3 and -0.3 and so on: a standard deviation of just 0.3, which is not above it.
        pytest.param([100.0, 10**2.2999, 100.0], HookupCause.LAYER, id="just-below-unsteady"),
        pytest.param([100.0, 10**2.3001, 100.0], HookupCause.UNSTEADY, id="just-above-unsteady"),
        # 100 to open (1e5) is 3 decades, both ways.
        pytest.param([100.0, OPEN, 100.0], HookupCause.UNSTEADY, id="open-counts-as-its-limit"),
        # A steady fall changes by the same each time: nothing unsteady about it.
        pytest.param([900.0, 700.0, 449.0], HookupCause.FALLING, id="below-half"),
        pytest.param([900.0, 700.0, 450.0], HookupCause.LAYER, id="exactly-half-is-not-below"),
        pytest.param([900.0, 400.0], HookupCause.LAYER, id="too-few-for-thirds"),
        # Thirds of two: 850 and 375, which is below 425.
        pytest.param(
            [900.0, 800.0, 700.0, 600.0, 500.0, 400.0, 350.0],
            HookupCause.FALLING,
            id="thirds-of-two-below-half",
        ),
        pytest.param(
            [900.0, 800.0, 700.0, 600.0, 550.0, 450.0, 400.0],
            HookupCause.LAYER,
            id="thirds-of-two-exactly-half",
        ),
    ],
)
def test_failure_cause(ohms: list[float], expected: HookupCause | None) -> None:
    assert failure_cause(np.array(ohms), LIMITS) is expected


@pytest.mark.parametrize(
    ("values", "expected"),
    [
        pytest.param([7.0], 7.0, id="one"),
        pytest.param([9.0, 1.0, 2.0], 2.0, id="odd"),
        pytest.param([9.0, 1.0, 4.0, 2.0], 3.0, id="even"),
    ],
)
def test_median(values: list[float], expected: float) -> None:
    given = np.array(values)
    assert median(given) == expected
    assert given.tolist() == values
