"""How figures are named and told."""

from __future__ import annotations

import pytest

from bondtrail.cli import figures


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0.0, "0"),
        (0.1234, "0.123"),
        (4.5, "4.50"),
        (99.96, "100"),
        (99.94, "99.9"),
        (1230.4, "1,230"),
        (-980.2, "-980"),
        (-0.5, "-0.500"),
        (2.5e-10, "2.50e-10"),
    ],
)
def test_a_rate_has_three_digits(value: float, text: str) -> None:
    assert figures.rate(value) == text


@pytest.mark.parametrize(
    ("name", "unit", "text"),
    [
        ("bond_lead_s", "", "bond lead, s"),
        ("conductivity_pS_m", "pS/m", "conductivity, pS/m"),
        ("mean_rate_kg_min", "", "mean rate, kg/min"),
        ("pipe_length_m", "m", "pipe length, m"),
        ("velocity_m_s", "", "velocity, m/s"),
        ("streaming_coefficient", "A s2/m4", "streaming coefficient, A s2/m4"),
        ("trips", "", "trips"),
    ],
)
def test_a_name_stands_in_words_with_its_unit(name: str, unit: str, text: str) -> None:
    assert figures.named(name, unit) == text
