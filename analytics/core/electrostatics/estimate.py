"""The hazard estimate of a span of a station: what the charge on its vessel could have been."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from analytics.core.electrostatics import liquid_notes, notes, pipe_notes
from analytics.core.electrostatics.beside_flow import Heard
from analytics.core.electrostatics.current import liquid_currents, powder_currents
from analytics.core.electrostatics.drive import Drive, Levels, drive, flow_unit
from analytics.core.electrostatics.hazard import Course, Figures, Hazard, NoEstimate
from analytics.core.electrostatics.inputs import OPPOSITE, Inputs, Phase, gather
from analytics.core.electrostatics.spread import Level, Spread
from analytics.core.electrostatics.streaming import velocity_m_s
from analytics.core.electrostatics.unseen import UNSEEN
from analytics.core.electrostatics.velocity import velocity_limit
from analytics.core.electrostatics.vessel import Charged, charged
from analytics.core.electrostatics.waiting import waiting_time
from analytics.core.situation import Signals, Situation
from bondtrail.samples import ValueArray
from bondtrail.site import HazardRules, Product, Role, Station
from bondtrail.times import nanoseconds

OPENING_S = 60.0
"""How much of the beginning of flow is told beside the limit for the start of filling."""

_UNITS = {"liquid": "L", "powder": "kg"}

_RATED: Mapping[Phase | None, str] = {
    "liquid": 'rated_flow = "800 L/min"',
    "powder": 'rated_flow = "30 kg/min"',
    None: 'rated_flow = "800 L/min" of a liquid, "30 kg/min" of a powder',
}


@dataclass(frozen=True, slots=True)
class _Pace:
    """How fast a liquid was in the pipe at its fastest, and might have been. [m/s]"""

    reached: Spread
    limit: Spread


def estimate(
    station: Station,
    product: Product | None,
    product_name: str | None,
    signals: Signals,
    now: Situation,
    span: tuple[int, int],
    rules: HazardRules,
    *,
    form: str | None = None,
    heard: Heard | None = None,
) -> Hazard | NoEstimate:
    """Return what the charge on a station's vessel could have been over a span.

    Parameters
    ----------
    station : Station
        Its points and limits, pipe and vessel.
    product : Product or None
        As the site file has it.
    product_name : str or None
        As ticket or site file call it; None where it is not on record.
    signals : mapping of Role to Samples
        Samples that hold into the span.
    now : Situation
        Of these signals, over at least the span.
    span : tuple of int
        Start and end. [ns]
    rules : HazardRules
        Of the site.
    form : str, optional
        Name of one form of the streaming current, or ``spread`` for all; left out, as ``rules``
        say.
    heard : mapping of Role to tuple of int, optional
        The first and the last reading of each point that are on record at all; left out, those of
        ``signals``. Flow that is unknown is supposed between them alone. [ns]

    Returns
    -------
    Hazard or NoEstimate
        The latter with reasons where flow, pipe or charge is not known at all. What else is not
        known widens the levels or leaves figures None, and a note says so.

    Raises
    ------
    ValueError
        If the span does not end after its start, or there is no such form.

    Notes
    -----
    The product's current charges the vessel's capacitance, and what is left of the bond leaks it:
    ``dV/dt = I/C - V/(R C)``, exact on each step of recorded resistance and flow. The low level
    takes whatever fits the record and makes the hazard least, the high level what makes it
    greatest. Every figure rises from low to high, but for the moment of the first crossing and the
    published limit of velocity, which fall.
    """
    if span[1] <= span[0]:
        raise ValueError(f"a span must end after its start, got {span[0]} to {span[1]}")
    inputs = gather(station, product, product_name, rules, form)
    driven = drive(station, signals, now, span, inputs.leakage_ohm, heard)
    reasons = _lacking(station, product_name or "the product", inputs, driven)
    if reasons or driven is None:
        return NoEstimate(reasons, UNSEEN)
    pace = _pace(station, inputs, driven.flow)
    currents = _currents(inputs, driven.flow)
    levels = {
        level: charged(
            level,
            driven.step_s,
            currents[level],
            driven.resistance_ohm[level],
            inputs.capacitance_pF,
            None if inputs.mie_mJ is None else inputs.mie_mJ.at(OPPOSITE[level]),
        )
        for level in Level
    }
    wait = _wait(station, inputs)
    unit = f"{flow_unit(station)}/min"
    said = (
        *notes.of_beginning(station, driven),
        *notes.of_unknown(station, driven, unit),
        *notes.of_product(product, product_name, inputs),
        *notes.of_bond(station, driven, inputs.leakage_ohm),
        *notes.of_criteria(station, driven),
        *notes.of_flow(station, driven, unit),
        *notes.of_current(currents, inputs),
        *(pipe_notes.of_pipe(inputs) if pace else ()),
        *notes.of_ignition(inputs, currents),
        *(_of_liquid(station, product, product_name, inputs, driven, pace) if pace else ()),
        *(liquid_notes.of_waiting(inputs, wait, _density(currents, driven)) if pace else ()),
        *notes.of_vessel(station, inputs.capacitance_pF, levels[Level.HIGH].peak_potential_V),
    )
    return Hazard(
        inputs={**dict(inputs.listed()), **_recorded(station, driven)},
        figures={level: _figures(level, levels[level], driven, inputs, pace) for level in Level},
        courses={
            level: Course(
                driven.edges,
                each.potential_V,
                each.charge_uC,
                each.energy_mJ,
                driven.resistance_ohm[level],
            )
            for level, each in levels.items()
        },
        conductivity_class=inputs.conductivity_class if pace else None,
        wait_s=wait,
        notes=said,
        unseen=UNSEEN,
    )


def _lacking(station: Station, name: str, inputs: Inputs, driven: Drive | None) -> tuple[str, ...]:
    """Return why there can be no estimate, and what would make one possible; none if it can."""
    table = f"[[station]] {station.id} of the site file"
    if inputs.phase == "gas":
        return (_gas(name),)
    reasons = []
    if driven is None:
        reasons.append(_no_flow(station, inputs.phase, table))
    elif inputs.phase is None:
        reasons.append(f"Nothing tells whether {name} is a liquid or a powder: name it in {table}.")
    elif _UNITS[inputs.phase] != flow_unit(station):
        reasons.append(
            f"Flow is in {flow_unit(station)}/min, but {name} is a {inputs.phase}: it has to be in"
            f" {_UNITS[inputs.phase]}/min."
        )
    if inputs.phase == "liquid" and inputs.pipe_diameter_m is None:
        reasons.append(
            "The bore of the pipe is not known, so neither is the velocity: add pipe_diameter_m to"
            f" {table}."
        )
    if inputs.phase == "powder" and inputs.charge_uC_kg is None:
        reasons.append(
            f"What charges {name} is not known: add operation to {table}, such as"
            ' operation = "pouring", or charge_uC_kg to the product.'
        )
    return tuple(reasons)


def _gas(name: str) -> str:
    return (
        f"{name} is a gas. A gas without drops or dust hardly charges (from memory); a wet or a"
        ' dirty one is not covered. Of a liquefied one, give [product] phase = "liquid" in the'
        " site file, with values of its own."
    )


def _no_flow(station: Station, phase: Phase | None, table: str) -> str:
    if Role.FLOW in station.points:
        return f"Nothing is known of flow in the span: {station.points[Role.FLOW].name} is silent."
    if Role.RUNNING in station.points:
        return (
            f"Flow is not measured: add what flows while it runs to {table}, such as"
            f" {_RATED[phase]}."
        )
    return "Neither flow nor running is recorded at this station."


def _currents(inputs: Inputs, flow: Levels) -> Levels:
    if inputs.pipe_diameter_m is not None and inputs.phase == "liquid":
        return liquid_currents(flow, inputs, inputs.pipe_diameter_m.typical)
    assert inputs.charge_uC_kg is not None
    return powder_currents(flow, inputs.charge_uC_kg)


def _pace(station: Station, inputs: Inputs, flow: Levels) -> _Pace | None:
    if inputs.phase != "liquid" or inputs.pipe_diameter_m is None:
        return None
    bore = inputs.pipe_diameter_m.typical
    low, typical, high = (float(velocity_m_s(float(flow[level].max()), bore)) for level in Level)
    return _Pace(
        Spread(low, typical, high, "m/s", "flow and bore"),
        velocity_limit(station.kind, bore, inputs.conductivity_class),
    )


def _of_liquid(
    station: Station,
    product: Product | None,
    product_name: str | None,
    inputs: Inputs,
    driven: Drive,
    pace: _Pace,
) -> Iterator[str]:
    opening = driven.opening(station.limits.flow_min, OPENING_S)
    if opening is not None and inputs.pipe_diameter_m is not None:
        opening = float(velocity_m_s(opening, inputs.pipe_diameter_m.typical))
    yield from liquid_notes.of_conductivity(product, product_name, inputs)
    yield from liquid_notes.of_velocity(inputs, pace.reached, pace.limit, opening)
    yield from liquid_notes.of_filter(inputs, pace.reached)


def _density(currents: Levels, driven: Drive) -> float:
    """Return the charge of a liquid at its greatest current, at the low level. [uC/m3]"""
    most = int(currents[Level.LOW].argmax())
    flow_m3_s = float(driven.flow[Level.LOW][most]) / 60_000
    return 1e6 * float(currents[Level.LOW][most]) / flow_m3_s if flow_m3_s else 0.0


def _wait(station: Station, inputs: Inputs) -> Spread:
    tau = inputs.relaxation_time_s if inputs.phase == "liquid" else None
    if tau is None:
        return waiting_time(station.kind)
    usual, worst = (waiting_time(station.kind, each) for each in (tau.typical, tau.high))
    return Spread(usual.low, usual.typical, worst.high, worst.unit, worst.source)


def _recorded(station: Station, driven: Drive) -> dict[str, Spread]:
    """Return what the record gives: the bond's resistance while it was one, the peak of flow."""
    low, typical, high = (float(driven.flow[level].max()) for level in Level)
    unit = f"{flow_unit(station)}/min"
    source = "rated flow of the site file" if driven.by_rating else "record"
    found = {"peak_flow": Spread(low, typical, high, unit, source)}
    bonded = driven.recorded_ohm < station.limits.open_ohm
    if bonded.any():
        ohm = driven.recorded_ohm[bonded]
        found["bond_resistance_ohm"] = Spread(
            float(ohm.min()),
            _median(ohm, driven.step_s[bonded]),
            float(ohm.max()),
            "ohm",
            "record: least, median over time and greatest below open_ohm",
        )
    return found


def _median(value: ValueArray, weight: ValueArray) -> float:
    """Return the value that half of the weight lies up to."""
    order = np.argsort(value)
    reached = np.cumsum(weight[order])
    return float(value[order][np.searchsorted(reached, reached[-1] / 2)])


def _figures(
    level: Level, found: Charged, driven: Drive, inputs: Inputs, pace: _Pace | None
) -> Figures:
    tau = inputs.relaxation_time_s if pace else None
    first = None
    if found.first is not None:
        step, after_s = found.first
        first = int(driven.edges[step]) + nanoseconds(after_s)
    mie = inputs.mie_mJ
    return Figures(
        peak_potential_V=found.peak_potential_V,
        peak_charge_uC=found.peak_charge_uC,
        peak_energy_mJ=found.peak_energy_mJ,
        mie_ratio=None if mie is None else found.peak_energy_mJ / mie.at(OPPOSITE[level]),
        first_over_mie=first,
        seconds_over_mie=found.seconds,
        relaxation_time_s=None if tau is None else tau.at(level),
        velocity_m_s=None if pace is None else pace.reached.at(level),
        velocity_limit_m_s=None if pace is None else pace.limit.at(OPPOSITE[level]),
    )
