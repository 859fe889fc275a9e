"""The drawings of a package: what was recorded, and what the charge could have been.

They are drawn as those of a report are, and likewise the same values give the same bytes.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.ticker import NullLocator

from analytics.core.electrostatics.hazard import Course, Hazard
from analytics.core.electrostatics.spread import Level
from analytics.core.runs import Contact, Timeline
from analytics.core.spans import Spans
from analytics.evidence.words import digits, ohms
from analytics.replay.replayed import Replay
from analytics.reports.charts import ABNORMAL, FAINT, INK, LINE, WIDTH_IN, style, svg
from bondtrail.results import Finding, Severity
from bondtrail.samples import Quality, Samples, TimeArray, ValueArray
from bondtrail.site import Limits, Role
from bondtrail.times import NS_PER_S, local, nanoseconds

BINS = 1200
"""Of each only the first, last, least and greatest reading is drawn: more than a page shows."""
LEAST_OHM = 0.01
"""What is lower is drawn here: a log axis has no zero."""
OPEN_ABOVE = 4.0
"""Open circuit is drawn so many times above the least resistance that is open."""
LEAST_MJ = 1e-6
"""Where the axis of the energy begins: what is less is told as less than this."""
_NOTHING_MJ = 1e-300

_DASHED: Any = (0, (4, 2))
_DOTTED: Any = (0, (2, 2))
_IGNITION: Any = (0, (7, 2, 1, 2))
_HATCH = "////"
_SHAPES = {Severity.CRITICAL: "D", Severity.MAJOR: "^", Severity.MINOR: "o"}
"""As the signs of the page: a finding is known by its shape, and not by colour alone."""
_MOST_DECADES = 6
"""Named on an axis."""

_NEVER_NS = 2**62
_STEPS_S = (1, 2, 5, 10, 30, 60, 120, 300, 600, 1800, 3600, 7200, 21600, 43200, 86400, 172800)
_TICKS = 8


def drawings(replay: Replay, shown: tuple[int, int]) -> dict[str, bytes]:
    """Return the drawings of a replay over a span, as SVG by name. [ns]"""
    drawn = {"record": _record(replay, shown)}
    if isinstance(replay.hazard, Hazard):
        drawn["hazard"] = _hazard(replay.hazard, replay, shown)
    return drawn


@dataclass(frozen=True, slots=True)
class _Panel:
    """One of the plots above each other: its height, what draws it, and its key."""

    height_in: float
    draw: Callable[[Axes], None]
    key: Sequence[Artist] = ()
    """What its looks mean, each with a label."""


def _record(replay: Replay, shown: tuple[int, int]) -> bytes:
    lanes = _lanes(replay)
    panels = [_Panel(0.18 * len(lanes) + 0.15, lambda axes: _draw_lanes(axes, lanes), _LANE_KEY)]
    if Role.RESISTANCE in replay.station.points:
        panels.insert(0, _Panel(2.0, lambda axes: _draw_resistance(axes, replay), _LINE_KEY))
    if Role.FLOW in replay.station.points:
        panels.append(_Panel(1.3, lambda axes: _draw_flow(axes, replay)))
    label = (
        f"What was recorded at {replay.station.id}: "
        "resistance with its limits, contacts, flow and findings over site time."
    )
    return _drawn("record", label, panels, replay, shown)


_LINE_KEY = (
    Line2D([], [], color=INK, linewidth=0.8, label="reading"),
    Line2D([], [], color=LINE, linewidth=0.9, linestyle=_DASHED, label="limit"),
)
_LANE_KEY = (
    Patch(facecolor=LINE, label="is so"),
    Patch(facecolor="none", edgecolor=LINE, linewidth=0.4, hatch=_HATCH, label="not known"),
)


def _hazard(hazard: Hazard, replay: Replay, shown: tuple[int, int]) -> bytes:
    label = (
        "The energy that could have been stored on the vessel, low, typical and high, beside the "
        "minimum ignition energy. An estimate; it never says that anything was safe."
    )
    panels = [_Panel(2.4, lambda axes: _draw_energy(axes, hazard), _energy_key(hazard))]
    return _drawn("hazard", label, panels, replay, shown)


def _drawn(
    name: str, label: str, panels: Sequence[_Panel], replay: Replay, shown: tuple[int, int]
) -> bytes:
    heights = [panel.height_in for panel in panels]
    with style():
        figure = Figure(figsize=(WIDTH_IN, sum(heights) + 0.8), layout="constrained")
        grid: Any = figure.subplots(
            len(panels), 1, sharex=True, squeeze=False, gridspec_kw={"height_ratios": heights}
        )
        for axes, panel in zip(grid[:, 0], panels, strict=True):
            axes.grid(color=FAINT, linewidth=0.4)
            axes.set_axisbelow(True)
            panel.draw(axes)
            _shade_findings(axes, replay)
        _mark_findings(grid[0, 0], replay, shown)
        _explain(figure, [*(part for panel in panels for part in panel.key), *_key(replay, shown)])
        _clock(grid[-1, 0], shown, replay.site.zone)
        text = str(svg(figure, name, label))
    return f'<?xml version="1.0" encoding="utf-8"?>\n{text}'.encode()


def _at(moments: TimeArray) -> ValueArray:
    """Return moments as the axis has them: whole and fractional seconds since 1970."""
    told: ValueArray = moments / NS_PER_S
    return told


def _clock(axes: Axes, shown: tuple[int, int], zone: ZoneInfo) -> None:
    """Put the site's clock below the last plot."""
    span_s = (shown[1] - shown[0]) / NS_PER_S
    step = next((each for each in _STEPS_S if span_s / each <= _TICKS), _STEPS_S[-1])
    offset = local(shown[0], zone).utcoffset()
    shift = int(offset.total_seconds()) if offset is not None else 0
    first = -(-(shown[0] // NS_PER_S + shift) // step) * step - shift
    ticks = list(range(first, shown[1] // NS_PER_S + 1, step))
    form = "%H:%M:%S" if step % 60 else "%H:%M"
    axes.set_xticks(ticks, [f"{local(tick * NS_PER_S, zone):{form}}" for tick in ticks])
    axes.set_xlim(shown[0] / NS_PER_S, shown[1] / NS_PER_S)
    axes.set_xlabel(f"{local(shown[0], zone):%Y-%m-%d}, {zone.key}")


def _shade_findings(axes: Axes, replay: Replay) -> None:
    for finding in replay.findings:
        start, end = finding.start / NS_PER_S, finding.end / NS_PER_S
        axes.axvspan(start, max(end, start), color=ABNORMAL, alpha=0.12, linewidth=0)
        axes.axvline(start, color=ABNORMAL, linewidth=0.8, linestyle=_DOTTED)


def _mark_findings(axes: Axes, replay: Replay, shown: tuple[int, int]) -> None:
    """Put the sign of its severity above where each finding begins.

    One that began before is not marked: nothing holds a sign back at the edge of the plot, and
    what lies far beyond it would leave no room for the plot itself.
    """
    above: Any = {"transform": axes.get_xaxis_transform(), "clip_on": False, "zorder": 5}
    for finding in _beginning(replay, shown):
        axes.plot([finding.start / NS_PER_S], [1.0], **_sign(finding.severity), **above)


def _beginning(replay: Replay, shown: tuple[int, int]) -> Iterator[Finding]:
    return (each for each in replay.findings if shown[0] <= each.start < shown[1])


def _sign(severity: Severity) -> dict[str, Any]:
    shape = _SHAPES[severity]
    return {"marker": shape, "markersize": 4.5, "color": ABNORMAL, "linestyle": "none"}


def _key(replay: Replay, shown: tuple[int, int]) -> Iterator[Artist]:
    """Yield what marks findings, as far as there are any."""
    present = {finding.severity for finding in _beginning(replay, shown)}
    for severity in (each for each in _SHAPES if each in present):
        yield Line2D([], [], **_sign(severity), label=f"{severity} finding begins")
    if replay.findings:
        yield Patch(facecolor=ABNORMAL, alpha=0.25, label="finding lasts")


def _explain(figure: Figure, key: Sequence[Artist]) -> None:
    figure.legend(
        handles=list(key),
        loc="outside upper left",
        ncols=4,
        fontsize=7,
        frameon=False,
        borderpad=0.2,
        columnspacing=1.6,
    )


def thinned(samples: Samples, bins: int = BINS) -> Samples:
    """Return so many readings as a drawing can show, with every extreme among them."""
    if len(samples) <= 4 * bins:
        return samples
    edges = np.linspace(samples.time[0], samples.time[-1] + 1, bins + 1).astype(np.int64)
    cuts = np.unique(np.searchsorted(samples.time, edges))
    kept: list[int] = []
    for low, high in zip(cuts[:-1].tolist(), cuts[1:].tolist(), strict=True):
        part = samples.value[low:high]
        kept += [low, low + int(part.argmin()), low + int(part.argmax()), high - 1]
    index = np.unique(kept)
    return Samples(samples.time[index], samples.value[index], samples.quality[index])


def _lines(samples: Samples, stale_ns: int) -> tuple[ValueArray, ValueArray]:
    """Return times and values to draw as steps: a gap where a reading no longer holds."""
    shown = thinned(samples)
    value = np.where(shown.quality == int(Quality.BAD), np.nan, shown.value)
    following = np.searchsorted(samples.time, shown.time, side="right")
    until = np.append(samples.time, _NEVER_NS)[following]
    last = np.flatnonzero(until - shown.time > stale_ns)
    time = np.insert(shown.time, last + 1, shown.time[last] + stale_ns)
    return _at(time), np.insert(value, last + 1, np.nan)


def _samples(replay: Replay, role: Role) -> tuple[ValueArray, ValueArray]:
    stale = nanoseconds(replay.station.points[role].stale_after_s)
    return _lines(replay.signals[role], stale)


def _log_axis(axes: Axes, least: float, greatest: float) -> list[float]:
    """Make the axis one of decades from ``least`` to ``greatest``; return those to be named."""
    axes.set_yscale("log")
    axes.yaxis.set_minor_locator(NullLocator())
    first, last = math.ceil(math.log10(least) - 1e-9), math.floor(math.log10(greatest) + 1e-9)
    step = max(1, -(-(last - first + 1) // _MOST_DECADES))
    axes.set_ylim(least, greatest)
    return [10.0**power for power in range(first, last + 1, step)]


def _draw_resistance(axes: Axes, replay: Replay) -> None:
    """Draw resistance, open circuit at a level of its own on top, the limits named beside it."""
    limits = replay.station.limits
    time, ohm = _samples(replay, Role.RESISTANCE)
    least, top = _ends(ohm, limits)
    level = np.where(ohm >= limits.open_ohm, top, np.maximum(ohm, least))
    level[np.isnan(ohm)] = np.nan
    named = _log_axis(axes, least, OPEN_ABOVE**0.5 * top)
    named = [each for each in named if each < limits.open_ohm]
    axes.set_yticks([*named, top], [*map(ohms, named), "open"])
    axes.step(time, level, where="post", color=INK, linewidth=0.8)
    for value, name, side in (
        (limits.limit_ohm, "limit", "top"),
        (limits.open_ohm, "open from", "bottom"),
    ):
        axes.axhline(value, color=LINE, linewidth=0.9, linestyle=_DASHED)
        axes.annotate(
            f"{name}\n{ohms(value)}",
            (1, value),
            xycoords=("axes fraction", "data"),
            xytext=(3, 0),
            textcoords="offset points",
            va=side,
            fontsize=6.5,
            annotation_clip=False,
        )
    axes.set_ylabel("resistance, log axis")


def _ends(ohm: ValueArray, limits: Limits) -> tuple[float, float]:
    """Return the lowest level of the axis, and that of an open circuit. [ohm]"""
    seen = ohm[(ohm > 0) & (ohm < limits.open_ohm)]
    lowest = min(float(seen.min(initial=np.inf)), limits.limit_ohm / 10)
    floor = min(LEAST_OHM, limits.limit_ohm / 10)
    return max(10.0 ** math.floor(math.log10(lowest)), floor), OPEN_ABOVE * limits.open_ohm


def _draw_flow(axes: Axes, replay: Replay) -> None:
    time, rate = _samples(replay, Role.FLOW)
    axes.step(time, rate, where="post", color=INK, linewidth=0.8)
    axes.set_ylim(bottom=0)
    axes.set_ylabel(f"flow [{replay.station.volume_unit or ''}/min]")


@dataclass(frozen=True, slots=True)
class _Lane:
    """A row of bars: where something holds, and where it is not known."""

    name: str
    on: Spans
    unknown: Spans
    colour: str = LINE


def _lanes(replay: Replay) -> list[_Lane]:
    now = replay.now
    lanes = [_Lane("bond verified", now.verified, now.where(~now.bond_known))]
    told: list[tuple[str, Timeline | None, str]] = [
        ("permissive closed", now.permissive, LINE),
        ("bypass on", now.bypass if Role.BYPASS in replay.station.points else None, ABNORMAL),
        ("flow or running", now.flow if replay.station.tells_flow else None, LINE),
    ]
    lanes += [
        _Lane(name, line.where(Contact.ON), line.where(Contact.UNKNOWN), colour)
        for name, line, colour in told
        if line is not None
    ]
    return lanes


def _draw_lanes(axes: Axes, lanes: Sequence[_Lane]) -> None:
    for place, lane in enumerate(lanes):
        axes.broken_barh(list(_bars(lane.on)), (place - 0.3, 0.6), color=lane.colour)
        axes.broken_barh(
            list(_bars(lane.unknown)),
            (place - 0.3, 0.6),
            facecolor="none",
            edgecolor=LINE,
            hatch=_HATCH,
            linewidth=0.4,
        )
    axes.set_yticks(range(len(lanes)), [lane.name for lane in lanes])
    axes.set_ylim(len(lanes) - 0.5, -0.5)
    axes.grid(visible=False, axis="y")


def _bars(spans: Spans) -> Iterator[tuple[float, float]]:
    for start, end in spans.tolist():
        yield start / NS_PER_S, (end - start) / NS_PER_S


_LOOKS: Mapping[Level, Any] = {
    Level.LOW: {"color": INK, "linewidth": 0.8, "linestyle": (0, (1, 1.5))},
    Level.TYPICAL: {"color": INK, "linewidth": 1.3},
    Level.HIGH: {"color": INK, "linewidth": 0.8, "linestyle": _DASHED},
}


def _energy_key(hazard: Hazard) -> list[Artist]:
    key: list[Artist] = [Line2D([], [], **look, label=level) for level, look in _LOOKS.items()]
    if "mie_mJ" in hazard.inputs:
        look: Any = {"color": ABNORMAL, "linewidth": 0.9, "linestyle": _IGNITION}
        key.append(Line2D([], [], **look, label="minimum ignition energy"))
    return key


def _draw_energy(axes: Axes, hazard: Hazard) -> None:
    mie = hazard.inputs.get("mie_mJ")
    greatest = LEAST_MJ if mie is None else mie.high
    for level, look in _LOOKS.items():
        course = _thin_course(hazard.courses[level])
        # Not cut at the axis: then a decay between two moments keeps its slope.
        energy = np.maximum(course.value, _NOTHING_MJ)
        greatest = max(greatest, float(energy.max(initial=0.0)))
        axes.plot(_at(course.time), energy, **look)
    if mie is not None:
        axes.axhspan(mie.low, mie.high, color=ABNORMAL, alpha=0.25, linewidth=0)
        for ends in sorted({mie.low, mie.high}):
            axes.axhline(ends, color=ABNORMAL, linewidth=0.9, linestyle=_IGNITION)
    named = _log_axis(axes, LEAST_MJ, 10 * greatest)
    axes.set_yticks(named, [digits(each) for each in named])
    axes.set_ylabel("energy on the vessel [mJ], log axis")


def _thin_course(course: Course) -> Samples:
    return thinned(Samples.of(course.time, course.energy_mJ))
