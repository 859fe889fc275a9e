"""The hazard estimate as people read it: three levels, its inputs, and what it cannot see."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from typing import TYPE_CHECKING

from bondtrail.cli import figures, output
from bondtrail.cli.output import Column, bullets, length, say, site_clock
from bondtrail.times import NS_PER_S

if TYPE_CHECKING:
    from analytics.core.electrostatics.hazard import Figures, Hazard
    from analytics.core.electrostatics.spread import Spread
    from analytics.core.events import Event
    from analytics.replay import Replay

TITLE = "What the charge could have been"

RISING = (
    "Values stand in rising order, which is not that of the levels: the high figures take the least"
    " ignition energy, and of conductivity, permittivity and capacitance what is worst for each."
)

Line = tuple[str, list[str]]
"""What a row is about, and its cells at low, typical and high."""


def print_hazard(replay: Replay) -> None:
    """Print the estimate, or why there is none; what cannot be seen is told either way."""
    from analytics.core.electrostatics.hazard import Hazard
    from analytics.replay.objects import CAUTION, unseen

    hazard = replay.hazard
    if isinstance(hazard, Hazard):
        _print_estimate(hazard, replay)
    else:
        say(f"{TITLE}: no estimate", *bullets(hazard.reasons))
    say("", "What this cannot see", *bullets(unseen(hazard)))
    say("", "Caution", output.wrapped(CAUTION))


def _print_estimate(hazard: Hazard, replay: Replay) -> None:
    columns: list[Column[Line]] = [
        Column("Figure", lambda line: line[0]),
        Column("Low", lambda line: line[1][0], right=True),
        Column("Typical", lambda line: line[1][1], right=True),
        Column("High", lambda line: line[1][2], right=True),
    ]
    notes = bullets([*_judged(hazard, replay), *hazard.notes])
    output.print_table(TITLE, columns, _lines(hazard, replay), notes)
    say("")
    _print_inputs(hazard)


def _lines(hazard: Hazard, replay: Replay) -> Iterator[Line]:
    """Yield the figures, a row each; a powder neither relaxes nor runs in a pipe as a liquid."""
    levels = _levels(hazard)

    def row(head: str, cell: Callable[[Figures], str]) -> Line:
        return head, [cell(level) for level in levels]

    yield row("Peak potential, V", lambda level: _figure(level.peak_potential_V))
    yield row("Peak charge, uC", lambda level: _figure(level.peak_charge_uC))
    yield row("Peak energy, mJ", lambda level: _figure(level.peak_energy_mJ))
    yield row("  times the ignition energy", lambda level: _ratio(level.mie_ratio))
    yield row("  first reached it", lambda level: _crossed(level, replay))
    yield row("  for so long", lambda level: length(level.seconds_over_mie))
    if "charge_uC_kg" in hazard.inputs:
        return
    yield row("Relaxation time, s", lambda level: _figure(level.relaxation_time_s))
    strictest = hazard.strictest_limit_m_s
    yield row("Greatest velocity, m/s", lambda level: _marked(level.velocity_m_s, strictest))
    yield row("  its published limit, m/s", lambda level: _figure(level.velocity_limit_m_s))


def _levels(hazard: Hazard) -> list[Figures]:
    from analytics.core.electrostatics.spread import Level

    return [hazard.figures[level] for level in Level]


def _figure(value: float | None) -> str:
    if value is None:
        return "not known"
    return "no end" if math.isinf(value) else figures.rate(value)


def _ratio(value: float | None) -> str:
    sign = "! " if value is not None and value >= 1 else ""
    return f"{sign}{_figure(value)}"


def _marked(velocity: float | None, strictest: float) -> str:
    """Return a velocity, marked where it is above the strictest of the published limits."""
    sign = "! " if velocity is not None and velocity > strictest else ""
    return f"{sign}{_figure(velocity)}"


def _crossed(level: Figures, replay: Replay) -> str:
    if level.mie_ratio is None:
        return "not known"
    if level.first_over_mie is None:
        return "not reached"
    return site_clock(level.first_over_mie, replay.start, replay.site.zone)


def _judged(hazard: Hazard, replay: Replay) -> Iterator[str]:
    """Yield what the figures say beside the published classes and times."""
    if hazard.conductivity_class is not None:
        yield f"The conductivity of the liquid is {hazard.conductivity_class}."
    if hazard.wait_s is not None:
        yield _wait(hazard.wait_s, replay)


def _wait(wait: Spread, replay: Replay) -> str:
    """Return how long to wait after flow, and when the clamp came off."""
    told = f"Published waiting time after flow: {_spread(wait)} ({wait.source})."
    off = None if replay.transfer is None else _clamp_off(replay.events, replay.transfer.end)
    if replay.transfer is None or off is None:
        return told
    kept_s = (off - replay.transfer.end) / NS_PER_S
    return f"{told} The clamp came off {length(kept_s)} after the last flow: {_kept(kept_s, wait)}."


def _clamp_off(events: Iterable[Event], flow_off: int) -> int | None:
    """Return when the clamp that was on as flow ended came off; None where it was not seen. [ns]"""
    from analytics.core.events import What

    telling = (What.CLAMP_OFF, What.CONTACT)
    first = next((each for each in events if each.time >= flow_off and each.what in telling), None)
    return first.time if first is not None and first.what is What.CLAMP_OFF else None


def _kept(seconds: float, wait: Spread) -> str:
    if seconds < wait.typical:
        return "! sooner than that"
    return "! sooner than the longest of it" if seconds < wait.high else "not sooner"


def _spread(spread: Spread) -> str:
    typical = f"{_figure(spread.typical)} {spread.unit}"
    if spread.low == spread.high:
        return typical
    return f"{_figure(spread.low)} to {_figure(spread.high)} {spread.unit}, typically {typical}"


def _print_inputs(hazard: Hazard) -> None:
    columns: list[Column[tuple[str, Spread]]] = [
        Column("Made of", lambda row: figures.named(row[0], row[1].unit), wraps=True),
        Column("Least", lambda row: _input(row[1].low), right=True),
        Column("Usual", lambda row: _input(row[1].typical), right=True),
        Column("Greatest", lambda row: _input(row[1].high), right=True),
        Column("Source", lambda row: row[1].source, wraps=True),
    ]
    output.print_table(
        "What the estimate is made of", columns, hazard.inputs.items(), [output.wrapped(RISING)]
    )


def _input(value: float) -> str:
    return "no end" if math.isinf(value) else f"{value:.4g}"
