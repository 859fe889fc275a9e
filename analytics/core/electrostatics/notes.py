"""What was assumed, and where a figure does not hold: a sentence each, with its figures."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator

import numpy as np

from analytics.core.electrostatics.drive import Drive, Levels
from analytics.core.electrostatics.energy import potential_for_energy_V
from analytics.core.electrostatics.inputs import Inputs
from analytics.core.electrostatics.leakage import (
    RESISTANCE_CRITERIA,
    TOLERATED_V,
    Criterion,
    resistance_for_potential,
)
from analytics.core.electrostatics.spread import Level, Spread
from analytics.core.spans import Mask
from analytics.core.wording import duration, resistance
from bondtrail.site import Product, Role, Station

DISCHARGE_V = 30_000.0
"""What isolated pipes were seen to reach: NBS Journal of Research 69C (1965), abstract. [V]"""


def of_beginning(station: Station, driven: Drive) -> Iterator[str]:
    """Yield that the high figures are no upper bound, where the vessel may have come with charge.

    It comes before all other notes.
    """
    untold = driven.flow_unknown[0] or driven.flow_apart[0] or driven.flow_unread[0]
    flows = driven.flow[Level.HIGH][0] >= station.limits.flow_min
    if not (untold or flows):
        return
    if driven.resistance_ohm[Level.HIGH][0] > station.limits.limit_ohm:
        at = "where flow is not known" if untold else "in the middle of flow"
        yield (
            f"The high figures are at least: the span begins {at}, without a bond that is known to"
            " be low. The vessel is taken as without charge there, and may have been charged"
            " before."
        )


def of_unknown(station: Station, driven: Drive, unit: str) -> Iterator[str]:
    """Yield what is supposed where the record says nothing: it is never counted as good."""
    if driven.bond_unknown.any():
        yield (
            f"The bond was unknown for {_how_long(driven, driven.bond_unknown)}: the low figures"
            " take it for perfect, the typical and the high ones for open."
        )
    if driven.flow_apart.any():
        yield (
            f"Flow was unknown for {_seconds(driven, driven.flow_apart)} away from any flow on"
            " record: none is counted; the record cannot tell."
        )
    if driven.flow_unknown.any():
        yield (
            f"Flow was unknown for {_seconds(driven, driven.flow_unknown)} in which it may have"
            " run: the low figures take it for none, the typical ones for what was last known, the"
            f" high ones for {_most(driven, driven.flow_unknown)} {unit}."
        )
    if driven.flow_unread.any():
        yield (
            f"Flow was on for {_seconds(driven, driven.flow_unread)} at a rate that is not known:"
            f" the low figures take {station.limits.flow_min:g} {unit}, the least that counts as"
            " flow, the typical ones what was last known, the high ones"
            f" {_most(driven, driven.flow_unread)} {unit}."
        )


def of_bond(station: Station, driven: Drive, leakage: Spread) -> Iterator[str]:
    """Yield what is supposed of the bond."""
    role = station.bond_role
    if role is None:
        yield "Nothing at this station tells of the bond: it is unknown throughout."
    elif role is not Role.RESISTANCE:
        limit = resistance(station.limits.limit_ohm)
        yield (
            f"No resistance is recorded: the bond is told by the {role} alone, and bonded may be"
            f" anything from 0 to {limit}."
        )
    if role is not None:
        stale = duration(station.points[role].stale_after_s)
        yield (
            f"Each reading of the bond counts until the next, for {stale} at most: what came and"
            " went between two of them is not seen."
        )
    loose = driven.bond_open | driven.bond_unknown
    if driven.bond_open.any():
        yield f"The bond was open for {_how_long(driven, driven.bond_open)}."
    if loose.any():
        most = "nothing at all" if math.isinf(leakage.high) else ohms(leakage.high)
        yield (
            f"What an open bond still leaks is not on record: through {ohms(leakage.low)}, or"
            f" what was read, at the low level, {ohms(leakage.typical)} at the typical one,"
            f" {most} at the high one."
        )
    yield "The vessel is taken as without charge where the span begins."


def of_flow(station: Station, driven: Drive, unit: str) -> Iterator[str]:
    """Yield what is supposed of the flow; ``unit`` is L/min or kg/min."""
    if driven.by_rating:
        why = (
            "The flow meter says nothing" if Role.FLOW in station.points else "Flow is not measured"
        )
        yield f"{why}: it is taken as the rated {station.rated_flow:g} {unit} while it runs."
    if not driven.flowing.any():
        yield "Nothing flowed in the span: nothing charged the vessel that is on record."


def of_current(currents: Levels, inputs: Inputs) -> Iterator[str]:
    """Yield how much the product carried, and what that rests on."""
    low, typical, high = (f"{currents[level].max() * 1e6:.3g}" for level in Level)
    spread = f"{low} to {high} uA into the vessel, {typical} uA at the typical level"
    yield (
        "At its greatest the product carried"
        f" {f'{high} uA into the vessel' if low == high else spread}."
    )
    if inputs.phase == "powder":
        charge = inputs.charge_uC_kg
        if charge is not None and charge.high > charge.low:
            yield (
                f"What a powder carries is known by orders of magnitude: {charge.low:g} to"
                f" {charge.high:g} uC/kg for the operation. A measured charge_uC_kg narrows it."
            )
        return
    coefficient = inputs.streaming_coefficient
    if coefficient.high > coefficient.low:
        yield (
            "The published forms of the streaming current differ by"
            f" {coefficient.high / coefficient.low:.2g} times: the levels span them."
        )
    if inputs.pipe_length_m is None:
        yield (
            "The length of the pipe is not known (pipe_length_m): its current is that of a long"
            " pipe, more than a short one gives."
        )
    if inputs.filter_charge_uC_m3 is None:
        yield (
            "No filter is on record (filter_charge_uC_m3): one close to the vessel may charge a"
            " liquid far more than the pipe does."
        )
    elif inputs.pipe_length_m is None or inputs.relaxation_time_s is None:
        yield (
            "How much of the filter's charge is left at the vessel is not known: none at the low"
            " level, all of it at the others."
        )


def of_vessel(station: Station, capacitance_pF: Spread, peak_V: float) -> Iterator[str]:
    """Yield what is supposed of the vessel, which reached a potential at the high level. [V]"""
    if station.capacitance_pF is None:
        yield (
            "The capacitance of the vessel is not in the site file (capacitance_pF):"
            f" {capacitance_pF.low:g} to {capacitance_pF.high:g} pF is taken for its kind. Low and"
            " high figures each take the one that is best or worst for them."
        )
    if peak_V > DISCHARGE_V:
        yield (
            f"Potentials above about {DISCHARGE_V / 1000:g} kV are reckoned as if neither spark nor"
            " corona came before: that far a vessel hardly gets, for it discharges."
        )
    yield (
        "The vessel counts as one conductor, metal all through: of plastic walls, liners or"
        " insulating cloth these figures say nothing."
    )


def of_ignition(inputs: Inputs, currents: Levels) -> Iterator[str]:
    """Yield at which potential the vessel holds the ignition energy, and what leak prevents it."""
    mie, pico = inputs.mie_mJ, inputs.capacitance_pF
    if mie is not None:
        least, usual, most = (
            float(potential_for_energy_V(energy, capacitance))
            for energy, capacitance in (
                (mie.low, pico.high),
                (mie.typical, pico.typical),
                (mie.high, pico.low),
            )
        )
        ends = f" ({least:,.0f} to {most:,.0f} V by the ends of both)" if least < most else ""
        yield (
            f"The vessel holds the minimum ignition energy at {usual:,.0f} V{ends}, by its"
            " capacitance."
        )
    if currents[Level.HIGH].max() > 0:
        low, typical, high = (
            ohms(float(resistance_for_potential(float(currents[level].max())))) for level in Level
        )
        at_most = high if low == high else f"{high} at the high level, {typical} at the typical one"
        yield (
            f"To hold it below {TOLERATED_V:g} V at the greatest current takes a resistance to"
            f" ground of at most {at_most} (the bound of BS 5958 and IEC texts, from memory)."
        )


def of_criteria(station: Station, driven: Drive) -> Iterator[str]:
    """Yield which published criteria the greatest resistance recorded in flow is above."""
    seen = driven.recorded_ohm[driven.flowing & ~np.isnan(driven.recorded_ohm)]
    if not seen.size:
        return
    most = float(seen.max())
    told = "an open circuit" if math.isinf(most) else ohms(most)
    applying = [each for each in RESISTANCE_CRITERIA if each.kind in (None, station.kind)]
    above = [each for each in applying if most > each.ohm]
    others = [each for each in applying if each not in above]
    parts = [f"The greatest resistance recorded in flow was {told}."]
    if above:
        parts.append(f"It is above what is published for {_criteria(above)}.")
    if others:
        parts.append(f"It is not above what is published for {_criteria(others)}.")
    yield " ".join([*parts, "Which of these holds here is for the site's own codes."])


def _criteria(criteria: Iterable[Criterion]) -> str:
    return "; ".join(f"{each.path}, {ohms(each.ohm)} ({each.source})" for each in criteria)


def ohms(value: float) -> str:
    """Return a resistance in words, such as ``10 Gohm``; ``any`` where it has no end.

    Beyond what `wording.resistance` tells, by which findings are held to the letter.
    """
    if math.isinf(value):
        return "any"
    return f"{value / 1e9:.4g} Gohm" if value >= 1e9 else resistance(value)


def of_product(product: Product | None, product_name: str | None, inputs: Inputs) -> Iterator[str]:
    """Yield what is not known of the product, and what its ignition energy does not say."""
    if product_name is None:
        yield "Which product it was is not on record."
    elif product is None:
        yield (
            f"The site file has no [product.{product_name}]: what is known of it is from the table"
            " of substances."
            if inputs.mie_mJ or inputs.conductivity_pS_m
            else f"Nothing is known of {product_name}: add a [product] table of that name to the"
            " site file."
        )
    if inputs.mie_mJ is None:
        yield (
            f"No minimum ignition energy of {product_name or 'the product'} is known (mie_mJ): the"
            " energy is compared with none."
        )
    else:
        yield (
            "An energy below the minimum ignition energy does not show that nothing could ignite:"
            " what these figures cannot see is listed beside them."
        )


def _seconds(driven: Drive, mask: Mask) -> str:
    return duration(driven.seconds(mask))


def _most(driven: Drive, mask: Mask) -> str:
    return f"{driven.flow[Level.HIGH][mask].max():.4g}"


def _how_long(driven: Drive, mask: Mask) -> str:
    whole, flowing = _seconds(driven, mask), mask & driven.flowing
    if not flowing.any():
        return f"{whole}, none of it in flow"
    return f"{whole}, {_seconds(driven, flowing)} of it in flow or where it may have flowed"
