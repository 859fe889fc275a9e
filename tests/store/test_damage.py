"""A flipped byte is noticed, named, and costs no more than its own block."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from sqlalchemy import Table, select, update
from sqlalchemy.engine import make_url

from bondtrail.samples import Samples
from store import DamageError, Store, StoreError, Written, open_store
from store.schema import journal, segment

S = 10**9
T0 = 1_767_225_600 * S
DAY = 86_400
POINT = "rail-1.resistance"
OTHER = "rail-2.resistance"

# Three segments: what is longer than a day and a half is cut after a day.
SAMPLES = Samples.of(T0 + S * np.arange(3 * DAY), np.arange(3 * DAY) % 977 / 100)


@pytest.fixture
def loaded(store: Store) -> Store:
    with store.bulk() as bulk:
        bulk.add(POINT, SAMPLES)
        bulk.add(OTHER, SAMPLES.between(T0, T0 + 9 * S))
    return store


def tamper(store: Store, table: Table, row_id: int, change: Callable[[bytes], bytes]) -> None:
    with store._db.writing() as tx:
        block = tx.conn.execute(select(table.c.block).where(table.c.id == row_id)).scalar_one()
        changed = update(table).where(table.c.id == row_id).values(block=change(bytes(block)))
        tx.conn.execute(changed)


def flip(at: float) -> Callable[[bytes], bytes]:
    """Return a change that flips one bit, ``at`` from 0 (first byte) to 1 (last)."""

    def change(block: bytes) -> bytes:
        place = round(at * (len(block) - 1))
        return block[:place] + bytes([block[place] ^ 0x10]) + block[place + 1 :]

    return change


def ids(store: Store, table: Table) -> list[int]:
    with store._db.reading() as tx:
        return list(tx.conn.execute(select(table.c.id).order_by(table.c.id)).scalars())


CHANGES = [
    *(pytest.param(flip(at), id=f"flip-{at}") for at in (0, 0.001, 0.3, 0.7, 1)),
    pytest.param(lambda block: block[:-1], id="cut"),
    pytest.param(lambda block: b"", id="emptied"),
    pytest.param(lambda block: block[::-1], id="scrambled"),
]


@pytest.mark.parametrize("change", CHANGES)
def test_a_damaged_segment_is_named_and_the_rest_is_read(
    loaded: Store, change: Callable[[bytes], bytes]
) -> None:
    middle = ids(loaded, segment)[1]
    tamper(loaded, segment, middle, change)
    with pytest.raises(
        DamageError, match=rf"segment {middle} of {POINT}, 2026-01-02T00:00:00.000Z"
    ):
        loaded.read(POINT)
    errors: list[DamageError] = []
    rest = loaded.read(POINT, on_damage=errors.append)
    lost = slice(DAY, 2 * DAY)
    assert np.array_equal(rest.time, np.delete(SAMPLES.time, lost))
    assert np.array_equal(rest.value, np.delete(SAMPLES.value, lost))
    [error] = errors
    assert (error.part, error.id, error.point) == ("segment", middle, POINT)
    assert (error.start, error.end) == (T0 + DAY * S, T0 + (2 * DAY - 1) * S + 1)


def test_what_does_not_touch_the_damage_reads_as_ever(loaded: Store) -> None:
    tamper(loaded, segment, ids(loaded, segment)[1], flip(0.5))
    assert loaded.read(POINT, end=T0 + DAY * S) == SAMPLES.between(T0, T0 + DAY * S)
    assert len(loaded.read(OTHER)) == 9


def test_check_names_every_damaged_block(loaded: Store) -> None:
    loaded.write({OTHER: Samples.of([T0 - S], [1.0])})
    first, _, last, _ = ids(loaded, segment)
    for row_id in (first, last):
        tamper(loaded, segment, row_id, flip(0.5))
    [row] = ids(loaded, journal)
    tamper(loaded, journal, row, flip(0.9))
    found = [(error.part, error.id, error.point) for error in loaded.check()]
    assert found == [("segment", first, POINT), ("segment", last, POINT), ("journal", row, None)]


def test_a_block_beside_the_wrong_span_is_noticed(loaded: Store) -> None:
    first = ids(loaded, segment)[0]
    with loaded._db.writing() as tx:
        moved = update(segment).where(segment.c.id == first).values(first_ns=T0 - 5)
        tx.conn.execute(moved)
    with pytest.raises(DamageError):
        loaded.read(POINT)


@pytest.mark.parametrize("change", CHANGES)
def test_a_damaged_journal_row_is_named_and_the_rest_is_folded(
    store: Store, change: Callable[[bytes], bytes]
) -> None:
    for second in range(3):
        store.write({POINT: Samples.of([T0 + second * S], [float(second)])})
    middle = ids(store, journal)[1]
    tamper(store, journal, middle, change)
    with pytest.raises(DamageError, match=f"journal {middle} of several points"):
        store.read(POINT)
    for folded in (2, 0):
        assert store.fold() == folded
        errors: list[DamageError] = []
        rest = store.read(POINT, on_damage=errors.append)
        assert rest == Samples.of([T0, T0 + 2 * S], [0.0, 2.0])
        assert [(error.part, error.id, error.point) for error in errors] == [
            ("journal", middle, None)
        ]


@pytest.mark.parametrize("how", ["write", "bulk"])
def test_late_samples_in_a_damaged_span_are_kept(loaded: Store, how: str) -> None:
    first = ids(loaded, segment)[0]
    tamper(loaded, segment, first, flip(0.5))
    late = Samples.of([T0 + 5 * S], [7.0])
    if how == "write":
        assert loaded.write({POINT: late}) == Written(new=1)
        loaded.fold()
    else:
        with loaded.bulk() as bulk:
            bulk.add(POINT, late)
    errors: list[DamageError] = []
    rest = loaded.read(POINT, on_damage=errors.append)
    assert rest.between(T0, T0 + DAY * S) == late
    assert len(rest) == 2 * DAY + 1
    assert [error.id for error in errors] == [error.id for error in loaded.check()] == [first]


def test_a_flipped_byte_in_the_file_is_named_or_said_to_be_damage(sqlite_url: str) -> None:
    """Wherever it hits, no wrong sample comes out, and no error of a driver."""
    path = Path(make_url(sqlite_url).database or "")
    with open_store(sqlite_url) as store, store.bulk() as bulk:
        bulk.add(POINT, SAMPLES)
    sound = path.read_bytes()
    rng = np.random.default_rng(2)
    blocks_begin = len(sound) // 3  # the tables' own pages come first
    offsets = {int(at) for at in rng.integers(blocks_begin, len(sound), 40)}
    chains = range(-(-blocks_begin // 4096) * 4096 + 3, len(sound), 4096)  # next page's number
    read = 0
    for offset in [*offsets, *chains[:: len(chains) // 10]]:
        changed = bytearray(sound)
        changed[offset] ^= 0x04
        path.write_bytes(changed)
        read += reads_soundly(sqlite_url)
    assert read > 40


def reads_soundly(url: str) -> bool:
    """Read all; tell whether that was possible. What comes out must be what went in."""
    errors: list[DamageError] = []
    try:
        with open_store(url) as store:
            back = store.read(POINT, on_damage=errors.append)
    except StoreError:
        return False
    kept = np.ones(len(SAMPLES), bool)
    for error in errors:
        low, high = np.searchsorted(SAMPLES.time, (error.start, error.end))
        kept[low:high] = False
    assert len(errors) < 3
    assert np.array_equal(back.time, SAMPLES.time[kept])
    assert np.array_equal(back.value, SAMPLES.value[kept])
    return True
