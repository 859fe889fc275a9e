"""What a bond does, event by event: contact, low, verified, lost, off, and what is not known."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from analytics.core.bond import Bond, not_low
from analytics.core.bursts import Bursts, bursts
from analytics.core.drafts import Draft, Scene, at_least
from analytics.core.events import Basis, What
from analytics.core.hookups import NEVER, contacts
from analytics.core.runs import last_known
from analytics.core.silences import Told
from analytics.core.spans import Moments, Spans
from analytics.core.wording import duration, resistance
from bondtrail.samples import Samples, Status
from bondtrail.site import Role
from bondtrail.times import nanoseconds, seconds


def bond_events(scene: Scene) -> Iterator[Draft]:
    """Yield what the bond does; where it changes without rest, that it does so."""
    found = bursts(scene.now.bond)
    yield from _changes(scene, found)
    yield from scene.burst_drafts(scene.station.bond_role, found, _ranged(scene, found))
    yield from _verified(scene, found)
    yield from _clamp_off(scene, found)
    yield from _faults(scene)


def _ranged(scene: Scene, found: Bursts) -> list[str]:
    samples = _told_by_ohms(scene)
    if samples is None:
        return [""] * len(found.spans)
    return [f", {_between(*ends)}" for ends in zip(*extremes(samples, found.spans), strict=True)]


def _told_by_ohms(scene: Scene) -> Samples | None:
    """Return the readings of resistance where they tell the bond, or None."""
    samples = scene.signals.get(Role.RESISTANCE)
    if scene.station.bond_role is not Role.RESISTANCE or samples is None or not len(samples):
        return None
    return samples


def _changes(scene: Scene, found: Bursts) -> Iterator[Draft]:
    bond, role = scene.now.bond, scene.station.bond_role
    begins = bond.edges[:-1]
    shown = np.flatnonzero(~found.hide(begins))
    shown = shown[shown > 0]
    known_before = last_known(bond, Bond.UNKNOWN).tolist()
    edges, states = bond.edges.tolist(), bond.state.tolist()
    readings = _readings(scene, begins[shown])
    losses = _excursions(scene, found)
    since = scene.bond_since(begins[shown])
    for k, reading, earliest in zip(shown.tolist(), readings, since, strict=True):
        moment, state = edges[k], Bond(states[k])
        if state is Bond.UNKNOWN:
            why = f"{scene.why_unknown(role, moment)}, " if role else ""
            detail = f"{why}{scene.lasting(moment, edges[k + 1])}"
            yield Draft(moment, What.BOND_UNKNOWN, detail, role, earliest, Basis.MISSING)
            continue
        if states[k - 1] == Bond.UNKNOWN:
            beside = f", {reading}" if reading else ""
            said = f"{state.name.lower()}{beside}"
            yield Draft(moment, What.BOND_KNOWN, said, role, earliest)
        for what in _turns(Bond(known_before[k]), state):
            detail = reading
            if what is What.BOND_LOST:
                detail = losses[moment]
            elif what is What.CIRCUIT_OPEN:
                detail = scene.lasting(moment, edges[k + 1])
            yield Draft(moment, what, detail, role, earliest)


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


def _readings(scene: Scene, moments: Moments) -> list[str]:
    """Return the resistance at some moments, in words; empty where none is told."""
    samples = _told_by_ohms(scene)
    if samples is None:
        return [""] * moments.size
    at = samples.time.searchsorted(moments, side="right") - 1
    values = samples.value[np.maximum(at, 0)].tolist()
    return [ohms(value) if k >= 0 else "" for k, value in zip(at.tolist(), values, strict=True)]


def _excursions(scene: Scene, found: Bursts) -> dict[int, str]:
    """Return what each stretch without a low bond was like, by its start. [ns]"""
    spans = not_low(scene.now.bond)
    spans = spans[~found.hide(spans[:, 0])]
    lasting = [scene.lasting(start, end) for start, end in spans.tolist()]
    samples = _told_by_ohms(scene)
    if samples is None:
        said: Sequence[str] = ["open"] * len(spans)
    else:
        said = [_between(*ends) for ends in zip(*extremes(samples, spans), strict=True)]
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


def _verified(scene: Scene, found: Bursts) -> Iterator[Draft]:
    hold = nanoseconds(scene.station.limits.hold_s)
    role, spans = scene.station.bond_role, scene.now.verified
    spans = spans[(spans[:, 0] > scene.span[0]) & ~found.hide(spans[:, 0])]
    low_since = scene.bond_since(spans[:, 0] - hold)
    for (begin, end), since in zip(spans.tolist(), low_since, strict=True):
        earliest = None if since is None else min(since + hold, begin)
        lasting = scene.lasting(begin, end)
        yield Draft(begin, What.VERIFIED, lasting, role, earliest, Basis.INFERRED)


def _clamp_off(scene: Scene, found: Bursts) -> Iterator[Draft]:
    if scene.station.is_fixed:
        return
    role, bond = scene.station.bond_role, scene.now.bond
    off = contacts(bond, nanoseconds(scene.station.limits.detach_s)).off
    off = off[off != NEVER]
    off = off[~found.hide(off)]
    for moment, since in zip(off.tolist(), scene.bond_since(off), strict=True):
        run = int(bond.edges.searchsorted(moment))
        told = scene.lasting(moment, int(bond.edges[run + 1]))
        if run and bond.state[run - 1] == Bond.UNKNOWN:
            told = f"found open; {_hookup_ended(scene, run)}"
        yield Draft(moment, What.CLAMP_OFF, told, role, since, Basis.INFERRED)


def _hookup_ended(scene: Scene, run: int) -> str:
    """Return where the hookup ended that was over when a run of open was found."""
    began, found = scene.now.bond.edges[[run - 1, run]].tolist()
    ago = seconds(found - began)
    before = at_least(ago) if began <= scene.span[0] else duration(ago)
    return f"the hookup ended {before} before, where the bond became unknown"


def _faults(scene: Scene) -> Iterator[Draft]:
    spans = scene.now.where(scene.now.faulty)
    shown = [_fault_of(scene, begin) for begin in spans[:, 0].tolist()]
    # Once a point, not once a fault: each time all of its readings are looked at.
    told = {role: scene.since(role, spans.ravel()) for role in {role for role, _ in shown}}
    for k, ((begin, end), (role, why)) in enumerate(zip(spans.tolist(), shown, strict=True)):
        since, cleared = told[role][2 * k : 2 * k + 2]
        if begin > scene.span[0]:
            lasting = f"{why}, {scene.lasting(begin, end)}"
            yield Draft(begin, What.FAULT_ON, lasting, role, since)
        if end < scene.span[1]:
            yield Draft(end, What.FAULT_OFF, "", role, cleared)


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
