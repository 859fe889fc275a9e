"""When readings arrived: told to the minute, whatever way they came in."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import count
from typing import Any

import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from sqlalchemy import text

from bondtrail.samples import Samples
from store import NEVER, DamageError, Store, StoreError, Written, open_store
from tests.store.keeping import Kept

S = 10**9
T0 = 1_767_225_600 * S
POINT = "rail-1.resistance"
OTHER = "rail-1.flow"
MINUTE = 60 * S
Bounds = list[tuple[float, float] | None]


def series(*seconds: float, value: float = 1.0) -> Samples:
    """Return samples at seconds after T0."""
    return Samples.of([T0 + round(each * S) for each in seconds], [value] * len(seconds))


def moment(second: float | None) -> int | None:
    return None if second is None else T0 + round(second * S)


def put(store: Store, how: str, arrived_s: float | None, samples: Samples) -> Written:
    """Commit samples of the point in one of the ways there are."""
    arrived = moment(arrived_s)
    if how == "bulk":
        with store.bulk(arrived=None if arrived is None else lambda: arrived) as bulk:
            bulk.add(POINT, samples)
        return bulk.written
    written = store.write({POINT: samples}, arrived=arrived)
    if how == "folded":
        store.fold()
    return written


def told(store: Store, point: str = POINT, times: Any = None) -> Bounds:
    """Return the bounds of each reading in seconds after T0; None for never."""
    found = store.arrivals(point, store.read(point).time if times is None else times)
    pairs = zip(found.first.tolist(), found.last.tolist(), strict=True)
    return [None if pair == (NEVER, NEVER) else tuple((e - T0) / S for e in pair) for pair in pairs]


def rows(store: Store) -> int:
    with store._db.reading() as tx:
        return int(tx.conn.execute(text("select count(*) from arrival")).scalar_one())


ways = pytest.mark.parametrize("how", ["journal", "folded", "bulk"])


def test_of_nothing_nothing_is_known(store: Store) -> None:
    assert told(store, times=np.array([T0], np.int64)) == [None]
    assert told(store) == []
    store.write({POINT: series(1)}, arrived=T0)
    assert told(store, times=np.array([], np.int64)) == []


@ways
def test_readings_arrive_with_their_commit(store: Store, how: str) -> None:
    put(store, how, 7.25, series(1, 2, 5))
    assert told(store) == [(7.25, 8.25), (7.25, 9.25), (7.25, 12.25)]  # the next may lag 1 s more
    put(store, how, 99.5, series(3, 4))
    assert told(store)[2:4] == [(99.5, 99.5)] * 2  # nothing can join what came between others


@ways
def test_a_commit_of_more_than_a_minute_tells_its_moment(store: Store, how: str) -> None:
    put(store, how, 5000, series(1, 2, 62))
    put(store, how, 5001, series(63, 64, 124))
    assert told(store) == [(5000, 5000)] * 3 + [(5001, 5001)] * 3


@ways
def test_without_a_clock_nobody_knows(store: Store, how: str) -> None:
    put(store, how, None, series(1, 2))
    assert told(store) == [None, None]
    assert rows(store) == 0


@ways
@pytest.mark.parametrize(
    ("commits", "expected"),
    [
        pytest.param(
            [(10, series(1, 2, 3)), (5000, series(1, 2, 3))], [(10, 10)] * 3, id="a-repeat"
        ),
        pytest.param(
            [(10, series(1, 2, 3)), (5000, series(2, value=9.0))],
            [(10, 10), (5000, 5000), (10, 10)],
            id="one-replaced",
        ),
        pytest.param(
            [(10, series(1, 2, 3)), (5000, series(1, 2, 3, value=9.0))],
            [(5000, 5000)] * 3,
            id="all-replaced",
        ),
        pytest.param(
            [(10, series(1, 2, 3)), (5000, series(1, 2, 3, 4, 5))],
            [(10, 10)] * 3 + [(5000, 5000)] * 2,
            id="repeats-and-more",
        ),
        pytest.param(
            [(10, series(1, 4)), (5000, series(2, 3))],
            [(10, 10), (5000, 5000), (5000, 5000), (10, 10)],
            id="into-a-gap",
        ),
        pytest.param(
            [(10, series(1, 3, 5)), (5000, series(2, 4))],
            [(10, 10), (5000, 5000), (10, 10), (5000, 5000), (10, 10)],
            id="between-the-others",
        ),
        pytest.param(
            [(10, series(1, 3, 5)), (5000, series(0, 2, 6))],
            [(5000, 5000), (10, 10), (5000, 5000), (10, 10), (10, 10), (5000, 5000)],
            id="all-around",
        ),
        pytest.param(
            [(10, series(4, 5)), (5000, series(1, 2))],
            [(5000, 5000)] * 2 + [(10, 10)] * 2,
            id="before-all",
        ),
        pytest.param(
            [(10, series(1, 3, 5)), (5000, series(2, 4)), (9000, series(3, 4, value=7.0))],
            [(10, 10), (5000, 5000), (9000, 9000), (9000, 9000), (10, 10)],
            id="over-one-another",
        ),
        pytest.param(
            [(10, series(1, 2, 3)), (None, series(2, value=9.0))],
            [(10, 10), None, (10, 10)],
            id="replaced-by-who-knows-when",
        ),
        pytest.param(
            [(10, series(1, 2, 3)), (None, series(3, value=9.0))],
            [(10, 10), (10, 10), None],
            id="the-last-replaced-by-who-knows-when",
        ),
        pytest.param(
            [(10, series(1, 2, 3)), (None, series(2, value=9.0)), (30, series(2, value=8.0))],
            [(10, 10), (30, 30), (10, 10)],
            id="replaced-by-who-knows-when-and-then-again",
        ),
        pytest.param(
            [(10, series(1)), (None, series(1, value=9.0)), (30, series(1, value=8.0))],
            [(30, 30)],
            id="one-alone-replaced-twice",
        ),
        pytest.param(
            [(None, series(1, 2, 3)), (50, series(2, value=9.0)), (60, series(4))],
            [None, (50, 50), None, (60, 60)],
            id="the-first-unknown",
        ),
        pytest.param(
            [(2, series(1)), (None, series(2)), (4, series(3)), (5, series(2, value=9.0))],
            [(2, 2), (5, 5), (4, 4)],
            id="an-unknown-one-between",
        ),
        pytest.param(
            [(5000, series(1, 2, 3)), (6000, series(4, 5)), (50_000, series(2, value=9.0)),
             (6001, series(6))],
            [(5000, 5000), (50_000, 50_000), (5000, 5000)] + [(6000, 6000.0)] * 2 + [(6001, 6001)],
            id="goes-on-after-something-late",
        ),
    ],
)  # fmt: skip
def test_only_what_is_new_or_different_arrives(
    store: Store, how: str, commits: Sequence[tuple[float | None, Samples]], expected: Bounds
) -> None:
    for arrived_s, samples in commits:
        put(store, how, arrived_s, samples)
    bounds = told(store)
    assert [found is None for found in bounds] == [want is None for want in expected]
    for found, want in zip(bounds, expected, strict=True):
        if found is not None and want is not None:
            assert found[0] <= want[0] <= want[1] <= found[1] <= found[0] + 10


def test_points_do_not_mix(store: Store) -> None:
    store.write({POINT: series(1, 2), OTHER: series(1)}, arrived=T0 + 5 * S)
    store.write({OTHER: series(3, 1, value=2.0)}, arrived=T0 + 900 * S)
    assert told(store) == [(5, 6), (5, 7)]
    assert told(store, OTHER) == [(900, 900)] * 2


def test_times_may_be_asked_in_any_order_and_twice(store: Store) -> None:
    store.write({POINT: series(1)}, arrived=T0 + 5 * S)
    store.write({POINT: series(900)}, arrived=T0 + 2000 * S)
    asked = T0 + S * np.array([900, 1, 7, 900])
    assert told(store, times=asked) == [(2000, 2001), (5, 6), None, (2000, 2001)]


@ways
def test_the_same_load_twice_changes_nothing(store: Store, how: str) -> None:
    for arrived_s in (10, 90_000, None):  # the first clock is behind that of the readings
        put(store, how, arrived_s, series(*range(1000)))
        assert told(store) == [(10, 10)] * 1000
        assert rows(store) == 1


@ways
def test_the_first_and_the_last_moment_there_are_have_an_arrival(store: Store, how: str) -> None:
    samples = Samples.of([-(2**63), 0, 2**63 - 1], [1.0, 2.0, 3.0])
    for value in (0.0, 7.0):
        put(store, how, 5, Samples.of(samples.time, samples.value + value))
        assert told(store) == [(5, 5)] * 3


def test_a_live_point_costs_a_row_a_day(store: Store) -> None:
    lags = np.random.default_rng(1).uniform(0.2, 2.0, 100)
    for half_hour, lag in enumerate(lags.tolist()):
        store.write({POINT: series(half_hour * 1800)}, arrived=moment(half_hour * 1800 + lag))
    assert rows(store) <= 6  # 50 hours
    found = store.arrivals(POINT, store.read(POINT).time)
    arrived = T0 + np.round((1800 * np.arange(100) + lags) * S).astype(np.int64)
    assert np.all((found.first <= arrived) & (arrived <= found.last))
    assert np.all(found.last - found.first <= 4 * S)


def test_readings_a_little_out_of_order_cost_no_row_of_their_own(store: Store) -> None:
    for second in range(0, 100, 2):
        for late in (second + 1, second):
            store.write({POINT: series(late)}, arrived=moment(second + 2))
    assert rows(store) == 2  # the second one came before the very first
    found = store.arrivals(POINT, store.read(POINT).time)
    arrived = T0 + S * np.repeat(np.arange(2, 102, 2), 2)
    assert np.all((found.first <= arrived) & (arrived <= found.last))
    assert np.all(found.last - found.first <= MINUTE)


def test_a_load_costs_a_row_a_commit(store: Store) -> None:
    ten_days_later = T0 + 10 * 86_400 * S
    clock = count(ten_days_later, S)
    with store.bulk(flush_rows=100, arrived=clock.__next__) as bulk:
        bulk.add(POINT, series(*range(0, 1_000_000, 1000)))
    assert next(clock) == ten_days_later + 10 * S  # it was asked once a commit
    assert rows(store) == 10
    found = store.arrivals(POINT, store.read(POINT).time)
    assert np.array_equal(found.first, ten_days_later + S * np.repeat(np.arange(10), 100))
    assert np.array_equal(found.last, found.first)


def test_what_is_told_does_not_change_with_what_arrives_later(store: Store) -> None:
    """Evidence made twice must be the same bytes."""
    lags = np.random.default_rng(2).uniform(0.2, 9.0, 60).tolist()
    before: Bounds = []
    for second, lag in enumerate(lags):
        store.write({POINT: series(second)}, arrived=moment(second + lag))
        now = told(store)
        assert now[:-1] == before
        before = now


def test_a_second_source_between_the_readings_costs_bytes_not_rows(store: Store) -> None:
    jitter = np.random.default_rng(1).integers(0, 1000, 20_000) * 1_000_000
    first = Samples.of(T0 + 2 * S * np.arange(20_000), np.ones(20_000))
    second = Samples.of(first.time + S // 2 + jitter, np.ones(20_000))
    put(store, "bulk", 50_000, first)
    put(store, "bulk", 900_000, second)
    assert rows(store) == 2
    with store._db.reading() as tx:
        size = tx.conn.execute(text("select max(length(block)) from arrival")).scalar_one()
    assert size < 2 * len(second)
    times = np.sort(np.concatenate([first.time, second.time]))
    found = store.arrivals(POINT, times)
    expected = T0 + S * np.where(np.isin(times, second.time), 900_000, 50_000)
    assert np.array_equal(found.first, expected)
    assert np.array_equal(found.last, expected)


def test_older_files_after_newer_ones_cost_no_block(store: Store) -> None:
    for day in (5, 4, 3):
        put(store, "bulk", 900_000 + 1000 * day, series(*range(86_400 * day, 86_400 * day + 999)))
    with store._db.reading() as tx:
        blocks = tx.conn.execute(text("select count(block) from arrival")).scalar()
    assert (rows(store), blocks) == (3, 0)


def test_a_moment_before_1970_is_no_arrival(store: Store) -> None:
    with pytest.raises(ValueError, match="arrived: expected ns since 1970, got -1"):
        store.write({POINT: series(1)}, arrived=-1)
    bulk = store.bulk(arrived=lambda: -5)
    bulk.add(POINT, series(1))
    with pytest.raises(ValueError, match="got -5"):
        bulk.flush()
    assert store.points() == []


def test_a_batch_that_is_not_committed_arrives_nowhere(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise StoreError("store", "the disk is full")

    store.write({POINT: series(1)}, arrived=T0 + 2 * S)
    monkeypatch.setattr("store.journal.append", full)
    with pytest.raises(StoreError, match="full"):
        store.write({POINT: series(2)}, arrived=T0 + 3 * S)
    assert told(store, times=series(1, 2).time) == [(2, 3), None]


def test_a_snapshot_sees_arrivals_and_readings_of_one_state(store: Store) -> None:
    store.write({POINT: series(1)}, arrived=T0 + 2 * S)
    with store.snapshot():
        assert told(store) == [(2, 3)]
        store.write({POINT: series(1, value=5.0)}, arrived=T0 + 900 * S)
        assert told(store) == [(2, 3)]
    assert told(store) == [(900, 900)]


@pytest.mark.parametrize(
    "harm",
    [
        pytest.param("block = cast(block || block as blob)", id="too-long"),
        pytest.param("last_ns = last_ns + 1", id="beside-the-wrong-span"),
        pytest.param("checksum = checksum - 1", id="the-checksum"),
    ],
)
def test_a_damaged_block_makes_unknown_what_it_told_of(sqlite_url: str, harm: str) -> None:
    with open_store(sqlite_url) as store:
        put(store, "bulk", 10, series(1, 3, 5, 7, 99))
        put(store, "bulk", 900, series(2, 4))
        assert store.check() == []
        with store._db.writing() as tx:
            tx.conn.execute(text(f"update arrival set {harm} where block is not null"))
        assert told(store) == [(10, 10), None, None, None, *[(10, 10)] * 3]
        assert len(store.read(POINT)) == 7
        [damage] = store.check()
    assert isinstance(damage, DamageError)
    assert (damage.part, damage.point, damage.start) == ("arrival", POINT, T0 + 2 * S)
    assert "arrival 2 of rail-1.resistance" in str(damage)


# Any sequence of commits tells the same as a plain dict

POINTS = [POINT, OTHER]
Commit = tuple[str, int | None, dict[str, list[tuple[int, float]]]]

listed = st.lists(
    st.tuples(st.integers(0, 40).map(lambda tick: T0 + 10 * tick * S), st.sampled_from([0.0, 1.0])),
    max_size=12,
)
arrivals = st.one_of(
    st.none(),
    st.integers(0, 500).map(lambda second: T0 + second * S),
    st.sampled_from([T0 + 3 * 86_400 * S, T0 + 3 * 86_400 * S + MINUTE]),
)
commits = st.lists(
    st.tuples(
        st.sampled_from(["write", "write", "bulk", "fold"]),
        arrivals,
        st.dictionaries(st.sampled_from(POINTS), listed, max_size=2),
    ),
    max_size=12,
)


class Dict:
    """Each reading with its value and the moment it arrived: the slow and obvious one."""

    def __init__(self) -> None:
        self.held: dict[str, dict[int, tuple[float, int | None]]] = {name: {} for name in POINTS}

    def put(self, arrived: int | None, samples: Sequence[tuple[str, int, float]]) -> None:
        """Take one commit: of several at one time only the last counts."""
        for (point, time), value in {(name, time): value for name, time, value in samples}.items():
            if self.held[point].get(time, (None,))[0] != value:
                self.held[point][time] = (value, arrived)


def commit(store: Store, model: Dict, step: Commit, flush_rows: int) -> None:
    how, arrived, batch = step
    flat = [(name, *sample) for name, samples in batch.items() for sample in samples]
    if how == "fold":
        store.fold()
    elif how == "write":
        store.write({name: as_samples(samples) for name, samples in batch.items()}, arrived=arrived)
        model.put(arrived, flat)
    else:
        with store.bulk(flush_rows=flush_rows, arrived=ticking(arrived)) as bulk:
            for name, samples in batch.items():
                bulk.add(name, as_samples(samples))
        clock = ticking(arrived)
        for low in range(0, len(flat), flush_rows):
            model.put(clock and clock(), flat[low : low + flush_rows])


def ticking(arrived: int | None) -> Callable[[], int] | None:
    """Return a clock that goes on half a minute each time it is asked."""
    return None if arrived is None else count(arrived, MINUTE // 2).__next__


def as_samples(samples: Sequence[tuple[int, float]]) -> Samples:
    return Samples.of([time for time, _ in samples], [value for _, value in samples])


def must_tell_alike(store: Store, model: Dict) -> None:
    for point, held in model.held.items():
        times = np.array(list(held), np.int64)
        found = store.arrivals(point, times)
        for (_, arrived), first, last in zip(
            held.values(), found.first.tolist(), found.last.tolist(), strict=True
        ):
            if arrived is None:
                assert (first, last) == (NEVER, NEVER)
            else:
                assert first <= arrived <= last <= first + MINUTE
    assert store.check() == []


def play(store: Store, script: Sequence[Commit], flush_rows: int) -> None:
    model = Dict()
    for step in script:
        commit(store, model, step, flush_rows)
    must_tell_alike(store, model)


sizes = st.sampled_from([1, 4, 100])


@settings(max_examples=25)
@given(script=commits, flush_rows=sizes)
def test_sqlite_agrees_with_a_dict(
    kept_file: Kept, script: Sequence[Commit], flush_rows: int
) -> None:
    play(kept_file.empty(), script, flush_rows)


@settings(
    max_examples=8,
    phases=[Phase.explicit, Phase.reuse, Phase.generate],  # shrinking on a server takes minutes
)
@given(script=commits, flush_rows=sizes)
def test_postgresql_agrees_with_a_dict(
    kept_database: Kept, script: Sequence[Commit], flush_rows: int
) -> None:
    play(kept_database.empty(), script, flush_rows)


@settings(max_examples=12)
@given(script=commits)
def test_journal_and_bulk_tell_the_same(kept_file: Kept, script: Sequence[Commit]) -> None:
    outcomes = []
    for way in ("write", "bulk"):
        store, model = kept_file.empty(), Dict()
        for _, arrived, batch in script:
            commit(store, model, (way, arrived, batch), 1000)
        outcomes.append({point: told(store, point) for point in POINTS})
    assert outcomes[0] == outcomes[1]
