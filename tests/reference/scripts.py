"""Hypothesis strategies: a station, and what its points report over a minute or five."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import NamedTuple, TypeVar
from zoneinfo import ZoneInfo

from hypothesis import strategies as st

from bondtrail.results import Ticket, WorkWindow
from bondtrail.roster import WEEKDAYS
from bondtrail.samples import Samples, concatenate
from bondtrail.site import Limits, Point, Role, Shift, Station, StationKind
from tests.reference.scenes import CLAMPS, SCENES, THEMES
from tests.reference.timeline import Sample

T = TypeVar("T")

ZONE = ZoneInfo("Europe/Lisbon")
S = 10**9
BEGINNINGS = {
    "an afternoon": 1_772_370_000 * S,  # 2026-03-01T13:00Z
    "a minute before midnight": 1_772_409_540 * S,  # 2026-03-01T23:59Z, the same in Lisbon
    "clocks go forward": 1_774_745_970 * S,  # 2026-03-29T00:59:30Z, half a minute before
    "a summer midnight": 1_785_538_770 * S,  # 2026-07-31T22:59:30Z, half a minute before
}
LONGEST_S = 300

POINTS: dict[str, tuple[Role, ...]] = {
    "all": tuple(Role),
    "usual": (Role.RESISTANCE, Role.STATUS, Role.PERMISSIVE, Role.FLOW, Role.BYPASS),
    "no status": (Role.RESISTANCE, Role.PERMISSIVE, Role.FLOW, Role.BYPASS),
    "no permissive": (Role.RESISTANCE, Role.STATUS, Role.FLOW),
    "resistance and flow": (Role.RESISTANCE, Role.FLOW),
    "status only": (Role.STATUS, Role.PERMISSIVE, Role.FLOW),
    "status and running": (Role.STATUS, Role.RUNNING),
    "permissive only": (Role.PERMISSIVE, Role.FLOW, Role.BYPASS),
    "running": (Role.RESISTANCE, Role.PERMISSIVE, Role.RUNNING),
    "both flows": (Role.RESISTANCE, Role.PERMISSIVE, Role.FLOW, Role.RUNNING),
    "no bond": (Role.FLOW, Role.BYPASS),
    "no flow": (Role.RESISTANCE, Role.STATUS, Role.PERMISSIVE),
    "one point": (Role.RESISTANCE,),
}

GRIDS: dict[str, tuple[float, ...]] = {
    "hold_s": (1.0, 1.0, 0.0, 0.5, 3.0),
    "transfer_min_s": (2.0, 5.0, 0.0, 10.0),
    "resume_within_s": (20.0, 20.0, 0.0, 5.0),
    "start_allowance_s": (2.0, 2.0, 0.0, 1.0),
    "stop_allowance_s": (2.0, 0.0, 1.0, 5.0),
    "nodata_allowance_s": (2.0, 2.0, 0.0, 5.0),
    "trip_window_s": (10.0, 10.0, 20.0, 0.0, 2.0),
    "brief_s": (2.0, 2.0, 3.0, 0.0, 1.0),
    "hookup_min_s": (3.0, 0.0, 1.0),
    "detach_s": (3.0, 0.0, 1.0),
    "mismatch_s": (3.0, 0.0, 1.0),
    "isolated_s": (5.0, 0.0, 2.0, 20.0),
    "release_wait_s": (5.0, 0.0, 2.0),
    "bypass_allowance_s": (1.0, 0.0, 2.0),
    "cluster_count": (3, 2),
    "cluster_s": (30.0, 10.0, 60.0),
    "marginal_factor": (1.5, 1.5, 1.0),
}
"""What is worth meeting often stands twice."""
LENGTHS_S = (1.0, 2.0, 3.0, 1.0, 2.5, 5.0, 0.5, 1.5, 4.0, 6.0, 8.0, 11.0, 22.0)


Roster = tuple[int, tuple[Shift, ...]]


def shift(name: str, begin: str, end: str, days: str = " ".join(WEEKDAYS)) -> Shift:
    """Return a shift from words."""
    clock = dt.time.fromisoformat
    return Shift(name, clock(begin), clock(end), frozenset(map(WEEKDAYS.index, days.split())))


SHIFTS: dict[str, tuple[Shift, ...]] = {
    "none": (),
    "three a day": (
        shift("early", "06:00", "14:00"),
        shift("late", "14:00", "22:00"),
        shift("night", "22:00", "06:00"),
    ),
    "office hours": (shift("office", "08:30", "16:45", "mon tue wed thu fri"),),
    "round the clock": (shift("all", "00:00", "00:00"),),
    "at the scripts' own times": (
        shift("tea", "13:01", "13:03"),
        shift("turn", "23:59", "00:01"),
        shift("first", "00:01", "00:02", "mon sat sun"),
        # the clocks of Lisbon go forward from 01:00 to 02:00
        shift("change", "00:59", "01:30"),
        shift("after", "01:30", "02:01"),
    ),
}


class Script(NamedTuple):
    """A station and everything that is known of it."""

    station: Station
    signals: dict[Role, Samples]
    work: tuple[WorkWindow, ...]
    tickets: tuple[Ticket, ...]

    @property
    def series(self) -> dict[Role, list[Sample]]:
        """The signals as plain tuples, for the reference evaluator."""
        return {role: plain(samples) for role, samples in self.signals.items()}

    def __repr__(self) -> str:
        """Return limits, and each point's samples in seconds from the first, for a person."""
        series = self.series
        first = min((samples[0][0] for samples in series.values() if samples), default=0)
        lines = [f"{self.station.kind} {self.station.limits!r}", f"seconds from {first}"]
        for role, samples in series.items():
            stale = self.station.points[role].stale_after_s
            lines.append(f"{role} (stale after {stale} s): {written(samples, first)}")
        rows: list[WorkWindow | Ticket] = [*self.work, *self.tickets]
        lines += [f"{row!r}: {(row.start - first) / S} to {(row.end - first) / S}" for row in rows]
        return "\n  ".join(lines)


def written(samples: Sequence[Sample], first: int) -> str:
    """Return samples as text: ``!`` is bad, ``?`` uncertain."""
    marks = ("", "?", "!")
    return " ".join(f"{(t - first) / S:g}:{value:g}{marks[q]}" for t, value, q in samples)


def plain(samples: Samples) -> list[Sample]:
    columns = (samples.time.tolist(), samples.value.tolist(), samples.quality.tolist())
    return list(zip(*columns, strict=True))


@cache
def _one_of(options: tuple[T, ...]) -> st.SearchStrategy[T]:
    return st.sampled_from(options)


def one_of(options: Iterable[T]) -> st.SearchStrategy[T]:
    """Return a strategy made once: making them anew costs more than drawing."""
    return _one_of(tuple(options))


@dataclass(frozen=True, slots=True)
class Reporting:
    """How a point is sampled: every so many steps, or on change with a heartbeat."""

    every: int
    on_change: bool
    jittered: bool
    stale_after_s: float


@dataclass(slots=True)
class Tape:
    """What is really so, step by step, for each point: value, and quality (None: no sample)."""

    values: dict[Role, list[float]] = field(default_factory=lambda: {role: [] for role in Role})
    quality: dict[Role, list[int | None]] = field(
        default_factory=lambda: {role: [] for role in Role}
    )

    @property
    def length(self) -> int:
        return len(self.values[Role.FLOW])


def sources(word: str) -> tuple[Role, ...]:
    """Return the points that a word of a scene means."""
    if word == "all":
        return tuple(Role)
    return (Role.RESISTANCE, Role.STATUS) if word == "both" else (Role(word),)


def lay(tape: Tape, now: Mapping[str, str], row: Mapping[str, str], steps: int) -> None:
    """Write a row of a scene on the tape."""
    clamp = CLAMPS[now["clamp"]]
    flow = {"on": (60.0, 5.0), "off": (0.0, 0.0), "slow": (4.9, 4.9)}[now["flow"]]
    marks: dict[Role, int | None] = dict.fromkeys(Role, 0)
    for word, mark in (("uncertain", 1), ("bad", 2), ("gap", None)):
        marks |= dict.fromkeys(sources(row[word]), mark) if word in row else {}
    for step in range(steps):
        ohm = clamp[step % len(clamp)]
        says = {
            Role.RESISTANCE: ohm,
            Role.STATUS: float(row.get("status", ohm <= 10.0)),
            Role.PERMISSIVE: float(now["permissive"]),
            Role.FLOW: flow[step % 2],
            Role.RUNNING: float(now.get("running", now["flow"] == "on")),
            Role.BYPASS: float(now["bypass"]),
        }
        for role, value in says.items():
            tape.values[role].append(value)
            tape.quality[role].append(marks[role])


@st.composite
def tapes(draw: st.DrawFn, step_s: float) -> Tape:
    """Play a few scenes one after the other."""
    tape = Tape()
    now = {"clamp": "open", "flow": "off", "permissive": "0", "bypass": "0"}
    theme = THEMES[draw(one_of(["stops", *THEMES]))]
    least = draw(one_of([0, 3, 5]))
    for scene in draw(st.lists(st.sampled_from(theme), min_size=least, max_size=10)):
        for words in SCENES[scene]:
            row = {}
            for word in words.split():
                key, options = word.split("=")
                row[key] = draw(one_of(options.split("|")))
            lasting = {"clamp", "flow", "permissive", "bypass", "running"}
            now |= {key: value for key, value in row.items() if key in lasting}
            lasts = row.pop("s", None)
            length = draw(one_of(LENGTHS_S)) if lasts is None else float(lasts)
            steps = round(length / step_s)
            lay(tape, now, row, min(steps, int(LONGEST_S / step_s) - tape.length))
    spoil(draw, tape, step_s)
    return tape


def spoil(draw: st.DrawFn, tape: Tape, step_s: float) -> None:
    """Add gaps, doubtful and bad stretches and wrong values wherever they happen to fall."""
    if not tape.length:
        return
    for _ in range(draw(st.integers(0, 4))):
        role = draw(one_of(list(Role)))
        start = draw(st.integers(0, tape.length - 1))
        steps = round(draw(one_of(LENGTHS_S)) / step_s)
        where = slice(start, min(start + steps, tape.length))
        size = where.stop - where.start
        what = draw(one_of([None, 2, 1, "value"]))
        if what == "value":
            codes = (0.0, 1.0, 2.0, 3.0) if role is Role.STATUS else (0.0, 1.0)
            tape.values[role][where] = [draw(one_of(codes))] * size
        elif what is None or isinstance(what, int):
            tape.quality[role][where] = [what] * size


def report(tape: Tape, role: Role, how: Reporting, start: int, step: int) -> Iterator[Sample]:
    """Yield the samples that a point reports of what is so."""
    last: tuple[float, int] | None = None
    wobble = 12345 + how.every
    for n in range(tape.length):
        wobble = (wobble * 1_103_515_245 + 12_345) % 2**31
        mark = tape.quality[role][n]
        if mark is None:
            continue
        said = (tape.values[role][n], mark)
        if n % how.every == 0 or (how.on_change and said != last):
            late = wobble % (step // 10**6) * 10**6 if how.jittered else 0
            yield start + n * step + late, *said
            last = said


@st.composite
def reportings(draw: st.DrawFn, step_s: float) -> Reporting:
    """Choose how a point is sampled and when it goes stale."""
    jittered = draw(one_of([False, False, False, True]))
    if draw(st.booleans()):
        every = draw(one_of([1, 2, 4]))
        least = 2 * every * step_s
        stale = draw(one_of([5.0, 2.0, every * step_s, 1.5, 30.0]))
        return Reporting(every, False, jittered, stale if not jittered else max(stale, least))
    beat_s = draw(one_of([10.0, 5.0, 30.0]))
    stale = draw(one_of([2 * beat_s, beat_s, 7.0]))
    return Reporting(round(beat_s / step_s), True, jittered, stale)


@st.composite
def limits(draw: st.DrawFn) -> Limits:
    """Choose limits from small grids, so that the exact limit is met often."""
    chosen = {name: draw(one_of(grid)) for name, grid in GRIDS.items()}
    return Limits.model_validate({**chosen, "limit_ohm": 10.0, "open_ohm": 1000.0})


@st.composite
def stations(draw: st.DrawFn, hows: Mapping[Role, Reporting], name: str = "spot") -> Station:
    """Choose a station of any kind with some of the points."""
    roles = POINTS[draw(one_of(["usual", "all", "no permissive", *POINTS]))]
    kinds = (StationKind.RAIL_TANK_CAR, StationKind.FIXED_ITEM, StationKind.DRUM)
    return Station(
        id=name,
        name=name,
        kind=draw(one_of([*kinds, StationKind.ROAD_TANKER])),
        product=draw(one_of([None, "solvent"])),
        limits=draw(limits()),
        points={
            role: Point(station=name, role=role, stale_after_s=hows[role].stale_after_s)
            for role in roles
        },
        volume_unit="L" if Role.FLOW in roles else None,
    )


@st.composite
def spans_near(draw: st.DrawFn, start: int, seconds: float) -> tuple[int, int]:
    """Choose a span on whole seconds that reaches into a script."""
    begin = draw(st.integers(-20, max(int(seconds), 1)))
    return start + begin * S, start + (begin + draw(st.integers(1, 120))) * S


@st.composite
def acts(
    draw: st.DrawFn, station: Station, hows: Mapping[Role, Reporting], step_s: float, start: int
) -> Script:
    """Choose what happens at a station from a moment on, for up to five minutes."""
    tape = draw(tapes(step_s))
    signals = {}
    for role in station.points:
        told = list(report(tape, role, hows[role], start, round(step_s * S)))
        columns = zip(*told, strict=True) if told else ((), (), ())
        signals[role] = Samples.of(*columns)
    seconds = tape.length * step_s
    work = []
    for begin, end in draw(st.lists(spans_near(start, seconds), max_size=2)):
        ago = draw(one_of([0, 86_400 * S]))
        work.append(WorkWindow(station.id, begin - ago, end - ago, "clean-down"))
    tickets = [
        Ticket(station.id, begin, end, *draw(WORDS))
        for begin, end in draw(st.lists(spans_near(start, seconds), max_size=3))
    ]
    return Script(station, signals, tuple(work), tuple(tickets))


@st.composite
def rosters(draw: st.DrawFn) -> tuple[Roster, ...]:
    """Choose the shifts of a site: none, some, or others from a moment in some script on."""
    first, second = (SHIFTS[draw(one_of(list(SHIFTS)))] for _ in range(2))
    if draw(st.booleans()):
        return ((0, first),)
    start = BEGINNINGS[draw(one_of(list(BEGINNINGS)))]
    return ((0, first), (start + draw(st.integers(0, LONGEST_S)) * S, second))


WORDS = st.tuples(
    st.sampled_from(["", "B-17", "B-18"]),
    st.sampled_from(["", "toluene"]),
    st.sampled_from(["", "op-3"]),
)


@st.composite
def scripts(draw: st.DrawFn, name: str = "spot") -> Script:
    """Choose a station and a script of what happens there.

    Times lie on a grid of 0.25 or 0.5 s, so that ties and exact limits are met often; a jittered
    point is sampled up to a step late, in whole milliseconds.
    """
    step_s = draw(one_of([0.5, 0.25]))
    start = BEGINNINGS[draw(one_of(list(BEGINNINGS)))]
    hows = {role: draw(reportings(step_s)) for role in Role}
    station = draw(stations(hows, name))
    return draw(acts(station, hows, step_s, start))


APART_S = (332, 350, 3600, 12 * 3600, 86_400, 3 * 86_400, 33 * 86_400)


@st.composite
def histories(draw: st.DrawFn, name: str = "spot") -> Script:
    """Choose a script of several acts, minutes to weeks apart.

    What comes between is not recorded, but for a quiet while after some acts.
    """
    step_s = draw(one_of([0.5, 0.25]))
    start = BEGINNINGS[draw(one_of(list(BEGINNINGS)))]
    hows = {role: draw(reportings(step_s)) for role in Role}
    station = draw(stations(hows, name))
    played = []
    for _ in range(draw(st.integers(1, 4))):
        act = draw(acts(station, hows, step_s, start))
        played += [act, quiet(station, start + (LONGEST_S + 1) * S, draw(one_of([0, 8, 30])))]
        start += draw(one_of(APART_S)) * S
    return Script(
        station,
        {role: concatenate(act.signals[role] for act in played) for role in station.points},
        tuple(window for act in played for window in act.work),
        tuple(ticket for act in played for ticket in act.tickets),
    )


def quiet(station: Station, start: int, seconds: int) -> Script:
    """Return a while of nothing: clamp off, flow off, sampled once a second."""
    ohm = {Role.RESISTANCE: float("inf")}
    times = [start + second * S for second in range(seconds)]
    signals = {role: Samples.of(times, [ohm.get(role, 0.0)] * seconds) for role in station.points}
    return Script(station, signals, (), ())


def site_text(*stations: Station, roster: Iterable[Shift] = ()) -> str:
    """Return the site file that says what the stations are, and which shifts are worked."""
    lines = [
        "schema = 1",
        "[site]",
        'id = "pier"',
        'name = "Pier (invented)"',
        f'timezone = "{ZONE.key}"',
        "[product.solvent]",
        'phase = "liquid"',
    ]
    lines += shift_tables(roster)
    for station in stations:
        lines += ["[[station]]", f'id = "{station.id}"', f'name = "{station.name}"']
        lines += [f'kind = "{station.kind}"']
        lines += [f'product = "{station.product}"'] if station.product else []
        lines += [f"{name} = {value}" for name, value in station.limits.model_dump().items()]
        lines += ["[station.points]"]
        lines += [
            f"{role} = {{ stale_after_s = {point.stale_after_s} }}"
            for role, point in station.points.items()
        ]
    return "\n".join(lines)


def shift_tables(roster: Iterable[Shift]) -> Iterator[str]:
    """Yield the lines of a site file that say which shifts are worked."""
    for each in roster:
        days = [WEEKDAYS[day] for day in sorted(each.days)]
        end = "24:00" if each.end == dt.time() else f"{each.end:%H:%M}"
        yield from ("[[shift]]", f'name = "{each.name}"', f"days = {days}")
        yield from (f'from = "{each.begin:%H:%M}"', f'to = "{end}"')
