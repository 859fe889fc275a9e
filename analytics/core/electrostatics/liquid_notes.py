"""What is to be said of a liquid: conductivity, velocity, filter and waiting; a sentence each."""

from __future__ import annotations

import math
from collections.abc import Iterator

from analytics.core.electrostatics.conductivity import EDITIONS, conductivity_class
from analytics.core.electrostatics.inputs import Inputs
from analytics.core.electrostatics.relaxation import (
    remaining_fraction,
    remaining_fraction_hyperbolic,
)
from analytics.core.electrostatics.spread import Spread
from analytics.core.electrostatics.velocity import START_OF_FILLING_M_S
from analytics.core.electrostatics.waiting import OVERSTATED_ABOVE_S, residence_after_filter
from bondtrail.site import Product


def of_conductivity(
    product: Product | None, product_name: str | None, inputs: Inputs
) -> Iterator[str]:
    """Yield what is known of conductivity and permittivity, and what follows if they are not."""
    name, kind = product_name or "the liquid", inputs.conductivity_class
    if inputs.conductivity_pS_m is None or kind is None:
        yield (
            f"The conductivity of {name} is not known (conductivity_pS_m): there is no relaxation"
            " time, and it is taken as low."
        )
        return
    kappa = inputs.conductivity_pS_m.typical
    if kind != "low":
        yield (
            f"The conductivity of {name}, {kappa:.3g} pS/m, is {kind}: the forms of the streaming"
            " current were found with liquids of low conductivity, and may be far off."
        )
    others = _by_other_editions(inputs, kappa)
    if others:
        yield (
            f"The class of conductivity is by {EDITIONS['nfpa_77'].source}; by {others}: where the"
            " lines are drawn differs by edition."
        )
    if product is None or product.conductivity_pS_m is None:
        yield (
            f"The conductivity of {name} is that of the pure liquid: traces of anything else move"
            " it by orders of magnitude, so that a measured one (conductivity_pS_m) goes before."
            f"{_either_way(inputs.conductivity_pS_m)}"
        )
    if inputs.relative_permittivity is None:
        yield (
            f"The permittivity of {name} is not known (relative_permittivity): there is no"
            " relaxation time."
        )


def _either_way(kappa: Spread) -> str:
    if kappa.low == kappa.high:
        return ""
    kinds = dict.fromkeys(conductivity_class(each) for each in (kappa.low, kappa.high))
    return (
        f" The levels take {kappa.low:.3g} to {kappa.high:.3g} pS/m, a conductivity that is"
        f" {' or '.join(kinds)}."
    )


def _by_other_editions(inputs: Inputs, kappa: float) -> str:
    eps_r = inputs.relative_permittivity
    by = {
        edition.source: conductivity_class(kappa, eps_r.typical if eps_r else None, name)
        for name, edition in EDITIONS.items()
    }
    differing = {source: kind for source, kind in by.items() if kind != inputs.conductivity_class}
    return ", by ".join(f"{source}, it is {kind}" for source, kind in differing.items())


def of_velocity(
    inputs: Inputs, reached: Spread, limit: Spread, opening_m_s: float | None
) -> Iterator[str]:
    """Yield how fast the liquid was beside what is published; nothing is shown by a slow one.

    Parameters
    ----------
    inputs : Inputs
        Of the liquid.
    reached, limit : Spread
        The greatest velocity in the pipe, and the published limit. [m/s]
    opening_m_s : float or None
        The greatest in the first minute of flow; None where flow was not seen to begin. [m/s]
    """
    fastest, told = f"The velocity in the pipe reached {reached.high:.3g} m/s", _range(limit)
    if reached.high > limit.high:
        yield f"{fastest}, over the published limit of {told} m/s."
    elif reached.high > limit.low:
        yield f"{fastest}: the published limits are {told} m/s, by edition."
    elif reached.high > 0:
        unsure = ""
        if inputs.conductivity_class is None:
            unsure = "; and it goes by the conductivity, which is not known"
        yield (
            f"{fastest}; the published limit is {told} m/s. To have kept it shows nothing by"
            " itself: it is for one clean liquid, filled from below, without a filter close"
            f" by{unsure}."
        )
    if inputs.conductivity_class in (None, "low"):
        start = ""
        if opening_m_s is not None:
            start = f" In the first minute of flow it was up to {opening_m_s:.3g} m/s."
        yield (
            "Until the outlet is covered, published practice asks for a velocity of"
            f" {START_OF_FILLING_M_S:g} m/s at most; when it was covered is not on record.{start}"
        )


def of_filter(inputs: Inputs, reached: Spread) -> Iterator[str]:
    """Yield how long the liquid was on its way from the filter, beside what is published."""
    length, tau = inputs.pipe_length_m, inputs.relaxation_time_s
    if inputs.filter_charge_uC_m3 is None or length is None or not reached.high:
        return
    rule = residence_after_filter(None if tau is None else tau.high)
    yield (
        "At its fastest the liquid took"
        f" {length.typical / reached.high:.3g} s from the filter to the vessel; published practice"
        f" asks for {_range(rule)} s in bonded pipe ({rule.source})."
    )


def of_waiting(inputs: Inputs, wait: Spread, density_uC_m3: float) -> Iterator[str]:
    """Yield by how much charge leaves a very poor conductor faster than by Ohm's law.

    Parameters
    ----------
    inputs : Inputs
        Of the liquid.
    wait : Spread
        The published time to wait. [s]
    density_uC_m3 : float
        The least charge that the liquid may have carried, 0 or more. [uC/m3]
    """
    tau, eps_r = inputs.relaxation_time_s, inputs.relative_permittivity
    if tau is None or eps_r is None or not OVERSTATED_ABOVE_S < tau.typical < math.inf:
        return
    elapsed = wait.typical
    ohmic = float(remaining_fraction(elapsed, tau.typical))
    faster = float(remaining_fraction_hyperbolic(elapsed, density_uC_m3, eps_r.typical))
    if faster < ohmic:
        yield (
            f"Below about 1 pS/m charge leaves faster than a relaxation time of {tau.typical:.3g} s"
            f" says: of {density_uC_m3:.3g} uC/m3, {faster:.2%} is left after {elapsed:.3g} s by"
            f" the hyperbolic law (Bustin and others, 1964, from memory), {ohmic:.2%} by Ohm's."
        )


def _range(spread: Spread) -> str:
    if spread.low == spread.high:
        return f"{spread.low:.3g}"
    return f"{spread.low:.3g} to {spread.high:.3g}"
