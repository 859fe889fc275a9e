"""What is to be said of the charge that pipe and filter give: a sentence each."""

from __future__ import annotations

from collections.abc import Iterator

from analytics.core.electrostatics.inputs import Inputs
from analytics.core.electrostatics.relaxation import (
    EFFECTIVE_AT_LEAST_PS_M,
    SLOWER_BEHIND_FILTER,
)


def of_pipe(inputs: Inputs) -> Iterator[str]:
    """Yield where the charge of a liquid does not keep to Ohm's law, and what each level takes."""
    kappa = inputs.conductivity_pS_m
    related = inputs.pipe_length_m is not None and inputs.relaxation_time_s is not None
    if related and kappa is not None and kappa.high < EFFECTIVE_AT_LEAST_PS_M:
        yield (
            f"Below about {EFFECTIVE_AT_LEAST_PS_M:g} pS/m charge builds up in a pipe faster than"
            " by Ohm's law (AIChE CCPS glossary, from memory): the high figures take the length of"
            f" the pipe as for {EFFECTIVE_AT_LEAST_PS_M:g} pS/m, which is our own choice."
        )
    if inputs.filter_charge_uC_m3 is None:
        return
    yield (
        "Whether the charges of pipe and filter have the same sign is not known: the low figures"
        " let one undo the other, the others add them."
    )
    if related:
        yield (
            "The length of the pipe is taken as that from the filter to the vessel. Behind a fine"
            f" filter charge may go {SLOWER_BEHIND_FILTER:g} times more slowly (AIChE CCPS"
            " glossary, from memory), which the high figures take; the low ones take the faster of"
            " Ohm's law and the hyperbolic one (Bustin and others, 1964, from memory)."
        )
