"""Any sequence of writes, bulk loads, folds and reads tells the same as a plain dict."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from bondtrail.samples import Samples
from store import Store, Written
from tests.store.keeping import Kept

POINTS = ["rail-1.resistance", "rail-1.flow", "drum-2.status"]
T0 = 1_767_225_600_000_000_000

Sample = tuple[int, float, int]
Model = dict[str, dict[int, tuple[float, int]]]
Script = list[tuple[str, dict[str, list[Sample]]]]

samples = st.lists(
    st.tuples(
        st.integers(0, 40).map(lambda tick: T0 + tick),
        st.sampled_from([0.0, 1.0, 2.5, math.inf]),
        st.sampled_from([0, 0, 0, 2]),
    ),
    max_size=12,
)
batches = st.dictionaries(st.sampled_from(POINTS), samples, max_size=3)
steps = st.lists(
    st.one_of(
        st.tuples(st.just("write"), batches),
        st.tuples(st.just("bulk"), batches),
        st.tuples(st.just("fold"), st.just({})),
        st.tuples(st.just("read"), st.just({})),
    ),
    max_size=10,
)


class Dict:
    """The store as a dict would be: the slow and obvious one."""

    def __init__(self) -> None:
        self.held: Model = {point: {} for point in POINTS}
        self.since: dict[str, int] = {}

    def put(self, batch: dict[str, list[Sample]]) -> Written:
        new = repeated = replaced = 0
        for point, listed in batch.items():
            held = self.held[point]
            for time, value, quality in listed:
                if held.get(time) == (value, quality):
                    repeated += 1
                    continue
                new, replaced = new + (time not in held), replaced + (time in held)
                held[time] = (value, quality)
                station = point.split(".")[0]
                self.since[station] = min(time, self.since.get(station, time))
        return Written(new, repeated, replaced)

    def read(self, point: str, start: int, end: int) -> Samples:
        rows = [(t, *rest) for t, rest in sorted(self.held[point].items()) if start <= t < end]
        return Samples.of(*np.array(rows, object).reshape(-1, 3).T)


def as_samples(listed: list[Sample]) -> Samples:
    return Samples.of(*np.array(listed, object).reshape(-1, 3).T)


def put(store: Store, how: str, batch: dict[str, list[Sample]], flush_rows: int) -> Written:
    if how == "write":
        return store.write({point: as_samples(listed) for point, listed in batch.items()})
    with store.bulk(flush_rows=flush_rows) as bulk:
        for point, listed in batch.items():
            bulk.add(point, as_samples(listed))
    return bulk.written


def must_read_alike(store: Store, model: Dict) -> None:
    for point in POINTS:
        for start, end in ((T0, T0 + 99), (T0 + 10, T0 + 25)):
            assert store.read(point, start, end) == model.read(point, start, end)


def must_tell_alike(store: Store, model: Dict) -> None:
    assert {name: mark.since for name, mark in store.touched().items()} == model.since
    told = {found.point: (found.samples, found.first, found.last) for found in store.points()}
    held = {name: times for name, times in model.held.items() if times}
    assert told == {name: (len(t), min(t), max(t)) for name, t in held.items()}
    newest = {found.point: (found.value, found.quality) for found in store.points()}
    assert newest == {name: times[max(times)] for name, times in held.items()}
    assert store.check() == []


def play(store: Store, script: Script, flush_rows: int) -> None:
    model = Dict()
    for how, batch in script:
        if how == "read":
            must_read_alike(store, model)
        elif how == "fold":
            store.fold()
        else:
            assert put(store, how, batch, flush_rows) == model.put(batch)
    must_read_alike(store, model)
    must_tell_alike(store, model)


@pytest.fixture
def small_segments(monkeypatch: pytest.MonkeyPatch) -> None:
    """Cut segments of a few samples, so that a dozen samples reach every case."""
    for name, size in {"FULL": 6, "CLOSED": 4, "LARGEST": 9, "REGION": 24}.items():
        monkeypatch.setattr(f"store.layout.{name}", size)
    monkeypatch.setattr("store.journal.CHUNK", 10)


@settings(max_examples=20, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(script=steps, flush_rows=st.sampled_from([1, 4, 100]))
@pytest.mark.usefixtures("small_segments")
def test_sqlite_agrees_with_a_dict(kept_file: Kept, script: Script, flush_rows: int) -> None:
    play(kept_file.empty(), script, flush_rows)


@settings(
    max_examples=8,
    phases=[Phase.explicit, Phase.reuse, Phase.generate],  # shrinking on a server takes minutes
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(script=steps, flush_rows=st.sampled_from([1, 4, 100]))
@pytest.mark.usefixtures("small_segments")
def test_postgresql_agrees_with_a_dict(
    kept_database: Kept, script: Script, flush_rows: int
) -> None:
    play(kept_database.empty(), script, flush_rows)
