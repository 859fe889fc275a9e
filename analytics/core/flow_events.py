"""What flow and contacts do, event by event: on, settled, off, and what is not known."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from analytics.core.bursts import bursts
from analytics.core.drafts import Draft, Scene
from analytics.core.events import ABNORMAL, Basis, What
from analytics.core.plateaus import plateaus
from analytics.core.runs import Contact, Timeline, last_known
from analytics.core.silences import Told
from analytics.core.spans import Mask, Moments
from analytics.core.wording import duration
from bondtrail.samples import Samples
from bondtrail.site import Role
from bondtrail.times import seconds


@dataclass(frozen=True, slots=True)
class _Words:
    """What is said of a signal that is on or off, and how it is called where it is so."""

    on: What
    off: What
    unknown: What
    known: What
    is_on: str = "on"
    is_off: str = "off"


_PERMISSIVE = _Words(
    What.PERMISSIVE_CLOSED,
    What.PERMISSIVE_OPENED,
    What.PERMISSIVE_UNKNOWN,
    What.PERMISSIVE_KNOWN,
    "closed",
    "open",
)
_BYPASS = _Words(What.BYPASS_ON, What.BYPASS_OFF, What.BYPASS_UNKNOWN, What.BYPASS_KNOWN)
_FLOW = _Words(What.FLOW_ON, What.FLOW_OFF, What.FLOW_UNKNOWN, What.FLOW_KNOWN)


def contact_events(scene: Scene) -> Iterator[Draft]:
    """Yield the changes of permissive and bypass."""
    if scene.now.permissive is not None and Role.PERMISSIVE in scene.told:
        yield from _changes(scene, scene.now.permissive, _PERMISSIVE, [Role.PERMISSIVE])
    if Role.BYPASS in scene.told:
        yield from _changes(scene, scene.now.bypass, _BYPASS, [Role.BYPASS])


def flow_events(scene: Scene) -> Iterator[Draft]:
    """Yield when flow goes on and off, on what rate it settles, and where it is not known."""
    roles = [role for role in (Role.FLOW, Role.RUNNING) if role in scene.told]
    yield from _changes(scene, scene.now.flow, _FLOW, roles)
    if Role.FLOW not in scene.told:
        return
    flow = scene.signals.get(Role.FLOW, Samples.empty())
    runs = scene.now.flow.where(Contact.ON)
    begins = set(runs[:, 0].tolist())
    # Where one begins with its run, flow_on has told the rate.
    settled = [each for each in plateaus(flow, runs) if each.start not in begins]
    since = scene.since(Role.FLOW, np.array([each.start for each in settled], np.int64))
    for plateau, earliest in zip(settled, since, strict=True):
        detail = f"at about {_rate(scene, plateau.rate)}"
        yield Draft(plateau.start, What.FLOW_RATE, detail, Role.FLOW, earliest, Basis.INFERRED)


def silence_events(scene: Scene) -> Iterator[Draft]:
    """Yield where a point that others stand in for is silent or bad, and known again."""
    for role, line in scene.told.items():
        if _tells_alone(scene, role):
            continue
        since = scene.since(role, line.edges[:-1])
        edges, codes = line.edges.tolist(), line.state.tolist()
        for k in range(1, len(codes)):
            if codes[k] == Told.KNOWN:
                yield Draft(edges[k], What.HEARD, f"{role}", role, since[k])
                continue
            what = What.SILENT if codes[k] == Told.SILENT else What.BAD_QUALITY
            why = scene.why_unknown(role, edges[k])
            detail = f"{why}, {scene.lasting(edges[k], edges[k + 1])}"
            yield Draft(edges[k], what, detail, role, since[k], Basis.MISSING)


def _tells_alone(scene: Scene, role: Role) -> bool:
    """Return whether what a point does not tell is told of bond, flow or contact themselves."""
    if role in (Role.FLOW, Role.RUNNING):
        return not {Role.FLOW, Role.RUNNING} <= scene.told.keys()
    return role is scene.station.bond_role or role in (Role.PERMISSIVE, Role.BYPASS)


def _changes(scene: Scene, line: Timeline, words: _Words, roles: Sequence[Role]) -> Iterator[Draft]:
    """Yield the changes of a signal; one that comes back as it was is told as such.

    Where nothing was known of it before, nothing changed: it is told how it is.
    """
    found = bursts(line)
    known = last_known(line, Contact.UNKNOWN).tolist()
    edges, states = line.edges.tolist(), line.state.tolist()
    shown = _shown_by(scene, line, roles)
    since = {role: scene.since(role, line.edges[:-1]) for role in roles}
    beside = _beside_flow(scene, line) if words is _FLOW else [""] * len(states)
    hidden = found.hide(line.edges[:-1])
    for k in (np.flatnonzero(~hidden[1:]) + 1).tolist():
        role = shown[k]
        earliest = since[role][k] if role else None
        if states[k] == Contact.UNKNOWN:
            why = _untold(scene, sorted(roles, key=lambda each: each is not role), edges[k])
            detail = f"{why}{scene.lasting(edges[k], edges[k + 1])}"
            yield Draft(edges[k], words.unknown, detail, role, earliest, Basis.MISSING)
            continue
        what, how, since_before = _turn(words, states[k], known[k])
        said = [part for part in (how, beside[k], since_before) if part]
        yield Draft(edges[k], what, ", ".join(said), role, earliest)
    yield from scene.burst_drafts(next(iter(roles), None), found, [""] * len(found.spans))


def _turn(words: _Words, state: int, before: int) -> tuple[What, str, str]:
    """Return what a signal does, how it is if that is not said by it, and how it was before."""
    what, so = (words.on, words.is_on) if state == Contact.ON else (words.off, words.is_off)
    if before == state:
        return what, "", f"{so} as before"
    if before != Contact.UNKNOWN:
        return what, "", ""
    return (what, "", "not known before") if what in ABNORMAL else (words.known, so, "")


def _untold(scene: Scene, roles: Sequence[Role], moment: int) -> str:
    """Return why a signal is unknown at a moment (ns): what each of its points says, if any."""
    told = [
        f"{role}: off" if scene.tells(role, moment) else scene.why_unknown(role, moment)
        for role in roles
    ]
    return "".join(["; ".join(told), ", "] if told else [])


def _shown_by(scene: Scene, line: Timeline, roles: Sequence[Role]) -> list[Role | None]:
    """Return for each run the point that began it, by what it says or by its silence."""
    if len(roles) < 2:
        return [next(iter(roles), None)] * line.state.size
    first, second = (_turned(scene, role, line.edges[:-1]) for role in roles)
    return [roles[1] if other else roles[0] for other in (second & ~first).tolist()]


def _turned(scene: Scene, role: Role, moments: Moments) -> Mask:
    """Return at which moments what a point says of flow is not what it said just before. [ns]"""
    least = scene.station.limits.flow_min if role is Role.FLOW else 0.5
    before, after = (scene.values(role, at) for at in (moments - 1, moments))
    heard: Mask = np.isnan(before) != np.isnan(after)
    turned: Mask = heard | ((before >= least) != (after >= least))
    return turned


def _beside_flow(scene: Scene, line: Timeline) -> list[str]:
    """Return what is said at the start of each run of flow: the rate, or for how long it ran."""
    rates = scene.values(Role.FLOW, line.edges[:-1]).tolist()
    edges, states = line.edges.tolist(), line.state.tolist()
    said = []
    for k, state in enumerate(states):
        if state == Contact.ON:
            unmeasured = "rate not measured" if Role.FLOW in scene.station.points else ""
            said.append(unmeasured if np.isnan(rates[k]) else _rate(scene, rates[k]))
        elif k and state == Contact.OFF and states[k - 1] == Contact.ON:
            said.append(f"after {duration(seconds(edges[k] - edges[k - 1]))}")
        else:
            said.append("")
    return said


def _rate(scene: Scene, rate: float) -> str:
    return f"{rate:.4g} {scene.station.volume_unit or ''}/min"
