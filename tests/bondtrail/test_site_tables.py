"""The words that a site file may use are those that the hazard estimate knows."""

from typing import get_args

from analytics.core.electrostatics.leakage import OPEN_LEAKAGE
from analytics.core.electrostatics.powders import OPERATIONS
from analytics.core.electrostatics.streaming import FORMS
from bondtrail.site import HazardRules, Operation


def test_operations_are_those_with_a_published_charge() -> None:
    assert set(get_args(Operation)) == set(OPERATIONS)


def test_streaming_forms_are_the_published_ones_and_their_spread() -> None:
    form = HazardRules.model_fields["streaming_form"]
    assert set(get_args(form.annotation)) == {"spread", *FORMS}
    assert form.examples == list(get_args(form.annotation))


def test_leakage_that_is_left_out_is_that_of_an_open_circuit() -> None:
    rules = HazardRules()
    assert rules.leakage_typical_ohm == OPEN_LEAKAGE.typical
    assert rules.leakage_high_ohm is None
    assert OPEN_LEAKAGE.high == float("inf")
