"""What an estimate says of the charge that pipe and filter give."""

from __future__ import annotations

import pytest

from analytics.core.electrostatics import pipe_notes
from analytics.core.electrostatics.inputs import gather
from bondtrail.site import HazardRules, Product, Role
from tests.analytics.core.build import station

FASTER = "faster than by Ohm's law"
SIGN = "the same sign is not known"
WAY = "from the filter to the vessel"


@pytest.mark.parametrize(
    ("kappa", "pipe", "expected"),
    [
        # AIChE CCPS glossary, "Effective Conductivity", from memory: below about 2 pS/m.
        pytest.param(0.01, {"pipe_length_m": 9.0}, [FASTER], id="poor-conductor"),
        pytest.param(2, {"pipe_length_m": 9.0}, [], id="at-two"),
        pytest.param(0.01, {}, [], id="length-not-known"),
        pytest.param(None, {"pipe_length_m": 9.0}, [], id="conductivity-not-known"),
        pytest.param(
            0.01,
            {"pipe_length_m": 9.0, "filter_charge_uC_m3": 5.0},
            [FASTER, SIGN, WAY],
            id="filter",
        ),
        pytest.param(
            5, {"pipe_length_m": 9.0, "filter_charge_uC_m3": 5.0}, [SIGN, WAY], id="fair-conductor"
        ),
        pytest.param(5, {"filter_charge_uC_m3": 5.0}, [SIGN], id="filter-somewhere"),
        pytest.param(
            None, {"pipe_length_m": 9.0, "filter_charge_uC_m3": 5.0}, [SIGN], id="filter-alone"
        ),
    ],
)
def test_what_each_level_takes_of_pipe_and_filter_is_said(
    kappa: float | None, pipe: dict[str, float], expected: list[str]
) -> None:
    product = Product(phase="liquid", conductivity_pS_m=kappa, relative_permittivity=2)
    of = station(Role.FLOW).model_copy(update=pipe)
    said = list(pipe_notes.of_pipe(gather(of, product, None, HazardRules())))
    assert len(said) == len(expected)
    assert all(words in note for words, note in zip(expected, said, strict=True))
