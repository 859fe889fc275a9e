"""Analysing in any number of pieces, in any order of arrival, equals analysing once."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st

from analytics import runs
from analytics.core.station import judge
from bondtrail.results import Ticket, WorkWindow
from bondtrail.samples import Samples
from bondtrail.site import Shift, parse_site
from store import Store, open_store
from tests.analytics.core.build import OPEN, held, ns
from tests.analytics.workdays import DAY, HOUR, MONDAY, Results, site, told
from tests.reference.compare import day_differences, differences
from tests.reference.scripts import SHIFTS, ZONE, S, Script, histories, limits, site_text

SEARCH = settings(
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=[
        HealthCheck.too_slow,
        HealthCheck.data_too_large,
        HealthCheck.function_scoped_fixture,
    ],
)
LATER = 400 * 86_400 * S


@dataclass(frozen=True)
class Step:
    """Something that arrives, or is done, in words; ``do`` is given the store."""

    what: str
    do: Callable[[Store], object]

    def __repr__(self) -> str:
        return self.what


@pytest.fixture(scope="session")
def empty(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An empty store, made once: its tables cost more than an example."""
    path = tmp_path_factory.mktemp("pieces") / "empty.db"
    open_store(f"sqlite:///{path}").close()
    return path


@contextmanager
def fresh(empty: Path) -> Iterator[Store]:
    with TemporaryDirectory() as folder:
        path = Path(folder) / "store.db"
        shutil.copy(empty, path)
        with open_store(f"sqlite:///{path}") as store:
            yield store


def first_and_last(script: Script) -> tuple[int, int]:
    times = [int(t) for samples in script.signals.values() for t in samples.time[[0, -1]]]
    return min(times), max(times)


def batches(script: Script, edges: list[int], apart: list[bool]) -> list[dict[str, Samples]]:
    """Cut a script at the edges: all points of a stretch in one batch, or each on its own."""
    cut = []
    for start, end, alone in zip(edges, edges[1:], apart, strict=False):
        stretch = {
            script.station.points[role].name: samples.between(start, end)
            for role, samples in script.signals.items()
        }
        stretch = {name: samples for name, samples in stretch.items() if len(samples)}
        cut += [{name: samples} for name, samples in stretch.items()] if alone else [stretch]
    return [batch for batch in cut if batch]


def write(batch: dict[str, Samples], what: str = "write") -> Step:
    spans = ", ".join(f"{name} {s.time[0]}..{s.time[-1]}" for name, s in batch.items())
    return Step(f"{what} {spans}", lambda store: store.write(batch))


def put_work(window: WorkWindow) -> Step:
    return Step(f"work {window.start}..{window.end}", lambda store: store.put_work([window]))


def put_ticket(ticket: Ticket) -> Step:
    return Step(f"ticket {ticket.start}..{ticket.end}", lambda store: store.put_tickets([ticket]))


def put_site(text: str, holds_from: int) -> Step:
    site = parse_site(text)
    return Step(f"site from {holds_from}", lambda store: store.put_site(site, holds_from))


def analyse(now: int) -> Step:
    return Step(f"analyse at {now}", lambda store: runs.analyse(store, now=now))


FOLD = Step("fold", lambda store: store.fold())


def mistaken(batch: dict[str, Samples]) -> dict[str, Samples]:
    """What a batch said before it was corrected: 0 for anything, and anything for 0."""
    return {
        name: Samples(samples.time, np.where(samples.value == 0, 1.0, 0.0), samples.quality)
        for name, samples in batch.items()
    }


@st.composite
def arrivals(draw: st.DrawFn, script: Script) -> tuple[list[Step], list[Step]]:
    """Choose how a script arrives: the steps of pieces, and the same all at once."""
    first, last = first_and_last(script)
    spots = st.integers(0, (last - first) // S)
    edges = sorted({first, *(first + at * S for at in draw(st.lists(spots, max_size=5)))})
    apart = draw(st.lists(st.booleans(), min_size=len(edges), max_size=len(edges)))
    cut = batches(script, [*edges, last + 1], apart)
    worked = st.sampled_from(list(SHIFTS.values()))
    sites = [put_site(site_text(script.station, roster=draw(worked)), 0)]
    if draw(st.booleans()):
        tightened = script.station.model_copy(update={"limits": draw(limits())})
        changed = site_text(tightened, roster=draw(worked))
        sites.append(put_site(changed, first + draw(spots) * S))
    late = [*map(put_work, script.work), *map(put_ticket, script.tickets), *sites[1:]]
    pieces = [write(batch) for batch in cut] + late
    if draw(st.booleans()):
        pieces = draw(st.permutations(pieces))
    for batch in draw(st.lists(st.sampled_from(cut), max_size=2)):
        corrected = [piece.what for piece in pieces].index(write(batch).what)
        pieces.insert(draw(st.integers(0, corrected)), write(mistaken(batch), "mistaken"))
    steps = [sites[0]]
    for piece in pieces:
        steps.append(piece)
        if draw(st.integers(0, 2)) == 0:
            now = draw(st.one_of(st.just(last + LATER), spots.map(lambda at: first + at * S)))
            steps.append(analyse(now))
        if draw(st.integers(0, 3)) == 0:
            steps.append(FOLD)
    once = [*sites, *late, *(write(batch) for batch in cut)]
    return [*steps, analyse(last + LATER)], [*once, analyse(last + LATER)]


@st.composite
def stories(draw: st.DrawFn) -> tuple[Script, list[Step], list[Step]]:
    """Choose a history that holds something, and two ways for it to arrive."""
    script = draw(histories().filter(lambda script: any(map(len, script.signals.values()))))
    script = script._replace(
        signals={role: samples for role, samples in script.signals.items() if len(samples)},
        work=tuple({window.start: window for window in script.work}.values()),
        tickets=tuple({(t.start, t.batch): t for t in script.tickets}.values()),
    )
    pieces, once = draw(arrivals(script))
    return script, pieces, once


def played(empty: Path, steps: list[Step]) -> Results:
    with fresh(empty) as store:
        for step in steps:
            step.do(store)
        return told(store)


def in_windows(window_s: int, empty: Path, steps: list[Step]) -> Results:
    """Play the steps with an analysis that judges so long at a time."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(runs, "WINDOW_NS", window_s * S)
        return played(empty, steps)


@settings(SEARCH, max_examples=5)
@given(story=stories())
def test_any_pieces_in_any_order_equal_analysing_once(
    empty: Path, story: tuple[Script, list[Step], list[Step]]
) -> None:
    _script, pieces, once = story
    expected = played(empty, once)
    # A month, and a day, so that even a short history is judged in several windows.
    for window_s in (31 * 86_400, 86_400):
        result = in_windows(window_s, empty, pieces)
        found = differences(result, expected) + day_differences(result, expected)
        assert not found, "\n".join([f"in windows of {window_s} s", *found, *map(repr, pieces)])
        assert result == expected


@settings(SEARCH, max_examples=9)
@given(script=histories(), roster=st.sampled_from(list(SHIFTS.values())))
def test_the_store_says_what_the_rules_say(
    empty: Path, script: Script, roster: tuple[Shift, ...]
) -> None:
    signals = {role: samples for role, samples in script.signals.items() if len(samples)}
    tickets = tuple({(t.start, t.batch): t for t in script.tickets}.values())
    work = tuple({window.start: window for window in script.work}.values())
    if not signals:
        return
    _first, last = first_and_last(script._replace(signals=signals))
    steps = [put_site(site_text(script.station, roster=roster), 0), *map(put_work, work)]
    steps += [
        *map(put_ticket, tickets),
        write({script.station.points[role].name: samples for role, samples in signals.items()}),
        analyse(last + LATER),
    ]
    result = played(empty, steps)
    expected = judge(
        script.station, signals, zone=ZONE, work=work, tickets=tickets, rosters=[(0, roster)]
    )
    found = differences(result, expected) + day_differences(result, expected)
    assert not found, "\n".join(found)


DAYS = 30
RISING = held(
    *(
        stretch
        for day in range(DAYS)
        for stretch in ((8 * HOUR, OPEN), (HOUR, 4.0 + day / 8), (15 * HOUR, OPEN))
    ),
    start=MONDAY,
    every_s=600,
)
"""A clamp on for an hour a day, by an eighth of an ohm higher each: the last reads 7.6 ohm."""


@st.composite
def wear(draw: st.DrawFn) -> tuple[list[Step], list[Step]]:
    """Choose how a month of a clamp that wears arrives: the steps of pieces, and all at once."""
    edges = sorted({0, *draw(st.sets(st.integers(1, DAYS - 1), max_size=4)), DAYS})
    moments = [ns(MONDAY + day * DAY) for day in edges]
    cut = [{"spot.resistance": RISING.between(*pair)} for pair in pairwise(moments)]
    first = put_site(site("spot", stale_s=600).text, 0)
    others = [
        put_site(
            site("spot", stale_s=600, limit_ohm=ohm).text, ns(MONDAY + draw(HALF_DAYS) * DAY / 2)
        )
        for ohm in draw(st.lists(st.sampled_from([9.0, 30.0]), max_size=1))
    ]
    at = ns(MONDAY + draw(HALF_DAYS) * DAY / 2)
    work = [put_work(WorkWindow("spot", at, at + ns(HOUR), "clamp cleaned"))]
    rest = [*map(write, cut), *others, *draw(st.sampled_from([work, []]))]
    pieces = [first]
    for step in draw(st.permutations(rest)):
        pieces += [step, *draw(st.sampled_from([[], [analyse(LATER + ns(MONDAY))]]))]
    once = analyse(LATER + ns(MONDAY))
    return [*pieces, once], [first, *rest, once]


HALF_DAYS = st.integers(0, 2 * DAYS)


@settings(SEARCH, max_examples=5)
@given(story=wear())
def test_a_drift_is_the_same_in_any_pieces(
    empty: Path, story: tuple[list[Step], list[Step]]
) -> None:
    pieces, once = story
    expected = played(empty, once)
    for window_s in (31 * 86_400, 3 * 86_400):
        result = in_windows(window_s, empty, pieces)
        told_of = f"in windows of {window_s} s"
        assert result == expected, "\n".join([told_of, *map(repr, pieces)])
    event(f"drifts: {len([row for row in result.findings if row.kind == 'resistance_drift'])}")
