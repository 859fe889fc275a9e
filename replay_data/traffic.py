"""The ordinary weeks of a bay: how many fillings, when, and what goes wrong by chance."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date
from random import Random

from replay_data import filling, shifts
from replay_data.bay import Bay
from replay_data.filling import Filled, Incident, Plan
from replay_data.recording import Span


@dataclass(frozen=True)
class Pattern:
    """A kind of bay's working day: local hours, fillings, minutes between, and mishaps.

    Mishaps are chances per filling.
    """

    hours: tuple[str, str]
    fillings: tuple[int, int]
    between_min: tuple[float, float]
    night: int = 0
    """Fillings in the night from Monday to Friday."""
    pauses: float = 0.0
    pulls: float = 0.0
    slips: float = 0.0
    touches: float = 0.05
    failures: float = 0.01


@dataclass
class Done:
    """A filling that was made, for the paperwork."""

    station: str
    filled: Filled


Planner = Callable[[Bay, int, Random], Plan]
Scene = Callable[[Bay], Filled | None]


@dataclass
class Diary:
    """What a bay does in the four weeks.

    ``planner`` plans each filling; ``scenes`` are (when, what) told in between, at the first
    moment at or after their time at which the bay is free; ``closed`` are spans without
    fillings.
    """

    station: str
    bay: Bay
    pattern: Pattern
    rng: Random
    planner: Planner
    scenes: list[tuple[int, Scene]] = field(default_factory=list)
    closed: Sequence[Span] = ()
    _free: int = field(default=shifts.START, init=False)

    def play(self) -> list[Done]:
        """Live through the four weeks."""
        done: list[Done] = []
        free = shifts.START
        for begin, end, count in self._sessions():
            free = self._work(max(begin, free), end, count, done)
        self._scenes(shifts.END, done)
        self.bay.finish(shifts.END)
        return done

    def _sessions(self) -> list[tuple[int, int, int]]:
        return [session for day in shifts.days() for session in self._day(day)]

    def _day(self, day: date) -> list[tuple[int, int, int]]:
        low, high = self.pattern.fillings
        count = round(self.rng.uniform(low, high) * shifts.load(day))
        opens, closes = (shifts.at(day, clock) for clock in self.pattern.hours)
        sessions = [(opens, closes, count)]
        if self.pattern.night and shifts.load(day) == 1 and day.weekday() < 4:
            sessions.append(
                (
                    shifts.at(day, "22:10"),
                    shifts.at(day, "22:10") + 7 * shifts.HOUR,
                    self.pattern.night,
                )
            )
        return sessions

    def _work(self, ms: int, end: int, count: int, done: list[Done]) -> int:
        slot = (end - ms) // max(count, 1)
        for n in range(count):
            target = ms + n * slot + self.rng.randint(0, slot // 3)
            free = self._scenes(target, done)
            begin = max(target, free)
            if begin > end or any(span.holds(begin) for span in self.closed):
                continue
            filled = filling.fill(self.bay, begin, self.planner(self.bay, begin, self.rng))
            done.append(Done(self.station, filled))
            self._free = filled.contact.end + self._gap()
        return self._free

    def _gap(self) -> int:
        return round(self.rng.uniform(*self.pattern.between_min) * shifts.MINUTE)

    def _scenes(self, until: int, done: list[Done]) -> int:
        while self.scenes and self.scenes[0][0] <= until:
            _, scene = self.scenes.pop(0)
            filled = scene(self.bay)
            if filled is not None:
                done.append(Done(self.station, filled))
                self._free = max(self._free, filled.contact.end + self._gap())
        return self._free


def ordinary(pattern: Pattern) -> Planner:
    """Plan fillings with a mishap now and then."""

    def plan(bay: Bay, ms: int, rng: Random) -> Plan:
        return Plan(before=_before(pattern, rng), incidents=_incidents(pattern, rng))

    return plan


def _before(pattern: Pattern, rng: Random) -> list[Incident]:
    steps: list[Incident] = []
    if rng.random() < pattern.touches:
        steps.append(filling.touch)
    if rng.random() < pattern.failures:
        steps.append(rng.choice((filling.layer, filling.layer, filling.marginal, filling.falling)))
    return steps


def _incidents(pattern: Pattern, rng: Random) -> list[tuple[float, Incident]]:
    draw = rng.random()
    share = rng.uniform(0.25, 0.8)
    for chance, happens in (
        (pattern.pulls, filling.clamp_off((1.7, 2.6))),
        (pattern.slips, filling.slips((25, 400), (4, 20))),
        (pattern.pauses, filling.pause),
    ):
        if draw < chance:
            return [(share, happens)]
        draw -= chance
    return []
