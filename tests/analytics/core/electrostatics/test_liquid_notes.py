"""What an estimate says of a liquid."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import pytest

from analytics.core.electrostatics import liquid_notes
from analytics.core.electrostatics.inputs import Inputs, gather
from analytics.core.electrostatics.spread import Spread
from bondtrail.site import HazardRules, Product, Role
from tests.analytics.core.build import station


def liquid(kappa: float | None = 1.0, eps_r: float | None = 2.4) -> Product:
    return Product(phase="liquid", conductivity_pS_m=kappa, relative_permittivity=eps_r)


def inputs(product: Product | None = None, name: str | None = None, **of: Any) -> Inputs:
    found = station(Role.RESISTANCE, Role.FLOW).model_copy(update=of)
    return gather(found, product, name, HazardRules())


def speed(*levels: float) -> Spread:
    low, typical, high = levels if len(levels) == 3 else levels * 3
    return Spread(low, typical, high, "m/s", "a test")


def joined(said: Iterable[str]) -> str:
    return " ".join(said)


EDITIONS = [
    # NFPA 77: below 50 low, above 10 000 high. IEC TS 60079-32-1, from memory: below 25 eps_r, or
    # 100, low. CLC/TR 50404:2003, from memory: above 1000 high.
    pytest.param(liquid(1), [], id="all-agree"),
    pytest.param(liquid(55), ["IEC TS 60079-32-1, from memory, it is low"], id="by-permittivity"),
    pytest.param(liquid(61), [], id="above-25-times"),
    pytest.param(liquid(61, None), ["IEC TS 60079-32-1, from memory, it is low"], id="below-100"),
    pytest.param(liquid(2000), ["CLC/TR 50404:2003, from memory, it is high"], id="older"),
]


@pytest.mark.parametrize(("product", "differing"), EDITIONS)
def test_editions_that_class_it_otherwise_are_named(product: Product, differing: list[str]) -> None:
    said = joined(liquid_notes.of_conductivity(product, "blend", inputs(product)))
    assert ("differs by edition" in said) == bool(differing)
    assert all(words in said for words in differing)
    assert said.count("it is low") + said.count("it is high") == len(differing)


@pytest.mark.parametrize(
    ("product", "name", "words"),
    [
        pytest.param(liquid(None), "blend", "conductivity of blend is not known", id="unknown"),
        pytest.param(liquid(2000), "blend", "2e+03 pS/m, is medium", id="medium"),
        pytest.param(liquid(1, None), "blend", "The permittivity of blend is not", id="no-eps"),
        pytest.param(None, "toluene", "that of the pure liquid", id="by-the-table"),
        pytest.param(None, "toluene", "0.1 to 10 pS/m, a conductivity that is low.", id="decades"),
        pytest.param(None, "ether", "4 to 400 pS/m, a conductivity that is low or", id="two"),
        pytest.param(None, "MEK", "(conductivity_pS_m) goes before.", id="one-value"),
    ],
)
def test_what_is_known_of_the_conductivity(product: Product | None, name: str, words: str) -> None:
    assert words in joined(liquid_notes.of_conductivity(product, name, inputs(product, name)))


LOW, UNKNOWN = liquid(1), liquid(None)
VELOCITIES = [
    pytest.param(2.5, (7, 7, 7), "reached 2.5 m/s; the published limit is 7 m/s", id="below"),
    pytest.param(7.0, (7, 7, 7), "reached 7 m/s; the published limit is 7 m/s", id="at"),
    pytest.param(7.1, (7, 7, 7), "7.1 m/s, over the published limit of 7 m/s.", id="over"),
    pytest.param(3.0, (3.5, 5, 5), "the published limit is 3.5 to 5 m/s. To have", id="both"),
    pytest.param(4.0, (3.5, 5, 5), "4 m/s: the published limits are 3.5 to 5 m/s", id="between"),
    pytest.param(5.1, (3.5, 5, 5), "over the published limit of 3.5 to 5 m/s", id="over-both"),
]


@pytest.mark.parametrize(("fastest", "limits", "words"), VELOCITIES)
def test_the_velocity_stands_beside_the_published_limit_once(
    fastest: float, limits: tuple[float, float, float], words: str
) -> None:
    said = list(liquid_notes.of_velocity(inputs(LOW), speed(fastest), speed(*limits), None))
    assert words in said[0]
    assert len([note for note in said if "reached" in note]) == 1


@pytest.mark.parametrize(("product", "unsure"), [(LOW, False), (UNKNOWN, True)])
def test_to_have_kept_the_limit_shows_nothing(product: Product, unsure: bool) -> None:
    said = next(iter(liquid_notes.of_velocity(inputs(product), speed(1), speed(7), None)))
    assert "To have kept it shows nothing by itself" in said
    assert "filled from below, without a filter close by" in said
    assert ("which is not known" in said) == unsure


def test_the_fastest_that_may_have_been_is_compared() -> None:
    said = joined(liquid_notes.of_velocity(inputs(LOW), speed(0, 2, 8), speed(7), None))
    assert "reached 8 m/s, over" in said


def test_what_did_not_flow_had_no_velocity() -> None:
    said = joined(liquid_notes.of_velocity(inputs(LOW), speed(0), speed(7), None))
    assert "reached" not in said


@pytest.mark.parametrize(
    ("product", "opening", "words"),
    [
        pytest.param(LOW, 0.8, "In the first minute of flow it was up to 0.8 m/s", id="seen"),
        pytest.param(UNKNOWN, 2.0, "it was up to 2 m/s", id="taken-as-low"),
        pytest.param(LOW, None, "when it was covered is not on record.", id="not-seen-to-begin"),
        pytest.param(liquid(2000), 2.0, "", id="not-for-medium-conductivity"),
    ],
)
def test_the_start_of_filling_stands_beside_one_metre_a_second(
    product: Product, opening: float | None, words: str
) -> None:
    """1 m/s until the outlet is covered: from memory."""
    said = joined(liquid_notes.of_velocity(inputs(product), speed(3), speed(7), opening))
    assert ("velocity of 1 m/s at most" in said) == bool(words)
    assert words in said
    assert ("first minute" in said) == (opening is not None and bool(words))


@pytest.mark.parametrize(
    ("of", "product", "words"),
    [
        # 7 m at 7 m/s; 30 s or 3 relaxation times, from memory: of 21.25 s (eps_0 x 2.4 / 1 pS/m)
        pytest.param(
            {"pipe_length_m": 7.0, "filter_charge_uC_m3": 50.0},
            LOW,
            "took 1 s from the filter to the vessel; published practice asks for 30 to 63.8 s",
            id="both-known",
        ),
        pytest.param(
            {"pipe_length_m": 7.0, "filter_charge_uC_m3": 50.0},
            UNKNOWN,
            "took 1 s from the filter to the vessel; published practice asks for 30 s in bonded",
            id="no-relaxation-time",
        ),
        pytest.param({"filter_charge_uC_m3": 50.0}, LOW, "", id="no-length"),
        pytest.param({"pipe_length_m": 7.0}, LOW, "", id="no-filter"),
    ],
)
def test_the_way_from_the_filter_stands_beside_the_published_residence(
    of: dict[str, Any], product: Product, words: str
) -> None:
    said = joined(liquid_notes.of_filter(inputs(product, **of), speed(1, 3, 7)))
    assert words in said
    assert bool(said) == bool(words)


WAIT = Spread.of(60, "s", "a test")


def test_the_hyperbolic_law_is_told_where_it_is_the_faster() -> None:
    """30 uC/m3, permittivity 2, 60 s: 0.495917 (Bustin 1964, from memory). Ohm's law at
    0.01 pS/m: exp(-60 / 1770.8).
    """
    (said,) = liquid_notes.of_waiting(inputs(liquid(0.01, 2)), WAIT, 30.0)
    assert "of 30 uC/m3, 49.59% is left after 60 s by the hyperbolic law" in said
    assert "96.67% by Ohm's" in said
    assert "from memory" in said


@pytest.mark.parametrize(
    ("product", "density"),
    [
        pytest.param(liquid(1, 2.4), 10.0, id="ohm-is-the-faster"),
        pytest.param(liquid(3, 2), 1e6, id="conducts-enough"),
        pytest.param(liquid(0.01, 2), 0.0, id="without-a-charge"),
        pytest.param(liquid(None, 2), 30.0, id="no-relaxation-time"),
        pytest.param(liquid(1e-320, 2), 30.0, id="does-not-conduct-at-all"),
    ],
)
def test_where_it_is_not_nothing_is_said(product: Product, density: float) -> None:
    assert list(liquid_notes.of_waiting(inputs(product), WAIT, density)) == []
