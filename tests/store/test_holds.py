"""Holds: readings that must be kept, until someone releases them for a reason."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest
from sqlalchemy import text

from bondtrail.results import Hold
from store import Store, StoreError, holds, open_store

S = 10**9
T0 = 1_767_225_600 * S
TRANSFER = "rail-1/20260101T000000.000Z"


def place(
    store: Store, start_s: float = 0, end_s: float = 10, *, station: str = "rail-1", at: int = T0
) -> Hold:
    return store.holds.add(
        station,
        T0 + round(start_s * S),
        T0 + round(end_s * S),
        why="Claim 7.",
        author="A. Reed",
        at=at,
    )


def release(store: Store, number: int, **more: str) -> Hold:
    told = {"author": "B. Moss", "why": "Settled."} | more
    return store.holds.release(number, told["author"], told["why"], T0 + 99 * S)


def test_a_hold_says_what_is_kept_what_for_and_by_whom(store: Store) -> None:
    placed = store.holds.add(
        "rail-1", T0, T0 + 5, transfer=TRANSFER, why=" Claim 7. ", author="A. Reed ", at=T0 + 9
    )
    assert placed == Hold(
        number=1,
        at=T0 + 9,
        author="A. Reed",
        why="Claim 7.",
        station="rail-1",
        start=T0,
        end=T0 + 5,
        transfer=TRANSFER,
        released_at=None,
        released_by=None,
        released_why=None,
    )
    assert placed.in_force
    assert store.holds.all() == [placed]


def test_a_released_hold_stays_on_record(store: Store) -> None:
    first, second = place(store), place(store, 5, 15)
    released = store.holds.release(1, " B. Moss", "Settled. ", T0 + 7)
    assert released == replace(
        first, released_at=T0 + 7, released_by="B. Moss", released_why="Settled."
    )
    assert not released.in_force
    assert store.holds.all() == [released, second]
    assert place(store).number == 3


@pytest.mark.parametrize(
    ("start_s", "end_s", "station", "is_kept"),
    [
        pytest.param(10, 20, "rail-1", True, id="the-same"),
        pytest.param(0, 99, "rail-1", True, id="all-around"),
        pytest.param(12, 13, "rail-1", True, id="inside"),
        pytest.param(5, 10.000000001, "rail-1", True, id="its-first-moment"),
        pytest.param(5, 10, "rail-1", False, id="up-to-its-start"),
        pytest.param(19.999999999, 30, "rail-1", True, id="its-last-moment"),
        pytest.param(20, 30, "rail-1", False, id="from-its-end-on"),
        pytest.param(10, 20, "rail-2", False, id="another-station"),
    ],
)
def test_a_hold_keeps_the_readings_of_its_span(
    store: Store, start_s: float, end_s: float, station: str, is_kept: bool
) -> None:
    placed = place(store, 10, 20)
    span = (T0 + round(start_s * S), T0 + round(end_s * S))
    assert store.holds.over(station, *span) == ([placed] if is_kept else [])
    release(store, 1)
    assert store.holds.over(station, *span) == []


def test_several_holds_keep_until_the_last_is_released(store: Store) -> None:
    one, other = place(store, 0, 10), place(store, 5, 15)
    assert store.holds.over("rail-1", T0 + 6 * S, T0 + 7 * S) == [one, other]
    release(store, one.number)
    assert store.holds.over("rail-1", T0 + 6 * S, T0 + 7 * S) == [other]


def test_what_removes_readings_may_ask_in_its_own_transaction(store: Store) -> None:
    placed = place(store)
    with store._db.writing() as tx:
        assert holds.over(tx, "rail-1", T0, T0 + S) == [placed]


@pytest.mark.parametrize(
    ("said", "match"),
    [
        pytest.param({"why": " "}, "why: expected some text", id="no-reason"),
        pytest.param({"author": ""}, "author: expected some text", id="nobody"),
        pytest.param({"why": "x" * 4001}, "4000 characters or fewer, got 4001", id="a-long-reason"),
        pytest.param({"author": "x" * 201}, "200 characters or fewer", id="a-long-name"),
    ],
)
def test_nothing_is_held_or_released_without_a_name_and_a_reason(
    store: Store, said: dict[str, str], match: str
) -> None:
    placed = place(store)
    told = {"why": "Claim 7.", "author": "A. Reed"} | said
    with pytest.raises(ValueError, match=match):
        store.holds.add("rail-1", T0, T0 + 5, at=T0, **told)
    with pytest.raises(ValueError, match=match):
        release(store, 1, **told)
    assert store.holds.all() == [placed]


@pytest.mark.parametrize("length", [0, -1])
def test_an_empty_span_is_no_hold(store: Store, length: int) -> None:
    with pytest.raises(ValueError, match="rail-1: its span is empty"):
        store.holds.add("rail-1", T0, T0 + length, why="w", author="a", at=T0)


def test_a_hold_is_released_once(store: Store) -> None:
    place(store)
    released = release(store, 1)
    with pytest.raises(ValueError, match="hold 1: it was released before"):
        release(store, 1, why="Again.")
    with pytest.raises(ValueError, match="hold 2: there is no such hold"):
        release(store, 2)
    assert store.holds.all() == [released]


def test_texts_that_no_database_holds_are_kept_as_near_as_may_be(store: Store) -> None:
    placed = store.holds.add(
        "rail-1", T0, T0 + 1, transfer="x\0y", why="Größer, „so“:\n\0 \ud800", author="Ü", at=T0
    )
    assert store.holds.all() == [placed]
    assert placed.transfer == "x\\x00y"


RELEASED = "released_at_ns = 5, released_by = 'x', released_why = 'y'"


@pytest.mark.parametrize(
    "statement",
    [
        "delete from hold where number = 1",
        "delete from hold",
        f"update hold set {RELEASED} where number = 2",  # it was released before
        "update hold set released_at_ns = null where number = 2",
        "update hold set released_at_ns = 5 where number = 1",
        "update hold set released_by = 'x' where number = 1",
        *(
            f"update hold set {change}, {RELEASED} where number = 1"
            for change in (
                "number = 9",
                "at_ns = 5",
                "author = 'x'",
                "why = 'x'",
                "station = 'rail-2'",
                "start_ns = start_ns + 1",
                "end_ns = end_ns - 1",
                "transfer = 'x'",
            )
        ),
    ],
)
def test_the_database_refuses_all_but_a_release(store: Store, statement: str) -> None:
    placed = place(store)
    place(store)
    released = release(store, 2)
    with pytest.raises(StoreError, match="kept for good"), store._db.writing() as tx:
        tx.conn.execute(text(statement))
    assert store.holds.all() == [placed, released]


def test_postgresql_refuses_to_empty_the_table(made_database: str) -> None:
    with (
        open_store(made_database) as store,
        pytest.raises(StoreError, match="kept for good"),
        store._db.writing() as tx,
    ):
        tx.conn.execute(text("truncate hold"))


def test_sqlite_refuses_to_put_a_row_in_the_place_of_another(sqlite_url: str) -> None:
    """SQLite takes the old row away then without asking what guards deletes."""
    with open_store(sqlite_url) as store:
        placed = place(store)
        with pytest.raises(StoreError, match="kept for good"), store._db.writing() as tx:
            tx.conn.execute(text("insert or replace into hold select * from hold"))
        assert store.holds.all() == [placed]


def test_two_programs_may_place_holds_at_once(store_url: str) -> None:
    with open_store(store_url) as one, open_store(store_url) as other:
        for number in range(4):
            place((one, other)[number % 2])
        assert [hold.number for hold in one.holds.all()] == [1, 2, 3, 4]
        release(one, 1)
        with pytest.raises(ValueError, match="released before"):
            release(other, 1)


@pytest.mark.parametrize(
    "use",
    [
        pytest.param(lambda store: place(store), id="add"),
        pytest.param(lambda store: release(store, 1), id="release"),
        pytest.param(lambda store: store.holds.all(), id="all"),
        pytest.param(lambda store: store.holds.over("rail-1", 0, 1), id="over"),
    ],
)
def test_trouble_of_the_database_is_an_error_of_the_store(
    sqlite_url: str, use: Callable[[Store], object]
) -> None:
    with open_store(sqlite_url) as store:
        with store._db.writing() as tx:
            tx.conn.execute(text("drop table hold"))
        with pytest.raises(StoreError, match="no such table: hold"):
            use(store)


def test_holds_are_plain_rows_for_any_tool(store: Store) -> None:
    place(store)
    with store._db.reading() as tx:
        row = tx.conn.execute(text("select number, station, author, why from hold")).one()
    assert tuple(row) == (1, "rail-1", "A. Reed", "Claim 7.")


def test_holding_readings_touches_no_results(store: Store) -> None:
    place(store)
    release(store, 1)
    assert store.touched() == {}
