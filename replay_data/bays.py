"""The bays of the invented site, each with its weeks and its story."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from random import Random

from bondtrail.site import Role
from replay_data import filling, shifts
from replay_data.bay import Bay, Trade, Wires
from replay_data.filling import Filled, Incident, Plan
from replay_data.recording import Signal, Span
from replay_data.shifts import MINUTE, april, at, march
from replay_data.traffic import Diary, Pattern, Scene, ordinary

RAIL = Trade((55, 61), (62, 88), 3600, 28, 150, (40, 120), (120, 500))
ROAD = Trade((17, 26), (62, 82), 3600, 28, 60, (25, 80), (60, 200))
DRUM = Trade((196, 203), (60, 100), 60, 30, 6, (3, 9), (3, 10), bonded=(1.3, 0.35))
TOTE = Trade((960, 1000), (180, 240), 60, 80, 15, (8, 30), (20, 90), bonded=(1.4, 0.3))
VESSEL = Trade((600, 1500), (120, 165), 60, 50, 20, (20, 60), (30, 120))
BAG = Trade(
    (480, 760), (2400, 4100), 3600, 1200, 10, (10, 30), (15, 60), 1e6, 1e8, bonded=(4e6, 0.7)
)

RAIL_DAY = Pattern(("07:00", "18:30"), (1, 3), (40, 90), pauses=0.2, pulls=0.01, slips=0.01)
ROAD_DAY = Pattern(("06:10", "18:00"), (6, 9), (12, 30), pauses=0.05, pulls=0.006, slips=0.006)
DRUM_DAY = Pattern(
    ("06:30", "20:30"),
    (14, 22),
    (2.2, 6),
    pauses=0.03,
    pulls=0.006,
    slips=0.004,
    touches=0.03,
    failures=0.004,
)
TOTE_DAY = Pattern(("07:00", "20:00"), (4, 8), (14, 40), pauses=0.05, pulls=0.02, failures=0.02)
VESSEL_DAY = Pattern(
    ("08:00", "18:00"), (1, 4), (20, 60), pauses=0.1, pulls=0.01, touches=0, failures=0
)
BAG_DAY = Pattern(("10:30", "20:00"), (7, 12), (12, 30), pulls=0.01, touches=0, failures=0)

BYPASS_NIGHT = Span(at(march(18), "21:40"), at(march(19), "06:05"))
WELDED = Span(at(april(1), "14:05"), at(april(2), "07:20"))
STUCK = Span(at(march(13), "09:55"), at(march(13), "11:10"))
CABLE = Span(at(march(16), "06:00"), at(april(2), "12:00"))
CLAMP = Span(at(march(9), "06:00"), at(march(23), "11:30"))
"""The old clamp of drum filler 1."""
CONTACTS_CHANGED = at(march(23), "07:20")
"""At road bay 4."""
MODULE = Span(at(march(16), "06:00"), at(march(30), "07:00"))
SWITCH_OFF = Span(at(march(26), "10:12"), at(march(26), "10:52"))
"""The road bays' network switch is down: monitor unit M2; the flow meters go another way."""
PAINTED = Span(at(march(16), "05:00"), shifts.END)


def wire(station: str, roles: Mapping[Role, Signal]) -> Wires:
    """Return a bay's signals from a mapping by role."""
    return Wires(
        resistance=roles.get(Role.RESISTANCE),
        status=roles.get(Role.STATUS),
        permissive=roles.get(Role.PERMISSIVE),
        flow=roles[Role.FLOW],
        bypass=roles.get(Role.BYPASS),
    )


def diary(station: str, roles: Mapping[Role, Signal]) -> Diary:
    """Return what a bay does in the four weeks."""
    trade, pattern = _KINDS[station.rsplit("-", 1)[0]]
    rng = Random(f"alder-quay {station}")
    bay = Bay(trade, wire(station, roles), rng, shifts.START)
    book = Diary(station, bay, pattern, rng, ordinary(pattern))
    if station.startswith("road"):
        _convoy(book)
    tell = _STORIES.get(station)
    if tell is not None:
        tell(book)
    book.scenes.sort(key=lambda scene: scene[0])
    return book


_KINDS = {
    "rail": (RAIL, RAIL_DAY),
    "road": (ROAD, ROAD_DAY),
    "drum": (DRUM, DRUM_DAY),
    "tote": (TOTE, TOTE_DAY),
    "vessel": (VESSEL, VESSEL_DAY),
    "bag": (BAG, BAG_DAY),
}


# Rail


def _rail_1(book: Diary) -> None:
    """Take the clamp off twice before the quay's minute is over."""
    usual, early = book.planner, {march(11), march(26)}

    def plan(bay: Bay, ms: int, rng: Random) -> Plan:
        made = usual(bay, ms, rng)
        day = shifts.day(ms)
        if day not in early:
            return made
        early.discard(day)
        return replace(made, release_s=rng.uniform(12, 30))

    book.planner = plan


def _rail_2(book: Diary) -> None:
    """Wear a clamp's teeth: from 2.5 to 9 ohm, and at the end not always low enough."""
    usual = book.planner

    def plan(bay: Bay, ms: int, rng: Random) -> Plan:
        age = shifts.age(ms)
        made = usual(bay, ms, rng)
        ohm = min(2.5 * math.exp(1.36 * age + rng.gauss(0, 0.06)), 9.4)
        before: Sequence[Incident] = made.before
        if ohm > 7.5:
            before = (*before, *[filling.marginal] * rng.choice((1, 1, 2)))
        incidents = made.incidents
        if ohm > 7.0 and rng.random() < 0.35:
            incidents = [(rng.uniform(0.3, 0.8), filling.slips((10.6, 13.5), (6, 40)))]
        return replace(made, ohm=ohm, before=before, incidents=incidents)

    book.planner = plan


def _rail_3(book: Diary) -> None:
    """Have the monitor module fail for seconds and trip good transfers, until replaced."""
    usual = book.planner

    def plan(bay: Bay, ms: int, rng: Random) -> Plan:
        made = usual(bay, ms, rng)
        if not MODULE.holds(ms) or rng.random() > 0.5:
            return made
        return replace(made, incidents=[(rng.uniform(0.2, 0.85), filling.monitor_fails((6, 35)))])

    book.planner = plan
    book.scenes += [
        (moment, _idle_fault(moment))
        for moment in (at(march(17), "03:12"), at(march(22), "14:47"), at(march(27), "04:31"))
    ]


def _idle_fault(moment: int) -> Scene:
    def scene(bay: Bay) -> None:
        bay.fault(moment, moment + 48_000)

    return scene


# Road


def _convoy(book: Diary) -> None:
    """Take a tanker in just before the network switch goes down: all four came together."""
    morning, number = march(26), int(book.station[-1])
    arrives = at(morning, "09:58") + number * 3 * MINUTE + book.rng.randint(0, 99_000)
    book.closed = [Span(at(morning, "08:55"), at(morning, "10:45"))]
    book.scenes.append((arrives, lambda bay: filling.fill(bay, arrives, Plan())))


def _road_1(book: Diary) -> None:
    """Slow the valve down: after a pulled clamp the flow runs on for 7 to 9.7 s."""
    usual = book.planner
    pulls = {march(10), march(13), march(18), march(20), march(25), march(31), april(2)}

    def plan(bay: Bay, ms: int, rng: Random) -> Plan:
        made = replace(usual(bay, ms, rng), incidents=())
        day = shifts.day(ms)
        if day not in pulls or rng.random() < 0.7:
            return made
        pulls.discard(day)
        slow = 7.0 + 2.4 * shifts.age(ms)
        happens = filling.clamp_off((slow, slow + 0.2))
        return replace(made, incidents=[(rng.uniform(0.2, 0.9), happens)])

    book.planner = plan


def _road_2(book: Diary) -> None:
    """Wire a relay across in a repair, and fill a tanker that evening with no clamp on."""
    book.closed = [
        *book.closed,
        Span(WELDED.start - 75 * MINUTE, WELDED.start),
        Span(WELDED.end - 75 * MINUTE, WELDED.end),
    ]
    book.scenes += [
        (WELDED.start, lambda bay: bay.hold_contact(WELDED.start, "1")),
        (at(april(1), "20:41"), _no_bond),
        (WELDED.end, lambda bay: bay.free_contact(WELDED.end)),
    ]


def _no_bond(bay: Bay) -> Filled:
    """Give up on a painted lug, see the green lamp, and fill all the same."""
    first = at(april(1), "20:41:17") + 340
    bay.high([(first + n * 1300, ohm) for n, ohm in enumerate((5210, 4870, 4930, 5050, 4760))])
    bay.lost(first + 7200)
    begin = first + 96_000
    extra = bay.start_flow(begin)
    end = filling.finish(bay, begin + round((bay.full_s(19.4) + extra) * 1000))
    return Filled(Span(first, end), Span(begin, end))


def _road_3(book: Diary) -> None:
    """Paint the lugs: tries fail, and drivers look for bare metal elsewhere."""
    usual = book.planner
    tries = [filling.layer] * 6 + [filling.unsteady] * 2 + [filling.falling] + [filling.marginal]

    def plan(bay: Bay, ms: int, rng: Random) -> Plan:
        made = usual(bay, ms, rng)
        if not PAINTED.holds(ms) or rng.random() > 0.4:
            return made
        return replace(made, before=rng.choices(tries, k=rng.choice((1, 1, 2, 3))))

    book.planner = plan


def _road_4(book: Diary) -> None:
    """Change the clamp's contacts: steadily higher from one day to the next, and no drift."""
    usual = book.planner
    book.closed = [*book.closed, Span(CONTACTS_CHANGED - 75 * MINUTE, CONTACTS_CHANGED)]

    def plan(bay: Bay, ms: int, rng: Random) -> Plan:
        made = usual(bay, ms, rng)
        if ms < CONTACTS_CHANGED:
            return made
        return replace(made, ohm=4.4 * math.exp(rng.gauss(0, 0.12)))

    book.planner = plan


# Drums and totes


def _drum_1(book: Diary) -> None:
    """Wear a clamp that trips good fills until replaced; hold a contact open for an hour."""
    usual = book.planner
    book.closed = [
        Span(STUCK.start - 12 * MINUTE, STUCK.end),
        Span(CLAMP.end - 75 * MINUTE, CLAMP.end),
    ]
    book.scenes.append((STUCK.start, _stuck_contact))

    def plan(bay: Bay, ms: int, rng: Random) -> Plan:
        made = usual(bay, ms, rng)
        worn = CLAMP.holds(ms)
        if worn:
            made = replace(made, ohm=2.4 * math.exp(rng.gauss(0, 0.25)))
        if rng.random() > (0.09 if worn else 0.012):
            return made
        return replace(made, incidents=[(rng.uniform(0.2, 0.8), filling.bursts(1))])

    book.planner = plan


def _stuck_contact(bay: Bay) -> None:
    bay.hold_contact(STUCK.start, "0")
    ms = STUCK.start + 3 * MINUTE
    for lasts_min in (4, 11, 7):
        bay.hook_up(ms)
        bay.lost(ms + lasts_min * MINUTE)
        ms += (lasts_min + 9) * MINUTE
    bay.free_contact(STUCK.end - MINUTE)


def _drum_2(book: Diary) -> None:
    """Break a strand of the cable: short losses, alone or in bursts, more every week."""
    usual = book.planner

    def plan(bay: Bay, ms: int, rng: Random) -> Plan:
        made = usual(bay, ms, rng)
        if not CABLE.holds(ms) or rng.random() > 0.02 + 0.2 * shifts.age(ms):
            return made
        count = rng.choice((1, 1, 3, 4, 5))
        return replace(made, incidents=[(rng.uniform(0.2, 0.8), filling.bursts(count))])

    book.planner = plan


def _drum_3(book: Diary) -> None:
    """Work nights too; one night the bypass key stays in, and once it matters."""
    book.pattern = replace(book.pattern, night=9)
    usual = book.planner
    once = [filling.unheeded]

    def plan(bay: Bay, ms: int, rng: Random) -> Plan:
        made = usual(bay, ms, rng)
        if not BYPASS_NIGHT.holds(ms):
            return made
        late = ms > at(march(19), "02:30") and once
        return Plan(incidents=[(0.4, once.pop())] if late else ())

    book.planner = plan
    book.scenes.append((BYPASS_NIGHT.start, _key_in))


def _key_in(bay: Bay) -> None:
    bay.turn_key(BYPASS_NIGHT.start, "1")
    bay.turn_key(BYPASS_NIGHT.end, "0")


def _tote_1(book: Diary) -> None:
    """Open the hand valve twice before the clamp is on."""
    usual, early = book.planner, {march(17), march(30)}

    def plan(bay: Bay, ms: int, rng: Random) -> Plan:
        day = shifts.day(ms)
        if day not in early:
            return usual(bay, ms, rng)
        early.discard(day)
        return Plan(head_start_s=rng.uniform(6, 14))

    book.planner = plan


def _bag_1(book: Diary) -> None:
    """Fill only on days when the dryer runs."""
    idle = [day for day in shifts.days() if day.weekday() in (0, 5) or day == shifts.HOLIDAY]
    book.closed = [Span(at(day, "00:00"), at(day, "23:00")) for day in idle]


_STORIES = {
    "rail-1": _rail_1,
    "rail-2": _rail_2,
    "rail-3": _rail_3,
    "road-1": _road_1,
    "road-2": _road_2,
    "road-3": _road_3,
    "road-4": _road_4,
    "drum-1": _drum_1,
    "drum-2": _drum_2,
    "drum-3": _drum_3,
    "tote-1": _tote_1,
    "bag-1": _bag_1,
}
