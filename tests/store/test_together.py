"""Several at once: no sample is lost, and a reader sees one state."""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from bondtrail.samples import Samples
from store import Store, Written, open_store, segments
from store.engine import Transaction
from store.fetching import OnDamage
from store.layout import Segment

S = 10**9
T0 = 1_767_225_600 * S
POINT = "rail-1.resistance"


def part(first: int, size: int, value: float = 1.0) -> Samples:
    return Samples.of(T0 + S * np.arange(first, first + size), np.full(size, value))


@pytest.mark.parametrize("shared", [True, False], ids=["one-store", "a-store-each"])
def test_writers_of_one_point_lose_nothing(store_url: str, shared: bool) -> None:
    writers, batches = 4, 10

    def work(number: int) -> Written:
        opened = first if shared else open_store(store_url)
        written = Written()
        for batch in range(batches):
            written += opened.write({POINT: part(5 * (batch * writers + number), 10, number)})
        if not shared:
            opened.close()
        return written

    with open_store(store_url) as first, ThreadPoolExecutor(writers) as pool:
        total = sum(pool.map(work, range(writers)), Written())
        back = first.read(POINT)
        assert np.array_equal(back.time, part(0, 5 * (writers * batches + 1)).time)
        assert total.new == len(back)
        assert total.new + total.replaced == 10 * writers * batches
        assert first.points()[0].samples == len(back)
        first.fold()
        assert first.read(POINT) == back


def test_a_reader_never_sees_a_sample_twice_or_not_at_all_while_others_fold(
    store_url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("store.journal.CHUNK", 40)
    began, stop = threading.Event(), threading.Event()
    committed = [0]

    def write(store: Store) -> None:
        try:
            assert began.wait(60)
            for batch in range(40):
                store.write({POINT: part(20 * batch, 20)})
                committed[0] = 20 * (batch + 1)
        finally:
            stop.set()

    def fold(store: Store) -> int:
        folded = 0
        while not stop.is_set():
            folded += store.fold()
        return folded + store.fold()

    def read(store: Store) -> int:
        reads = 0
        while not stop.is_set():
            at_least = committed[0]
            back = store.read(POINT)
            assert len(back) >= at_least
            assert np.array_equal(back.time, part(0, len(back)).time)
            reads += 1
            began.set()
        return reads

    with open_store(store_url) as store, ThreadPoolExecutor(3) as pool:
        folding, reading = pool.submit(fold, store), pool.submit(read, store)
        pool.submit(write, store).result()
        assert folding.result() == 40
        assert reading.result() > 0


def test_a_reader_stands_on_its_ground_while_it_is_rewritten(
    store_url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The segments that a reader found are gone by the time that it asks for their blocks."""
    load, folded = segments.load, []

    def fold_first(tx: Transaction, found: list[Segment], on_damage: OnDamage) -> Samples:
        if not folded:
            folded.append(True)
            other.write({POINT: part(3, 30, 3.0)})
            folded.append(other.fold())
        return load(tx, found, on_damage)

    with open_store(store_url) as reader, open_store(store_url) as other:
        other.write({POINT: part(0, 10, 1.0)})
        other.fold()
        other.write({POINT: part(5, 10, 2.0)})
        monkeypatch.setattr("store.segments.load", fold_first)
        back = reader.read(POINT)
        assert folded == [True, 2]
        assert np.array_equal(back.time, part(0, 15).time)
        assert back.value.tolist() == [1.0] * 5 + [2.0] * 10
        assert reader.read(POINT).value.tolist() == [1.0] * 3 + [3.0] * 30


def test_loading_and_listening_at_once_lose_nothing(store_url: str) -> None:
    def load(store: Store) -> None:
        with store.bulk(flush_rows=3_000) as bulk:
            for low in range(0, 20_000, 1_000):
                bulk.add(POINT, part(low, 1_000, 1.0))

    def listen(store: Store) -> None:
        for low in range(0, 20_000, 1_000):
            store.write({POINT: part(low + 500, 1_000, 1.0), "rail-2.flow": part(low, 10)})

    with open_store(store_url) as store, ThreadPoolExecutor(2) as pool:
        for job in [pool.submit(load, store), pool.submit(listen, store)]:
            job.result()
        for _ in range(2):
            assert store.read(POINT) == part(0, 20_500, 1.0)
            assert len(store.read("rail-2.flow")) == 200
            store.fold()


def test_a_revision_never_comes_twice_however_many_touch(store_url: str) -> None:
    with open_store(store_url) as store, ThreadPoolExecutor(4) as pool:
        list(pool.map(lambda number: store.touch("rail-1", T0 - number), range(40)))
        [mark] = store.touched().values()
        assert (mark.since, mark.revision) == (T0 - 39, 40)


def test_what_is_read_in_a_snapshot_comes_from_one_state(store_url: str) -> None:
    with open_store(store_url) as reader, open_store(store_url) as writer:
        writer.write({POINT: part(0, 10)})
        with reader.snapshot():
            assert len(reader.read(POINT)) == 10
            writer.write({POINT: part(10, 5)})
            reader.write({POINT: part(20, 1)})
            with reader.snapshot():
                assert len(reader.read(POINT)) == 10
            assert [row.samples for row in reader.points()] == [10]
        assert len(reader.read(POINT)) == 16


def test_a_snapshot_is_of_the_thread_that_took_it(store_url: str) -> None:
    with open_store(store_url) as store, ThreadPoolExecutor(1) as pool:
        store.write({POINT: part(0, 10)})
        with store.snapshot():
            assert len(store.read(POINT)) == 10
            store.write({POINT: part(10, 5)})
            assert len(pool.submit(store.read, POINT).result()) == 15
            assert len(store.read(POINT)) == 10


def test_a_snapshot_ends_with_its_block_even_by_an_error(store_url: str) -> None:
    with open_store(store_url) as store:
        with pytest.raises(ZeroDivisionError), store.snapshot():
            1 / 0  # noqa: B018
        store.write({POINT: part(0, 3)})
        assert len(store.read(POINT)) == 3
