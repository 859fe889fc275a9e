"""What the player of a transfer reads at its cursor: each signal in words, moment by moment."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from analytics.core.bond import Bond
from analytics.core.electrostatics.hazard import Hazard, NoEstimate
from analytics.core.electrostatics.inputs import OPPOSITE
from analytics.core.electrostatics.spread import Level
from analytics.core.metering import Metering
from analytics.core.runs import Contact, Timeline
from analytics.core.situation import Situation
from analytics.core.spans import covers, distinct
from analytics.core.volumes import NS_PER_MINUTE
from analytics.replay import Replay
from bondtrail.samples import Quality, QualityArray, Samples, TimeArray, ValueArray
from bondtrail.site import Point, Role, Station
from bondtrail.times import NS_PER_MS, nanoseconds
from dashboard.figures.hazard import MIE, axis_ends, thinned
from dashboard.figures.wording import ohms
from dashboard.queries.charge import FLOOR_V
from dashboard.recorded import NOT_RECORDED
from dashboard.tracks import Curve, Packed, Track, one_text, pack_curve, pack_track

UNKNOWN, ABNORMAL = "unknown", "abnormal"
VOLUME_POINTS = 20_000
READ_BUCKETS = 5000
"""Finer than what is drawn: about four seconds each of six hours."""
FLOOR_MJ, FLOOR_RATIO = 1e-6, 1e-4
"""An energy below this, or below the axis on which it is drawn, is told as below that; likewise
its ratio to what ignites."""

_CONTACT = {int(Contact.OFF): "off", int(Contact.ON): "on", int(Contact.UNKNOWN): UNKNOWN}
_PERMISSIVE = {int(Contact.OFF): "open", int(Contact.ON): "closed", int(Contact.UNKNOWN): UNKNOWN}


def record(replay: Replay, hazard: Hazard | NoEstimate) -> Packed:
    """Return what the cursor of a replay reads, packed for the browser.

    Parameters
    ----------
    replay : Replay
        Of any span.
    hazard : Hazard or NoEstimate
        Its estimate, as closely followed as it is drawn.

    Returns
    -------
    dict
        ``base``: the start in ms since 1970, cut; ``length``: of the span in ms, rounded up;
        ``tracks`` and ``curves`` by name; ``events``: when they are told, in ms from the base on.
    """
    base = base_of(replay.start)
    curves = _volume(replay) | _estimated(hazard)
    return {
        "base": base // NS_PER_MS,
        "length": -((base - replay.end) // NS_PER_MS),
        "tracks": {name: pack_track(track, base) for name, track in _tracks(replay).items()},
        "curves": {name: pack_curve(curve, base) for name, curve in curves.items()},
        "events": [(event.time - base) // NS_PER_MS for event in replay.events],
    }


def base_of(start: int) -> int:
    """Return the whole millisecond in which a span starts, so that times are shown as cut. [ns]"""
    return start // NS_PER_MS * NS_PER_MS


def _tracks(replay: Replay) -> dict[str, Track]:
    station, now = replay.station, replay.now
    return {
        "bond": _bond(station, now),
        "resistance": _readings(replay, Role.RESISTANCE, _ohm_words, 3),
        "flow": _flow(replay),
        "permissive": _contact(now.permissive, _PERMISSIVE, Contact.OFF, ""),
        "bypass": _contact(
            now.bypass if Role.BYPASS in station.points else None, _CONTACT, Contact.ON, ABNORMAL
        ),
    }


def _bond(station: Station, now: Situation) -> Track:
    """Return the bond in words: its state, whether it is verified, and what is wrong with it.

    Before the clamp comes on an open circuit is as it should be: it is abnormal in flow, and of
    what has to stay bonded.
    """
    if station.bond_role is None:
        return one_text(NOT_RECORDED, UNKNOWN)
    begins = now.edges[:-1]
    state = np.where(now.is_verified, 4, now.bond.sample(begins).astype(np.int64))
    code = 4 * state + 2 * now.faulty + (now.flowing | station.is_fixed)
    words = ["low, not yet verified", "above the limit", "open circuit", UNKNOWN, "verified"]
    marks = ["", ABNORMAL, ABNORMAL, UNKNOWN, ""]
    texts, shown = [], []
    for number, (text, mark) in enumerate(zip(words, marks, strict=True)):
        silent = ": no fresh reading" if number == Bond.UNKNOWN else ""
        texts += [text + silent] * 2 + [f"{text}: monitor fault or bad data"] * 2
        shown += ["" if mark == ABNORMAL else mark, mark] + [mark or ABNORMAL] * 2
    return Track(begins, code, texts, shown)


def _contact(line: Timeline | None, words: dict[int, str], marked: Contact, mark: str) -> Track:
    if line is None:
        return one_text(NOT_RECORDED, UNKNOWN)
    marks = [mark if code == marked else "" for code in words]
    marks[int(Contact.UNKNOWN)] = UNKNOWN
    return Track(line.edges[:-1], line.state, list(words.values()), marks)


def _flow(replay: Replay) -> Track:
    station = replay.station
    if Role.FLOW not in station.points:
        known = replay.now.flow if station.tells_flow else None
        return _contact(known, _CONTACT, Contact.ON, "")
    unit = f"{station.volume_unit or ''}/min"
    return _readings(replay, Role.FLOW, lambda value: f"{value:,.4g} {unit}", 4)


def _readings(replay: Replay, role: Role, told: Callable[[float], str], digits: int) -> Track:
    """Return a measured point in words, under the step rule, with as many digits as are shown."""
    point = replay.station.points.get(role)
    if point is None:
        return one_text("not measured here", UNKNOWN)
    samples = replay.signals.get(role, Samples.empty())
    time, value, quality = _in_force(samples, point, replay.start, replay.end)
    rounded = _rounded(value, digits)
    rounded[quality == Quality.BAD] = np.nan
    levels, code = np.unique(rounded, return_inverse=True)
    unsure = quality == Quality.UNCERTAIN
    texts = [UNKNOWN if np.isnan(level) else told(float(level)) for level in levels]
    marks = [UNKNOWN if np.isnan(level) else "" for level in levels]
    if unsure.any():
        code = code + np.where(unsure, levels.size, 0)
        texts += [f"{text} (uncertain)" for text in texts]
        marks += [UNKNOWN] * levels.size
    return Track(time, code, texts, marks)


def _ohm_words(value: float) -> str:
    return "open circuit" if np.isinf(value) else ohms(value)


def _in_force(
    samples: Samples, point: Point, start: int, end: int
) -> tuple[TimeArray, ValueArray, QualityArray]:
    """Return the readings that hold in a span, and a bad one wherever one has gone stale."""
    stale = nanoseconds(point.stale_after_s)
    following = np.append(samples.time[1:], end)
    gone = np.flatnonzero(following - samples.time > stale)
    first = min([start, *samples.time[:1].tolist()])  # nothing is known before the first reading
    time = np.concatenate(([first], samples.time, samples.time[gone] + stale))
    value = np.concatenate(([np.nan], samples.value, np.full(gone.size, np.nan)))
    bad = np.full(gone.size + 1, Quality.BAD, np.uint8)
    quality = np.concatenate((bad[:1], samples.quality, bad[1:]))
    order = np.argsort(time, kind="stable")
    time, value, quality = time[order], value[order], quality[order]
    # What was read before the start holds at it: the latest of those.
    inside = slice(int(np.searchsorted(time, start, side="right")) - 1, np.searchsorted(time, end))
    return np.maximum(time[inside], start), value[inside], quality[inside]


def _rounded(value: ValueArray, digits: int) -> ValueArray:
    """Return values to so many digits; zero, infinity and NaN stay as they are."""
    plain = np.isfinite(value) & (value != 0)
    scale = np.ones_like(value)
    scale[plain] = 10.0 ** (digits - 1 - np.floor(np.log10(np.abs(value[plain]))))
    rounded = value.copy()
    rounded[plain] = np.round(value[plain] * scale[plain]) / scale[plain]
    return rounded


def _volume(replay: Replay) -> dict[str, Curve]:
    """Return what had flowed since the start of the transfer, or else of the span.

    As for the quantity of a transfer, what flowed while flow counts as off adds nothing, and nor
    does what is unknown: from then on it is the least that flowed.
    """
    point = replay.station.points.get(Role.FLOW)
    if point is None:
        return {}
    samples = replay.signals.get(Role.FLOW, Samples.empty())
    time, rate, quality = _in_force(samples, point, replay.start, replay.end)
    rate = np.where((quality == Quality.BAD) | ~np.isfinite(rate), 0.0, rate)
    flowing = replay.now.where(replay.now.flowing)
    begin, end = (
        (replay.transfer.start, replay.transfer.end)
        if replay.transfer
        else (replay.start, replay.end)
    )
    turns = np.concatenate((flowing.ravel(), [begin, end, replay.start, replay.end]))
    turns = distinct(np.clip(turns, replay.start, replay.end))
    edges = distinct(np.concatenate((time, turns)))
    at = edges[:-1]
    counted = covers(flowing, at) & (at >= begin) & (at < end)
    held = rate[np.searchsorted(time, at, side="right") - 1]
    grown = np.cumsum(np.where(counted, held, 0.0) * np.diff(edges)) / NS_PER_MINUTE
    edges, total = _fewer(edges, np.concatenate(([0.0], grown)), turns)
    unit = replay.station.volume_unit or ""
    least = _least(replay.metering, replay.end)
    return {"volume": Curve(edges, total, unit, decimals=1, least=least)}


def _least(metering: Metering | None, end: int) -> tuple[int, int] | None:
    """Return since when not all was measured, and until when nothing was; None if all was. [ns]"""
    if metering is None or metering.is_whole:
        return None
    since = min(int(spans[0, 0]) for spans in (metering.missed, metering.unsure) if len(spans))
    return since, int(metering.measured[0, 0]) if len(metering.measured) else end


def _fewer(time: TimeArray, value: ValueArray, turns: TimeArray) -> tuple[TimeArray, ValueArray]:
    """Return an even choice of the points of a sum, with those at which it turns."""
    if time.size <= VOLUME_POINTS:
        return time, value
    even = np.searchsorted(time, np.linspace(time[0], time[-1], VOLUME_POINTS))
    kept = np.unique(np.concatenate((even, np.searchsorted(time, turns))))
    return time[kept], value[kept]


def _estimated(hazard: Hazard | NoEstimate) -> dict[str, Curve]:
    """Return potential and energy of the vessel at each level, with the ratio to what ignites."""
    if not isinstance(hazard, Hazard):
        return {}
    mie = hazard.inputs.get(MIE)
    floor = max(axis_ends(hazard)[0], FLOOR_MJ)
    curves = {}
    for level in Level:
        course = hazard.courses[level]
        points = thinned(course.time, course.potential_V, FLOOR_V, READ_BUCKETS)
        curves[f"potential-{level}"] = Curve(*points, "V", floor=FLOOR_V)
        points = thinned(course.time, course.energy_mJ, floor, READ_BUCKETS)
        curves[f"energy-{level}"] = Curve(*points, "mJ", floor=floor, power=2)
        if mie is not None:
            ratio = points[1] / mie.at(OPPOSITE[level])
            curves[f"ratio-{level}"] = Curve(
                points[0], ratio, "", floor=FLOOR_RATIO, power=2, over=1.0
            )
    return curves
