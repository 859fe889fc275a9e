"""What an estimate is made of, besides the record: of product, pipe and vessel, each with a source.

The site file goes before the table of substances. What neither knows is None.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Literal

from analytics.core.electrostatics.capacitance import CAPACITANCES
from analytics.core.electrostatics.conductivity import ConductivityClass, conductivity_class
from analytics.core.electrostatics.leakage import OPEN_LEAKAGE
from analytics.core.electrostatics.powders import OPERATIONS
from analytics.core.electrostatics.relaxation import relaxation_time
from analytics.core.electrostatics.spread import Level, Spread
from analytics.core.electrostatics.streaming import FORMS
from analytics.core.electrostatics.substances import Substance, find
from bondtrail.site import HazardRules, Product, Station

Phase = Literal["liquid", "powder", "gas"]

OPPOSITE = {Level.LOW: Level.HIGH, Level.TYPICAL: Level.TYPICAL, Level.HIGH: Level.LOW}
"""Which end of a quantity fits a level that falls with it, such as an ignition energy."""

_AGAINST = frozenset({"mie_mJ"})
_EITHER = frozenset(
    {"conductivity_pS_m", "relative_permittivity", "capacitance_pF", "bond_resistance_ohm"}
)


CALLED: Mapping[str, str] = {
    "conductivity_pS_m": "conductivity",
    "relative_permittivity": "relative permittivity",
    "mie_mJ": "minimum ignition energy",
    "pipe_diameter_m": "bore of the pipe",
    "pipe_length_m": "length of the pipe",
    "filter_charge_uC_m3": "charge from the filter",
    "streaming_coefficient": "coefficient of the streaming current",
    "charge_uC_kg": "charge per kilogram",
    "capacitance_pF": "capacitance of the vessel",
    "leakage_ohm": "leak to ground when open",
    "bond_resistance_ohm": "bond resistance",
    "peak_flow": "greatest flow",
}
"""What each input of an estimate is called on a page, without its unit."""


def taken(name: str, spread: Spread) -> Mapping[Level, float] | None:
    """Return which value of an input each level of the hazard takes.

    The values of an input stand in rising order, the levels in that of the hazard: an ignition
    energy runs against them. None where no level takes one value alone: each figure takes the end
    of conductivity, permittivity and capacitance that fits the level, and of the bond what was
    recorded at each moment.

    Parameters
    ----------
    name : str
        As `Inputs.listed` and the estimate name it.
    spread : Spread
        Its values.
    """
    if spread.low == spread.high:
        return dict.fromkeys(Level, spread.typical)
    if name in _EITHER:
        return None
    return {level: spread.at(OPPOSITE[level] if name in _AGAINST else level) for level in Level}


SPREAD = "spread"
"""The name that stands for all forms of the streaming current together."""
MIDDLE_FORM = "crowl_louvar"
"""Of the spread of forms: the one that textbooks teach, near the geometric middle."""

_SITE_FILE = "site file"


@dataclass(frozen=True, slots=True)
class Inputs:
    """What is known of product, pipe and vessel.

    Attributes
    ----------
    phase : {"liquid", "powder", "gas"} or None
        Of the product; None where neither a product nor the unit of flow tells. A gas makes no
        estimate: of one that is liquefied the site file has to say so.
    conductivity_pS_m, relative_permittivity, charge_uC_kg, mie_mJ : Spread or None
        Of the product; the first two of a liquid alone, the third of a powder.
    pipe_diameter_m, pipe_length_m, filter_charge_uC_m3 : Spread or None
        Of the way in.
    forms : mapping of Level to str
        Names of the form of the streaming current.
    capacitance_pF : Spread
        Of the vessel.
    leakage_ohm : Spread
        Of what is left of a bond that is open.
    """

    phase: Phase | None
    conductivity_pS_m: Spread | None
    relative_permittivity: Spread | None
    charge_uC_kg: Spread | None
    mie_mJ: Spread | None
    pipe_diameter_m: Spread | None
    pipe_length_m: Spread | None
    filter_charge_uC_m3: Spread | None
    forms: Mapping[Level, str]
    capacitance_pF: Spread
    leakage_ohm: Spread

    @property
    def relaxation_time_s(self) -> Spread | None:
        """Of the liquid; None where conductivity or permittivity is not known. [s]"""
        kappa, eps_r = self.conductivity_pS_m, self.relative_permittivity
        if kappa is None or eps_r is None:
            return None
        return Spread(
            float(relaxation_time(kappa.high, eps_r.low)),
            float(relaxation_time(kappa.typical, eps_r.typical)),
            float(relaxation_time(kappa.low, eps_r.high)),
            "s",
            f"conductivity: {kappa.source}; permittivity: {eps_r.source}",
        )

    @property
    def conductivity_class(self) -> ConductivityClass | None:
        """Of the liquid, by the lines of NFPA 77; None where its conductivity is not known."""
        if self.conductivity_pS_m is None:
            return None
        return conductivity_class(self.conductivity_pS_m.typical)

    @property
    def streaming_coefficient(self) -> Spread:
        """Of the forms of the streaming current. [A s2/m4]"""
        low, typical, high = (FORMS[self.forms[level]] for level in Level)
        names = dict.fromkeys(form.source for form in (low, typical, high))
        return Spread(
            low.coefficient, typical.coefficient, high.coefficient, "A s2/m4", "; ".join(names)
        )

    def listed(self) -> Iterator[tuple[str, Spread]]:
        """Yield those that take part in the estimate and are known, by name."""
        liquid = self.phase == "liquid"
        named = {
            "conductivity_pS_m": self.conductivity_pS_m if liquid else None,
            "relative_permittivity": self.relative_permittivity if liquid else None,
            "mie_mJ": self.mie_mJ,
            "pipe_diameter_m": self.pipe_diameter_m if liquid else None,
            "pipe_length_m": self.pipe_length_m if liquid else None,
            "filter_charge_uC_m3": self.filter_charge_uC_m3 if liquid else None,
            "streaming_coefficient": self.streaming_coefficient if liquid else None,
            "charge_uC_kg": None if liquid else self.charge_uC_kg,
            "capacitance_pF": self.capacitance_pF,
            "leakage_ohm": self.leakage_ohm,
        }
        yield from ((name, spread) for name, spread in named.items() if spread is not None)


def gather(
    station: Station,
    product: Product | None,
    product_name: str | None,
    rules: HazardRules,
    form: str | None = None,
) -> Inputs:
    """Return what is known of product, pipe and vessel.

    Parameters
    ----------
    station : Station
        Whose pipe and vessel it is.
    product : Product or None
        As the site file has it.
    product_name : str or None
        As ticket or site file call it: looked up in the table of substances for what the site file
        leaves out, unless the product names its substance.
    rules : HazardRules
        Of the site.
    form : str, optional
        Name of one form of the streaming current, or ``spread`` for all; left out, as ``rules``
        say.

    Raises
    ------
    ValueError
        If there is no such form.
    """
    substance = tabled(product, product_name)
    phase = _phase(station, product, substance)
    return Inputs(
        phase=phase,
        conductivity_pS_m=_of_product(product, substance, "conductivity_pS_m", "pS/m"),
        relative_permittivity=_of_product(product, substance, "relative_permittivity", ""),
        charge_uC_kg=_charge(station, product),
        mie_mJ=_mie(product, substance),
        pipe_diameter_m=_of_station(station.pipe_diameter_m, "m"),
        pipe_length_m=_of_station(station.pipe_length_m, "m"),
        filter_charge_uC_m3=_of_station(station.filter_charge_uC_m3, "uC/m3"),
        forms=_forms(form or rules.streaming_form),
        capacitance_pF=_of_station(station.capacitance_pF, "pF") or CAPACITANCES[station.kind],
        leakage_ohm=_leakage(station, rules),
    )


def tabled(product: Product | None, product_name: str | None) -> Substance | None:
    """Return what the table of substances has of a product, unless it is of another phase.

    A gas goes for any: the site file says as what it is handled.
    """
    name = product.substance if product and product.substance else product_name
    found = None if name is None else find(name)
    if found is None or product is None or found.phase in ("gas", product.phase):
        return found
    return None


def _phase(station: Station, product: Product | None, substance: Substance | None) -> Phase | None:
    if product is not None:
        return product.phase
    if substance is not None:
        return substance.phase
    unit = station.volume_unit or station.rated_unit
    return None if unit is None else "liquid" if unit == "L" else "powder"


def _of_product(
    product: Product | None, substance: Substance | None, name: str, unit: str
) -> Spread | None:
    value = getattr(product, name, None)
    if product is not None and value is not None:
        source = f"{_SITE_FILE}: {product.source}" if product.source else _SITE_FILE
        return Spread.of(value, unit, source)
    found: Spread | None = getattr(substance, name, None)
    return found


def _mie(product: Product | None, substance: Substance | None) -> Spread | None:
    """Return the ignition energy; where it is a range, with what each level takes of it."""
    found = _of_product(product, substance, "mie_mJ", "mJ")
    if found is None or found.low == found.high:
        return found
    ends = f"the low level takes {found.high:g}, typical {found.typical:g}, high {found.low:g} mJ"
    return replace(found, source=f"{found.source}; {ends}")


def _of_station(value: float | None, unit: str) -> Spread | None:
    return None if value is None else Spread.of(value, unit, _SITE_FILE)


def _charge(station: Station, product: Product | None) -> Spread | None:
    own = _of_product(product, None, "charge_uC_kg", "uC/kg")
    return OPERATIONS[station.operation] if own is None and station.operation else own


def _forms(name: str) -> Mapping[Level, str]:
    if name == SPREAD:
        by_size = sorted(FORMS, key=lambda form: FORMS[form].coefficient)
        return {Level.LOW: by_size[0], Level.TYPICAL: MIDDLE_FORM, Level.HIGH: by_size[-1]}
    if name not in FORMS:
        known = ", ".join((SPREAD, *FORMS))
        raise ValueError(f"form must be one of {known}, got {name!r}")
    return dict.fromkeys(Level, name)


def _leakage(station: Station, rules: HazardRules) -> Spread:
    low = station.limits.open_ohm
    typical = max(low, rules.leakage_typical_ohm)
    high = max(typical, rules.leakage_high_ohm or math.inf)
    by_default = rules == HazardRules(streaming_form=rules.streaming_form)
    source = OPEN_LEAKAGE.source if by_default else _SITE_FILE
    return Spread(low, typical, high, "ohm", f"low: open_ohm of the site file; else {source}")
