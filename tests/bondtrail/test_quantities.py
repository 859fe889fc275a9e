import pytest
from hypothesis import given
from hypothesis import strategies as st

from bondtrail.quantities import (
    CAPACITANCE,
    CHARGE_DENSITY,
    CHARGE_PER_MASS,
    CONDUCTIVITY,
    ENERGY,
    LENGTH,
    Measure,
    quantity,
)
from bondtrail.units import UnitError

INCH_M = 0.0254  # NIST SP 811, B.8: exactly
FOOT_M = 0.3048  # NIST SP 811, B.8: exactly
POUND_KG = 0.45359237  # NIST Handbook 44, Appendix C: 1 pound avoirdupois, exactly
GALLON_M3 = 0.003785411784  # NIST Handbook 44, Appendix C: 1 gallon (US), exactly
PREFIXES = {"p": 1e-12, "n": 1e-9, "u": 1e-6, "m": 1e-3}  # SI brochure, table 7

QUANTITIES = [
    ("1 pS/m", CONDUCTIVITY, 1.0),
    ("1e-12 S/m", CONDUCTIVITY, 1.0),
    ("1 S/m", CONDUCTIVITY, 1 / PREFIXES["p"]),
    ("1e-8 mho/cm", CONDUCTIVITY, 1e-6 / PREFIXES["p"]),  # the textbook's unit: 1e-6 S/m
    ("0.5 uS/cm", CONDUCTIVITY, 5e7),
    ("50 nS/m", CONDUCTIVITY, 50_000.0),
    ("240 uJ", ENERGY, 0.24),
    ("240 µJ", ENERGY, 0.24),
    ("240 \N{GREEK SMALL LETTER MU}J", ENERGY, 0.24),
    ("0.24 mJ", ENERGY, 0.24),
    ("2.4e-4J", ENERGY, 0.24),
    (".24mJ", ENERGY, 0.24),
    ("15 mJ", ENERGY, 15.0),
    ("4 in", LENGTH, 4 * INCH_M),
    ("4 inches", LENGTH, 4 * INCH_M),
    ("4in", LENGTH, 4 * INCH_M),
    ("20 ft", LENGTH, 20 * FOOT_M),
    ("  20   feet ", LENGTH, 20 * FOOT_M),
    ("100 mm", LENGTH, 0.1),
    ("10. cm", LENGTH, 0.1),
    ("+1e-1 m", LENGTH, 0.1),
    ("1 nF", CAPACITANCE, 1000.0),
    ("0.001 uF", CAPACITANCE, 1000.0),
    ("1E+2 pF", CAPACITANCE, 100.0),
    ("100 uC/m3", CHARGE_DENSITY, 100.0),
    ("100 uC/m³", CHARGE_DENSITY, 100.0),
    ("100 nC/L", CHARGE_DENSITY, 100.0),
    ("1 nC/gal", CHARGE_DENSITY, 1e-3 / GALLON_M3),
    ("1 uC/kg", CHARGE_PER_MASS, 1.0),
    ("1 nC/g", CHARGE_PER_MASS, 1.0),
    ("1 C/t", CHARGE_PER_MASS, 1000.0),
    ("1 uC/lb", CHARGE_PER_MASS, 1 / POUND_KG),
]


@pytest.mark.parametrize(("text", "measure", "value"), QUANTITIES)
def test_quantity_matches_published_factors(text: str, measure: Measure, value: float) -> None:
    assert quantity(text, measure) == pytest.approx(value, rel=1e-15)


@pytest.mark.parametrize("text", ["0.1 m", "10 cm", "100 mm", "1e5 um"])
def test_quantity_is_rounded_only_once(text: str) -> None:
    assert quantity(text, LENGTH) == 0.1


@pytest.mark.parametrize(
    ("text", "value"),
    [("0 m", 0.0), ("-1 ft", -FOOT_M), ("1e-99 m", 1e-99), ("1e99 Gm", 1e108)],
)
def test_sign_and_size_are_left_to_the_caller(text: str, value: float) -> None:
    assert quantity(text, LENGTH) == value


@pytest.mark.parametrize(
    "measure",
    [CONDUCTIVITY, ENERGY, LENGTH, CAPACITANCE, CHARGE_DENSITY, CHARGE_PER_MASS],
    ids=lambda measure: measure.name,
)
def test_measure_takes_its_own_unit_and_its_own_example(measure: Measure) -> None:
    assert quantity(f"2.5 {measure.unit}", measure) == 2.5
    assert quantity(measure.example, measure) > 0
    assert measure.example in measure.right


@pytest.mark.parametrize(
    ("text", "measure", "wrong", "right"),
    [
        pytest.param("1 m", ENERGY, "'m' is no unit of energy", "240 uJ", id="another-measure"),
        pytest.param("1 S", CONDUCTIVITY, "no unit of conductivity", "S/m", id="conductance"),
        pytest.param("1 ohm m", CONDUCTIVITY, "no unit of conductivity", "S/m", id="resistivity"),
        pytest.param("1 uC", CHARGE_DENSITY, "no unit of charge for each", "uC/m3", id="charge"),
        pytest.param(
            "1 uC/kg", CHARGE_DENSITY, "no unit of charge for each", "uC/m3", id="by-mass"
        ),
        pytest.param("0.24", ENERGY, "'0.24' has no unit", "240 uJ", id="no-unit"),
        pytest.param("mJ", ENERGY, "'mJ' is no number with a unit", "240 uJ", id="no-number"),
        pytest.param("", ENERGY, "'' is no number with a unit", "240 uJ", id="empty"),
        pytest.param("  ", ENERGY, "is no number with a unit", "240 uJ", id="blank"),
        pytest.param("0,24 mJ", ENERGY, "is no number with a unit", "240 uJ", id="comma"),
        pytest.param("1 000 mJ", ENERGY, "no known unit", "240 uJ", id="thousands"),
        pytest.param("1.2.3 mJ", ENERGY, "is no number with a unit", "240 uJ", id="two-points"),
        pytest.param("1/2 in", LENGTH, "no known unit", "4 in", id="fraction"),
        pytest.param("inf m", LENGTH, "is no number with a unit", "4 in", id="infinity"),
        pytest.param("nan m", LENGTH, "is no number with a unit", "4 in", id="no-number-at-all"),
        pytest.param("1e999 m", LENGTH, "is no number with a unit", "4 in", id="huge-exponent"),
        pytest.param("1 qm", LENGTH, "too large or too small", "4 in", id="absurd-prefix"),
        pytest.param("٣ m", LENGTH, "is no number with a unit", "4 in", id="digits-of-a-script"),
        pytest.param('4"', LENGTH, "no known unit", "did you mean in?", id="inch-mark"),
        pytest.param("50 CU", CONDUCTIVITY, "no known unit", "did you mean pS/m?", id="cu"),
        pytest.param("1 PF", CAPACITANCE, "too large or too small", "1 nF", id="petafarad"),
        pytest.param("20 degC", LENGTH, "no unit of length", "4 in", id="offset-unit"),
        pytest.param("1 m**9**9**9", LENGTH, "no known unit", "4 in", id="power-of-a-power"),
        pytest.param("2*3 m", LENGTH, "no known unit", "4 in", id="arithmetic"),
        pytest.param("__import__('os') m", LENGTH, "no number with a unit", "4 in", id="code"),
        pytest.param("1 __import__('os')", LENGTH, "no known unit", "4 in", id="code-as-unit"),
        pytest.param("9" * 5000 + " m", LENGTH, "no number with a unit", "4 in", id="endless"),
        pytest.param("1 " + "m*" * 5000 + "m", LENGTH, "no number with", "4 in", id="endless-unit"),
    ],
)
def test_what_is_no_quantity_is_refused_shortly(
    text: str, measure: Measure, wrong: str, right: str
) -> None:
    with pytest.raises(UnitError) as caught:
        quantity(text, measure)
    assert wrong in caught.value.wrong
    assert right in caught.value.right
    assert len(caught.value.wrong) < 120


PARTS = st.sampled_from(["1", "2.5", "e", "-", " ", "/", "*", "**", "^", "(", "m", "J", "m3", "µ"])


@given(st.one_of(st.text(max_size=80), st.lists(PARTS, max_size=12).map("".join)))
def test_any_text_is_a_quantity_or_refused_in_plain_words(text: str) -> None:
    for measure in (LENGTH, ENERGY, CHARGE_DENSITY):
        outcome = value_or_error(text, measure)
        if isinstance(outcome, UnitError):
            assert outcome.wrong
            assert outcome.right
        else:
            assert isinstance(outcome, float)


def value_or_error(text: str, measure: Measure) -> float | UnitError:
    try:
        return quantity(text, measure)
    except UnitError as error:
        return error
