"""What was replaced: every reading that another took the place of stays on record."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from itertools import count

import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from sqlalchemy import text

from bondtrail.samples import Replaced, Samples
from store import DamageError, Store, StoreError, Written, open_store
from tests.store.keeping import Kept

S = 10**9
T0 = 1_767_225_600 * S
POINT = "rail-1.resistance"
OTHER = "rail-1.flow"
Row = tuple[float, float] | tuple[float, float, int]


def series(*rows: Row) -> Samples:
    """Return samples given as (second after T0, value) or with their quality."""
    return Samples.of(
        [T0 + round(row[0] * S) for row in rows],
        [row[1] for row in rows],
        [row[2] if len(row) == 3 else 0 for row in rows],
    )


def put(store: Store, how: str, samples: Samples, at_s: float | None = None) -> Written:
    """Commit samples of the point in one of the ways there are."""
    arrived = None if at_s is None else T0 + round(at_s * S)
    if how == "bulk":
        with store.bulk(arrived=None if arrived is None else lambda: arrived) as bulk:
            bulk.add(POINT, samples)
        return bulk.written
    written = store.write({POINT: samples}, arrived=arrived)
    if how == "folded":
        store.fold()
    return written


def told(store: Store, point: str = POINT, *span: int) -> list[tuple[float | None, Samples]]:
    """Return what was replaced, each with the second after T0 at which the later one arrived."""
    return [
        (None if each.at is None else (each.at - T0) / S, each.samples)
        for each in store.replaced(point, *span)
    ]


def rows(store: Store) -> int:
    with store._db.reading() as tx:
        return int(tx.conn.execute(text("select count(*) from replaced")).scalar_one())


ways = pytest.mark.parametrize("how", ["journal", "folded", "bulk"])
HELD = series((1, 1.0), (2, math.inf), (3, 3.0, 2))


@ways
@pytest.mark.parametrize(
    ("later", "gone"),
    [
        pytest.param(series((2, math.inf)), series(), id="a-repeat"),
        pytest.param(series((1.5, 7.0), (9, 7.0)), series(), id="new-ones"),
        pytest.param(series((2, 3.0)), series((2, math.inf)), id="a-value"),
        pytest.param(series((3, 3.0)), series((3, 3.0, 2)), id="a-quality"),
        pytest.param(
            series((1, 1.0), (2, 0.0), (2.5, 1.0), (3, 0.0)),
            series((2, math.inf), (3, 3.0, 2)),
            id="some-of-each",
        ),
        pytest.param(
            series((2, 5.0), (2, 6.0), (2, 6.0)),
            series((2, math.inf), (2, 5.0)),
            id="twice-in-one-batch",
        ),
        pytest.param(
            series((2, 5.0), (2, math.inf)), series((2, math.inf), (2, 5.0)), id="there-and-back"
        ),
        pytest.param(series((5, 1.0), (5, 2.0)), series((5, 1.0)), id="of-what-was-never-held"),
        pytest.param(
            series((3, 9.0), (1, 8.0)), series((1, 1.0), (3, 3.0, 2)), id="in-any-order"
        ),
    ],
)  # fmt: skip
def test_what_is_counted_as_replaced_is_kept(
    store: Store, how: str, later: Samples, gone: Samples
) -> None:
    put(store, how, HELD, 10)
    written = put(store, how, later, 99)
    assert told(store) == ([(99, gone)] if len(gone) else [])
    assert written.replaced == len(gone)
    assert store.replacements() == ({POINT: len(gone)} if len(gone) else {})


@ways
def test_each_commit_keeps_what_it_replaced(store: Store, how: str) -> None:
    for at_s, value in ((10, 1.0), (20, 2.0), (None, 3.0), (15, 1.0), (30, 1.0)):
        put(store, how, series((1, value), (2, 0.0)), at_s)
    store.fold()
    assert told(store) == [
        (20, series((1, 1.0))),
        (None, series((1, 2.0))),
        (15, series((1, 3.0))),  # by commit, whatever the clock said
    ]
    assert store.read(POINT) == series((1, 1.0), (2, 0.0))


@pytest.mark.parametrize(
    ("start", "end", "seconds"),
    [
        pytest.param(None, None, [1, 2, 2, 3], id="everything"),
        pytest.param(T0 + 2 * S, None, [2, 2, 3], id="start-is-in"),
        pytest.param(None, T0 + 2 * S, [1], id="end-is-out"),
        pytest.param(T0 + 2 * S, T0 + 3 * S, [2, 2], id="several-of-one-time"),
        pytest.param(T0 + 4 * S, None, [], id="after-all"),
        pytest.param(T0 + 2 * S + 1, T0 + 3 * S, [], id="between-two"),
        pytest.param(T0 + 3 * S, T0, [], id="backwards"),
    ],
)
def test_a_span_is_half_open(
    store: Store, start: int | None, end: int | None, seconds: list[int]
) -> None:
    put(store, "journal", HELD)
    put(store, "journal", series((1, 5.0), (2, 5.0), (2, 6.0), (3, 5.0)), 99)
    found = store.replaced(POINT, start, end)
    assert [(int(t) - T0) / S for each in found for t in each.samples.time] == seconds
    assert all(len(each.samples) for each in found)


@ways
def test_the_first_and_the_last_moment_there_are_can_be_replaced(store: Store, how: str) -> None:
    ends = Samples.of([-(2**63), 2**63 - 1], [1.0, 2.0])
    put(store, how, ends)
    put(store, how, Samples.of(ends.time, [5.0, 6.0]))
    assert told(store) == [(None, ends)]
    assert store.check() == []


def test_points_do_not_mix(store: Store) -> None:
    first = {POINT: series((1, 1.0)), OTHER: series((1, 800.0), (2, 800.0))}
    store.write(first, arrived=T0)
    store.write({OTHER: series((2, 0.0)), POINT: series((1, 2.0))}, arrived=T0 + 9 * S)
    assert told(store) == [(9, series((1, 1.0)))]
    assert told(store, OTHER) == [(9, series((2, 800.0)))]
    assert store.replacements() == {OTHER: 1, POINT: 1}


def test_of_nothing_nothing_was_replaced(store: Store) -> None:
    assert store.replaced(POINT) == []
    assert store.replacements() == {}


@ways
def test_where_nothing_is_replaced_nothing_is_written(store: Store, how: str) -> None:
    for _ in range(3):
        put(store, how, HELD)
    assert rows(store) == 0


def test_a_load_that_replaces_costs_a_row_a_commit_and_some_bytes_a_reading(store: Store) -> None:
    time = T0 + S * np.arange(50_000)
    for value in (1.0, 2.0):
        with store.bulk(flush_rows=25_000) as bulk:
            bulk.add(POINT, Samples.of(time, value + np.arange(50_000) % 977 / 1000))
    with store._db.reading() as tx:
        found = tx.conn.execute(text("select count(*), sum(length(block)) from replaced")).one()
    assert found[0] == 2
    assert found[1] < 3 * 50_000
    assert store.replacements() == {POINT: 50_000}


def test_a_batch_that_is_not_committed_replaces_nothing(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise StoreError("store", "the disk is full")

    put(store, "journal", HELD)
    monkeypatch.setattr("store.journal.append", full)
    with pytest.raises(StoreError, match="full"):
        put(store, "journal", series((1, 5.0)))
    assert store.replaced(POINT) == []


def test_a_snapshot_sees_readings_and_what_they_replaced_of_one_state(store: Store) -> None:
    put(store, "journal", HELD)
    with store.snapshot():
        assert store.replaced(POINT) == []
        put(store, "journal", series((1, 5.0)), 9)
        assert store.replaced(POINT) == []
    assert told(store) == [(9, series((1, 1.0)))]


@pytest.mark.parametrize(
    "statement",
    [
        "delete from replaced where id = (select max(id) from replaced)",
        "delete from replaced",
        *(
            f"update replaced set {change}"
            for change in (
                "point_id = point_id + 1",
                "at_ns = null",
                "first_ns = first_ns - 1",
                "last_ns = last_ns + 1",
                "samples = samples + 1",
                "checksum = 0",
                "block = substr(block, 2)",
            )
        ),
    ],
)
def test_the_database_refuses_to_change_what_was_replaced(store: Store, statement: str) -> None:
    put(store, "journal", HELD)
    put(store, "journal", series((1, 5.0), (2, 5.0)), 9)
    before = told(store)
    with pytest.raises(StoreError, match="kept for good"), store._db.writing() as tx:
        tx.conn.execute(text(statement))
    assert told(store) == before


def test_postgresql_refuses_to_empty_the_table(made_database: str) -> None:
    with (
        open_store(made_database) as store,
        pytest.raises(StoreError, match="kept for good"),
        store._db.writing() as tx,
    ):
        tx.conn.execute(text("truncate replaced"))


def test_sqlite_refuses_to_put_a_row_in_the_place_of_another(sqlite_url: str) -> None:
    """SQLite takes the old row away then without asking what guards deletes."""
    with open_store(sqlite_url) as store:
        put(store, "journal", HELD)
        put(store, "journal", series((1, 5.0)), 9)
        with pytest.raises(StoreError, match="kept for good"), store._db.writing() as tx:
            tx.conn.execute(text("insert or replace into replaced select * from replaced"))
        assert told(store) == [(9, series((1, 1.0)))]


HARM = [
    pytest.param("block = cast(block || block as blob)", id="too-long"),
    pytest.param("block = x''", id="emptied"),
    pytest.param("samples = samples + 1", id="another-count"),
    pytest.param("last_ns = last_ns + 1", id="beside-the-wrong-span"),
    pytest.param("checksum = checksum - 1", id="the-checksum"),
]


@pytest.mark.parametrize("harm", HARM)
def test_a_damaged_block_is_named_and_the_rest_is_told(sqlite_url: str, harm: str) -> None:
    with open_store(sqlite_url) as store:
        put(store, "journal", HELD)
        for at_s, second in ((9, 1), (10, 2), (11, 3)):
            put(store, "journal", series((second, 5.0)), at_s)
        assert store.check() == []
        with store._db.writing() as tx:
            tx.conn.execute(text("drop trigger replaced_no_update"))
            tx.conn.execute(text(f"update replaced set {harm} where id = 2"))
        with pytest.raises(DamageError, match=r"replaced 2 of rail-1\.resistance, 2026-01-01"):
            store.replaced(POINT)
        errors: list[DamageError] = []
        found = store.replaced(POINT, on_damage=errors.append)
        assert [each.at for each in found] == [T0 + 9 * S, T0 + 11 * S]
        assert store.read(POINT) == series((1, 5.0), (2, 5.0), (3, 5.0))
        [damage] = store.check()
        assert [str(each) for each in errors] == [str(damage)]
        assert (damage.part, damage.id, damage.point) == ("replaced", 2, POINT)
        assert damage.start == T0 + 2 * S
        assert told(store, POINT, T0, T0 + 2 * S) == [(9, series((1, 1.0)))]


def test_what_a_damaged_segment_held_is_set_aside_and_not_replaced(sqlite_url: str) -> None:
    """Nobody can tell what was there: the block stays as it is, for whoever can."""
    with open_store(sqlite_url) as store:
        put(store, "bulk", HELD)
        with store._db.writing() as tx:
            tx.conn.execute(text("update segment set checksum = 0"))
        assert put(store, "bulk", series((1, 5.0))) == Written(new=1)
        assert store.replaced(POINT) == []
        with store._db.reading() as tx:
            assert tx.conn.execute(text("select count(*) from damaged_segment")).scalar() == 1


# Any sequence of commits tells the same as a plain dict that remembers

POINTS = [POINT, OTHER]
Commit = tuple[str, int | None, dict[str, list[tuple[int, float, int]]]]

listed = st.lists(
    st.tuples(
        st.integers(0, 12).map(lambda tick: T0 + 10 * tick * S),
        st.sampled_from([0.0, 1.0, math.inf]),
        st.sampled_from([0, 0, 2]),
    ),
    max_size=12,
)
commits = st.lists(
    st.tuples(
        st.sampled_from(["write", "write", "bulk", "fold"]),
        st.one_of(st.none(), st.integers(0, 500).map(lambda second: T0 + second * S)),
        st.dictionaries(st.sampled_from(POINTS), listed, max_size=2),
    ),
    max_size=12,
)


class Remembering:
    """Each point as a dict, and each reading that left it: the slow and obvious one."""

    def __init__(self) -> None:
        self.held: dict[str, dict[int, tuple[float, int]]] = {name: {} for name in POINTS}
        self.gone: dict[str, list[Replaced]] = {name: [] for name in POINTS}

    def put(self, arrived: int | None, flat: Sequence[tuple[str, int, float, int]]) -> None:
        """Take one commit, sample by sample."""
        for point in POINTS:
            left = []
            for _, time, *rest in (each for each in flat if each[0] == point):
                now = (rest[0], int(rest[1]))
                before = self.held[point].get(time, now)
                if before != now:
                    left.append((time, *before))
                self.held[point][time] = now
            if left:
                left.sort(key=lambda each: each[0])
                self.gone[point].append(Replaced(arrived, as_samples(left)))


def as_samples(rows: Sequence[tuple[int, float, int]]) -> Samples:
    return Samples.of(*np.array(rows, object).reshape(-1, 3).T)


def ticking(arrived: int | None) -> Callable[[], int] | None:
    """Return a clock that goes on a second each time it is asked."""
    return None if arrived is None else count(arrived, S).__next__


def commit(store: Store, model: Remembering, step: Commit, flush_rows: int) -> None:
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


def play(store: Store, script: Sequence[Commit], flush_rows: int) -> None:
    model = Remembering()
    for step in script:
        commit(store, model, step, flush_rows)
    counted = {name: sum(len(each.samples) for each in gone) for name, gone in model.gone.items()}
    for name in POINTS:
        assert store.replaced(name) == model.gone[name]
    assert store.replacements() == {name: size for name, size in counted.items() if size}
    assert store.check() == []


sizes = st.sampled_from([1, 4, 100])


@settings(max_examples=16)
@given(script=commits, flush_rows=sizes)
def test_sqlite_agrees_with_a_dict_that_remembers(
    kept_file: Kept, script: Sequence[Commit], flush_rows: int
) -> None:
    play(kept_file.empty(), script, flush_rows)


@settings(
    max_examples=8,
    phases=[Phase.explicit, Phase.reuse, Phase.generate],  # shrinking on a server takes minutes
)
@given(script=commits, flush_rows=sizes)
def test_postgresql_agrees_with_a_dict_that_remembers(
    kept_database: Kept, script: Sequence[Commit], flush_rows: int
) -> None:
    play(kept_database.empty(), script, flush_rows)


@settings(max_examples=10)
@given(script=commits)
def test_journal_and_bulk_keep_the_same(kept_file: Kept, script: Sequence[Commit]) -> None:
    outcomes = []
    for way in ("write", "bulk"):
        store = kept_file.empty()
        for _, arrived, batch in script:
            commit(store, Remembering(), (way, arrived, batch), 1000)
        outcomes.append([store.replaced(point) for point in POINTS])
    assert outcomes[0] == outcomes[1]
