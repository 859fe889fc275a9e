"""What a bond does, event by event: contact, low, verified, lost, off, and what is not known."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from analytics.core.bond import Bond, not_low
from analytics.core.drafts import Draft, Scene
from analytics.core.events import Basis, What
from analytics.core.hookups import NEVER, contacts
from analytics.core.runs import Timeline, last_known
from analytics.core.silences import Told
from analytics.core.spans import Spans
from analytics.core.wording import resistance
from bondtrail.samples import Samples, Status
from bondtrail.site import Role
from bondtrail.times import nanoseconds


def bond_events(scene: Scene) -> Iterator[Draft]:
    """Yield the changes of the bond, those that make no other verified or off last."""
    yield from _changes(scene)
    yield from _verified(scene)
    yield from _clamp_off(scene)
    yield from _faults(scene)


def _changes(scene: Scene) -> Iterator[Draft]:
    bond, role = scene.now.bond, scene.station.bond_role
    known_before = last_known(bond, Bond.UNKNOWN).tolist()
    edges, states = bond.edges.tolist(), bond.state.tolist()
    since = scene.since_each(role, bond)
    readings = _readings(scene, bond)
    losses = _excursions(scene)
    for k in range(1, len(states)):
        moment, state = edges[k], Bond(states[k])
        if state is Bond.UNKNOWN:
            why = f"{scene.why_unknown(role, moment)}, " if role else ""
            detail = f"{why}{scene.lasting(moment, edges[k + 1])}"
            yield Draft(moment, What.BOND_UNKNOWN, detail, role, since[k], Basis.MISSING)
            continue
        if states[k - 1] == Bond.UNKNOWN:
            beside = f", {readings[k]}" if readings[k] else ""
            said = f"{state.name.lower()}{beside}"
            yield Draft(moment, What.BOND_KNOWN, said, role, since[k])
        for what in _turns(Bond(known_before[k]), state):
            detail = readings[k]
            if what is What.BOND_LOST:
                detail = losses[moment]
            elif what is What.CIRCUIT_OPEN:
                detail = scene.lasting(moment, edges[k + 1])
            yield Draft(moment, what, detail, role, since[k])


def _turns(known: Bond, state: Bond) -> Iterator[What]:
    """Yield what a change from the last known state to another says."""
    if known is Bond.LOW and state is not Bond.LOW:
        yield What.BOND_LOST
    if known is Bond.HIGH and state is Bond.OPEN:
        yield What.CIRCUIT_OPEN
    if known is Bond.OPEN and state is not Bond.OPEN:
        yield What.CONTACT
    if known in (Bond.HIGH, Bond.OPEN) and state is Bond.LOW:
        yield What.BOND_LOW


def _readings(scene: Scene, bond: Timeline) -> list[str]:
    """Return the resistance at the start of each run, in words; empty where none is told."""
    samples = scene.signals.get(Role.RESISTANCE)
    if scene.station.bond_role is not Role.RESISTANCE or samples is None or not len(samples):
        return [""] * bond.state.size
    at = samples.time.searchsorted(bond.edges[:-1], side="right") - 1
    values = samples.value[np.maximum(at, 0)].tolist()
    return [ohms(value) if k >= 0 else "" for k, value in zip(at.tolist(), values, strict=True)]


def _excursions(scene: Scene) -> dict[int, str]:
    """Return what each stretch without a low bond was like, by its start. [ns]"""
    spans = not_low(scene.now.bond)
    lasting = [scene.lasting(start, end) for start, end in spans.tolist()]
    samples = scene.signals.get(Role.RESISTANCE)
    if scene.station.bond_role is not Role.RESISTANCE or samples is None or not len(samples):
        said: Sequence[str] = ["open"] * len(spans)
    else:
        lows, highs = extremes(samples, spans)
        said = [_between(low, high) for low, high in zip(lows, highs, strict=True)]
    starts = spans[:, 0].tolist()
    return {start: f"{how}, {long}" for start, how, long in zip(starts, said, lasting, strict=True)}


def extremes(samples: Samples, spans: Spans) -> tuple[list[float], list[float]]:
    """Return the lowest and the highest value in force in each of some known spans.

    Parameters
    ----------
    samples : Samples
        At least one; one of them in force at the start of each span.
    spans : ndarray of int64, shape (n, 2)
        Sorted and disjoint. [ns]
    """
    if not len(spans):
        return [], []
    first = np.maximum(samples.time.searchsorted(spans[:, 0], side="right") - 1, 0)
    beyond = np.maximum(samples.time.searchsorted(spans[:, 1], side="left"), first + 1)
    places = np.column_stack((first, beyond)).ravel()
    values = np.append(samples.value, samples.value[-1])  # so that the end is a place too
    lows = np.minimum.reduceat(values, places)[::2]
    highs = np.maximum.reduceat(values, places)[::2]
    return lows.tolist(), highs.tolist()


def _between(low: float, high: float) -> str:
    first, last = ohms(low), ohms(high)
    return first if first == last else f"{first} to {last}"


def ohms(value: float) -> str:
    """Return a resistance in words. [ohm]"""
    return "open circuit" if np.isinf(value) else resistance(value, 3)


def _verified(scene: Scene) -> Iterator[Draft]:
    hold = nanoseconds(scene.station.limits.hold_s)
    role, spans = scene.station.bond_role, scene.now.verified
    low = Timeline(np.append(spans[:, 0] - hold, scene.span[1]), np.zeros(len(spans), np.uint8))
    for (begin, end), since in zip(spans.tolist(), scene.since_each(role, low), strict=True):
        if begin > scene.span[0]:
            earliest = None if since is None else min(since + hold, begin)
            lasting = scene.lasting(begin, end)
            yield Draft(begin, What.VERIFIED, lasting, role, earliest, Basis.INFERRED)


def _clamp_off(scene: Scene) -> Iterator[Draft]:
    if scene.station.is_fixed:
        return
    role, detach_ns = scene.station.bond_role, nanoseconds(scene.station.limits.detach_s)
    bond = scene.now.bond
    off = contacts(bond, detach_ns).off
    since = scene.since(role)
    for moment in off[off != NEVER].tolist():
        run = int(bond.edges.searchsorted(moment))
        told = scene.lasting(moment, int(bond.edges[run + 1]))
        if run and bond.state[run - 1] == Bond.UNKNOWN:
            told = "found open"
        yield Draft(moment, What.CLAMP_OFF, told, role, since(moment), Basis.INFERRED)


def _faults(scene: Scene) -> Iterator[Draft]:
    for begin, end in scene.now.where(scene.now.faulty).tolist():
        role, why = _fault_of(scene, begin)
        if begin > scene.span[0]:
            lasting = f"{why}, {scene.lasting(begin, end)}"
            yield Draft(begin, What.FAULT_ON, lasting, role, scene.since(role)(begin))
        if end < scene.span[1]:
            yield Draft(end, What.FAULT_OFF, "", role, scene.since(role)(end))


def _fault_of(scene: Scene, moment: int) -> tuple[Role | None, str]:
    """Return the point that shows a fault at a moment (ns), and how."""
    for role in (scene.station.bond_role, Role.STATUS):
        if role is None or role not in scene.told:
            continue
        if scene.told[role].sample(np.array([moment]))[0] == Told.BAD:
            return role, f"{role}: bad quality"
    if Role.STATUS in scene.told:
        return Role.STATUS, f"status: {Status.FAULT.name.lower()}"
    return scene.station.bond_role, "fault"
