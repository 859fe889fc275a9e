"""What the charge could have been, in words: figures, inputs with sources, and what is not seen."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from dash import html

from analytics.core.electrostatics.hazard import Figures, Hazard, NoEstimate
from analytics.core.electrostatics.inputs import CALLED, taken
from analytics.core.electrostatics.spread import Level, Spread
from analytics.replay.objects import unseen
from dashboard.figures.steps import Clock
from dashboard.figures.wording import duration, ohms, significant, words
from dashboard.parts import aria, sheet

TITLE = "What the charge could have been"

NEVER = (
    "An estimate of the potential of the vessel, were it joined to ground by the recorded "
    "resistance alone; from published formulas, low, typical and high by their spread. It ranks "
    "and explains. It never says that anything was safe."
)

NEXT_TO_NOTHING = 1e-6
"""Less than this is told as less than this, in any unit."""

Told = Callable[[Any], str]


def hazard_part(hazard: Hazard | NoEstimate, clock: Clock) -> html.Section:
    """Return the estimate with all that belongs beside its figures, or why there is none."""
    if isinstance(hazard, Hazard):
        told = [_figures(hazard, clock), *_beside(hazard), *_listed("Notes", hazard.notes)]
        inputs = [html.H3("Inputs and their sources"), _inputs(hazard.inputs)]
    else:
        told, inputs = _listed("There is no estimate", hazard.reasons), []
    blind = _listed("What this cannot see", unseen(hazard))
    return sheet(TITLE, html.P(NEVER), *told, *blind, *inputs, id="transfer-hazard")


def _listed(title: str, sentences: Sequence[str]) -> list[Any]:
    if not sentences:
        return []
    items = [html.Li(sentence) for sentence in sentences]
    return [html.H3(title), html.Ul(items, className="plain")]


def _figures(hazard: Hazard, clock: Clock) -> html.Div:
    def moment(time: int) -> str:
        return clock.text(time, "%H:%M:%S.%L")

    rows: list[tuple[str, str, Told]] = [
        ("Peak potential", "peak_potential_V", _in("V")),
        ("Peak charge", "peak_charge_uC", _in("uC")),
        ("Peak energy", "peak_energy_mJ", _in("mJ")),
        ("Peak energy over what ignites", "mie_ratio", _in("times")),
        ("First at what ignites", "first_over_mie", moment),
        ("Time at or over what ignites", "seconds_over_mie", duration),
    ]
    if "charge_uC_kg" not in hazard.inputs:  # a powder neither relaxes nor runs as a liquid does
        rows += [
            ("Relaxation time", "relaxation_time_s", _in("s")),
            ("Greatest velocity in the pipe", "velocity_m_s", _in("m/s")),
            ("Published limit of velocity", "velocity_limit_m_s", _in("m/s")),
        ]
    head = html.Tr([html.Th(""), *(html.Th(str(level), className="figure") for level in Level)])
    body = [
        html.Tr(
            [
                html.Th(title, scope="row"),
                *(_cell(hazard, level, name, told) for level in Level),
            ]
        )
        for title, name, told in rows
    ]
    return _table("Figures of the estimate", head, body)


def _cell(hazard: Hazard, level: Level, name: str, told: Told) -> html.Td:
    """Return one figure, marked where it is at or over what ignites, or above a published limit."""
    said = _told(hazard.figures[level], name, told)
    if not _is_abnormal(hazard, level, name):
        return html.Td(said, className="figure")
    return html.Td(f"! {said}", className="figure is-abnormal")


def _is_abnormal(hazard: Hazard, level: Level, name: str) -> bool:
    figures = hazard.figures[level]
    if name == "mie_ratio":
        return figures.mie_ratio is not None and figures.mie_ratio >= 1
    if name != "velocity_m_s" or figures.velocity_m_s is None:
        return False
    return figures.velocity_m_s > hazard.strictest_limit_m_s


def _told(figures: Figures, name: str, told: Told) -> str:
    value = getattr(figures, name)
    if value is not None:
        return told(value)
    is_never = name == "first_over_mie" and figures.mie_ratio is not None
    return "never reached" if is_never else "not known"


def _in(unit: str) -> Told:
    def told(value: float) -> str:
        if 0 <= value < NEXT_TO_NOTHING:
            return f"below {significant(NEXT_TO_NOTHING)} {unit}"
        return f"{significant(value)} {unit}"

    return told


def _table(title: str, head: html.Tr, body: list[html.Tr]) -> html.Div:
    table = html.Table([html.Thead(head), html.Tbody(body)], className="plain-table")
    return html.Div(table, className="scrolls", tabIndex="0", role="group", **aria(title))


def _beside(hazard: Hazard) -> list[html.P]:
    """Return the class of conductivity and the wait, as far as they are told."""
    said = []
    if hazard.conductivity_class is not None:
        said.append(f"Conductivity class: {hazard.conductivity_class}.")
    if (wait := hazard.wait_s) is not None:
        text = f"Wait after flow before unclamping, opening or sampling: {_spread(wait)}"
        said.append(f"{text}. Source: {wait.source}")
    return [html.P(text, className="note") for text in said]


HEADS = ("Input", "Least", "Usual", "Greatest", "Levels take", "Source")


def _inputs(inputs: Mapping[str, Spread]) -> html.Div:
    head = html.Tr([html.Th(title) for title in HEADS])
    body = [
        html.Tr(
            [
                html.Th(CALLED.get(name, words(name)).capitalize(), scope="row"),
                *_values(spread),
                html.Td(_taken(name, spread)),
                html.Td(spread.source, className="source"),
            ]
        )
        for name, spread in inputs.items()
    ]
    return _table("Inputs of the estimate", head, body)


def _values(spread: Spread) -> list[html.Td]:
    """Return the values of an input in rising order, which is not always that of the levels."""
    if spread.low == spread.high:
        one = html.Td(_with_unit(spread.typical, spread.unit), className="value")
        return [html.Td(""), one, html.Td("")]
    return [
        html.Td(_with_unit(value, spread.unit), className="value")
        for value in (spread.low, spread.typical, spread.high)
    ]


def _taken(name: str, spread: Spread) -> str:
    """Return which value of an input each level of the estimate takes."""
    levels = taken(name, spread)
    if levels is None:
        return "what fits each figure"
    if spread.low == spread.high:
        return "the one value"
    took = [levels[level] for level in Level]
    if took == [spread.low, spread.typical, spread.high]:
        return "low the least, high the greatest"
    if took == [spread.high, spread.typical, spread.low]:
        return "low the greatest, high the least"
    return ", ".join(f"{level} {_with_unit(value, spread.unit)}" for level, value in levels.items())


def _spread(spread: Spread) -> str:
    """Return one value, or the typical one with the ends of its spread."""
    typical = _with_unit(spread.typical, spread.unit)
    if spread.low == spread.high:
        return typical
    low, high = (_with_unit(value, spread.unit) for value in (spread.low, spread.high))
    return f"{typical} ({low} to {high})"


def _with_unit(value: float, unit: str) -> str:
    if math.isinf(value):
        return "no end"
    if unit == "ohm":
        return ohms(value)
    number = f"{value:.3g}" if 0 < abs(value) < 1e-3 else significant(value, 3)
    return f"{number} {unit}".rstrip()
