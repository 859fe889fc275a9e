import pytest

from bondtrail.site_tables import Role
from bondtrail.site_units import UnitError, flow_scale, resistance_scale, scale_of

GALLON_L = 3.785411784  # NIST Handbook 44, Appendix C: 1 gallon (US), exactly
IMPERIAL_GALLON_L = 4.54609  # UK Weights and Measures Act 1985, Schedule 1: exactly
POUND_KG = 0.45359237  # NIST Handbook 44, Appendix C: 1 pound avoirdupois, exactly
CUBIC_FOOT_L = 28.316846592  # NIST SP 811, B.8: 0.3048 m cubed, exactly

FLOWS = [
    ("L/min", 1.0, "L"),
    ("l/min", 1.0, "L"),
    ("L/s", 60.0, "L"),
    ("L/h", 1 / 60, "L"),
    ("m3/h", 1000 / 60, "L"),
    ("m³/h", 1000 / 60, "L"),
    ("m^3/hr", 1000 / 60, "L"),
    ("m**3 / h", 1000 / 60, "L"),
    ("m3 h-1", 1000 / 60, "L"),
    ("dm3/min", 1.0, "L"),
    ("gal/min", GALLON_L, "L"),
    ("imperial_gallon/min", IMPERIAL_GALLON_L, "L"),
    ("oil_barrel/h", 42 * GALLON_L / 60, "L"),
    ("ft3/min", CUBIC_FOOT_L, "L"),
    ("kg/min", 1.0, "kg"),
    ("kg/h", 1 / 60, "kg"),
    ("g/s", 0.06, "kg"),
    ("t/h", 1000 / 60, "kg"),
    ("lb/min", POUND_KG, "kg"),
    ("short_ton/h", 2000 * POUND_KG / 60, "kg"),
    ("long_ton/h", 2240 * POUND_KG / 60, "kg"),
]


@pytest.mark.parametrize(("unit", "scale", "volume_unit"), FLOWS)
def test_flow_scale_matches_published(unit: str, scale: float, volume_unit: str) -> None:
    assert flow_scale(unit, None) == (pytest.approx(scale, rel=1e-15), volume_unit)


def test_factor_is_rounded_only_once() -> None:
    # 0.3 m3/h is 5 L/min, the least that counts as flow by default: a factor one step too small
    # would miss it.
    assert 0.3 * flow_scale("m3/h", None)[0] >= 5.0


@pytest.mark.parametrize(
    ("unit", "scale"),
    [
        (None, 1.0),
        ("ohm", 1.0),
        ("Ohm", 1.0),
        ("ohms", 1.0),
        ("Ω", 1.0),
        ("\N{OHM SIGN}", 1.0),
        (" ohm ", 1.0),
        ("mohm", 1e-3),
        ("µohm", 1e-6),
        ("kohm", 1e3),
        ("kOhm", 1e3),
        ("kΩ", 1e3),
        ("Mohm", 1e6),
        ("MΩ", 1e6),
        ("Gohm", 1e9),
        ("V/A", 1.0),
    ],
)
def test_resistance_scale(unit: str | None, scale: float) -> None:
    assert resistance_scale(unit) == scale


@pytest.mark.parametrize(
    ("unit", "phase", "wrong", "right"),
    [
        ("m3/h", "powder", "rate of volume, but the product is a powder", "kg/min"),
        ("t/h", "liquid", "rate of mass, but the product is a liquid", "m3/h"),
        ("ohm", None, "no rate of flow", "kg/min or t/h"),
        ("L", "liquid", "no rate of flow", "L/min"),
        ("m/s", "liquid", "no rate of flow", "L/min"),
        ("L*min", "liquid", "no rate of flow", "L/min"),
        ("degC", "liquid", "no rate of flow", "L/min"),
        ("GPM", None, "no known unit", "did you mean gal/min (US) or imperial_gallon/min?"),
        ("lpm", None, "no known unit", "did you mean L/min?"),
        ("cfm", None, "no rate of flow", "did you mean ft3/min?"),  # pint reads centifermi
        ("M3/H", None, "no rate of flow", "did you mean m3/h?"),
        ("ton/h", "powder", "different sizes", "short_ton"),
        ("tons/h", "powder", "different sizes", "short_ton"),
        ("bbl/h", "liquid", "different sizes", "oil_barrel"),
    ],
)
def test_wrong_flow_unit_says_what_would_be_right(unit, phase, wrong: str, right: str) -> None:
    with pytest.raises(UnitError) as caught:
        flow_scale(unit, phase)
    assert wrong in caught.value.wrong
    assert right in caught.value.right


@pytest.mark.parametrize(
    ("unit", "wrong"),
    [
        pytest.param("L/min", "no unit of resistance", id="another-quantity"),
        pytest.param("siemens", "no unit of resistance", id="the-inverse"),
        pytest.param("degC", "no unit of resistance", id="offset"),
        pytest.param("dB", "no unit of resistance", id="logarithmic"),
        pytest.param("dB*ohm", "no known unit", id="logarithmic-times-ohm"),
        pytest.param("quectoohm", "too large or too small", id="absurd-prefix"),
        pytest.param("bananas", "no known unit", id="unknown"),
        pytest.param("megohm", "no known unit", id="spelling"),
        pytest.param("", "no known unit", id="empty"),
        pytest.param("   ", "no known unit", id="blank"),
        pytest.param("1 ohm", "no known unit", id="number"),
        pytest.param("2.5", "no known unit", id="only-a-number"),
        pytest.param("ohm/0", "no known unit", id="division-by-zero"),
        pytest.param("9**9**9**9**9", "no known unit", id="endless-power"),
        pytest.param("ohm**9**9**9", "no known unit", id="power-of-a-power"),
        pytest.param("ohm^99", "no known unit", id="many-digit-power"),
        pytest.param("ohm\0", "no known unit", id="nul"),
        pytest.param("ohm\nohm", "no unit of resistance", id="newline"),
        pytest.param("__import__('os')", "no known unit", id="code"),
        pytest.param("((((ohm", "no known unit", id="brackets"),
        pytest.param("ohm*" * 100_000 + "ohm", "no known unit", id="endless"),
        pytest.param("%", "no known unit", id="percent"),
    ],
)
def test_hostile_unit_is_refused_shortly(unit: str, wrong: str) -> None:
    with pytest.raises(UnitError) as caught:
        resistance_scale(unit)
    assert wrong in caught.value.wrong
    assert len(caught.value.wrong) < 120
    assert "\n" not in caught.value.wrong


@pytest.mark.parametrize("role", [Role.STATUS, Role.PERMISSIVE, Role.RUNNING, Role.BYPASS])
def test_contacts_and_codes_take_no_unit(role: Role) -> None:
    assert scale_of(role, None, "powder") == 1.0
    with pytest.raises(UnitError, match=f"{role} has no unit"):
        scale_of(role, "V", None)


def test_scale_of_asks_the_role() -> None:
    assert scale_of(Role.RESISTANCE, "kohm", "powder") == 1000.0
    assert scale_of(Role.FLOW, "t/h", "powder") == 1000 / 60
