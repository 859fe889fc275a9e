"""What people said of findings: kept for good, chained, and followed when findings move."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from dataclasses import replace

import pytest
from sqlalchemy import text

from bondtrail.results import Finding, Kind, Review, ReviewState, Severity, StationResults
from store import BrokenReview, Store, StoreError, open_store
from store.reviews import START, broken, digest_of, follows

S = 10**9
T0 = 1_767_225_600 * S


def finding(
    start_s: float, end_s: float, kind: Kind = Kind.BOND_LOST_IN_FLOW, station: str = "rail-1"
) -> Finding:
    span = (T0 + round(start_s * S), T0 + round(end_s * S))
    return Finding(kind, Severity.CRITICAL, station, None, *span, "Seen.", {}, {})


def save(store: Store, *findings: Finding, station: str = "rail-1") -> None:
    """Let an analysis replace all findings of a station."""
    drift = tuple(each for each in findings if each.kind is Kind.RESISTANCE_DRIFT)
    others = tuple(each for each in findings if each.kind is not Kind.RESISTANCE_DRIFT)
    results = StationResults(station, findings=others, drift=drift)
    store.save_results(results, since=0, since_day=dt.date.min)


def say(store: Store, about: Finding, comment: str = "Clamp was loose.", **more: str) -> Review:
    told = {"state": "confirmed", "author": "A. Reed"} | more
    return store.reviews.add(about, told["state"], comment, told["author"], T0)


def test_a_review_holds_what_was_said_and_of_what(store: Store) -> None:
    seen = finding(10, 20)
    review = store.reviews.add(seen, ReviewState.EXPLAINED, " Rinse, see log. ", "A. Reed", T0 + 5)
    assert store.reviews.log() == [review]
    assert replace(review, digest="") == Review(
        number=1,
        at=T0 + 5,
        author="A. Reed",
        finding=seen.id,
        kind="bond_lost_in_flow",
        station="rail-1",
        start=T0 + 10 * S,
        end=T0 + 20 * S,
        state="explained",
        comment="Rinse, see log.",
        previous=START,
        digest="",
    )


def test_reviews_are_numbered_and_chained(store: Store) -> None:
    one, two, three = (say(store, finding(n, n + 1)) for n in range(3))
    assert [one.number, two.number, three.number] == [1, 2, 3]
    assert (one.previous, two.previous, three.previous) == (START, one.digest, two.digest)
    assert store.reviews.log() == [one, two, three]
    assert store.reviews.verify() == []


def test_anyone_can_compute_a_digest_again(store: Store) -> None:
    review = say(store, finding(10, 20), "Größer, „so“:\n\x00 \ud800 😀.")
    values = [
        1, T0, "A. Reed", "rail-1/bond_lost_in_flow/20260101T000010.000Z", "bond_lost_in_flow",
        "rail-1", T0 + 10 * S, T0 + 20 * S, "confirmed", review.comment, "0" * 64,
    ]  # fmt: skip
    told = json.dumps(values, separators=(",", ":")).encode("ascii")
    assert review.digest == hashlib.sha256(told).hexdigest()
    assert store.reviews.log() == [review]
    assert store.reviews.verify() == []


@pytest.mark.parametrize(
    ("said", "match"),
    [
        pytest.param({"comment": "  "}, "comment: expected some text", id="no-comment"),
        pytest.param({"author": ""}, "author: expected some text", id="no-author"),
        pytest.param({"comment": "x" * 4001}, "4000 characters or fewer, got 4001", id="long"),
        pytest.param({"author": "x" * 201}, "200 characters or fewer", id="a-long-name"),
        pytest.param({"state": "closed"}, "closed", id="no-such-state"),
    ],
)
def test_what_says_nothing_is_refused(store: Store, said: dict[str, str], match: str) -> None:
    with pytest.raises(ValueError, match=match):
        say(store, finding(1, 2), **said)
    assert store.reviews.log() == []


@pytest.mark.parametrize(
    "statement",
    [
        "update review set comment = 'never' where number = 1",
        "delete from review where number = 2",
        "delete from review",
    ],
)
def test_the_database_refuses_to_change_the_log(store: Store, statement: str) -> None:
    said = [say(store, finding(n, n + 1)) for n in range(2)]
    with pytest.raises(StoreError, match="append-only"), store._db.writing() as tx:
        tx.conn.execute(text(statement))
    assert store.reviews.log() == said


def test_postgresql_refuses_to_empty_the_log(made_database: str) -> None:
    with (
        open_store(made_database) as store,
        pytest.raises(StoreError, match="append-only"),
        store._db.writing() as tx,
    ):
        tx.conn.execute(text("truncate review"))


def test_sqlite_refuses_to_put_a_row_in_the_place_of_another(sqlite_url: str) -> None:
    """SQLite takes the old row away then without asking what guards deletes."""
    with open_store(sqlite_url) as store:
        said = say(store, finding(1, 2))
        with pytest.raises(StoreError, match="append-only"), store._db.writing() as tx:
            tx.conn.execute(text("insert or replace into review select * from review"))
        assert store.reviews.log() == [said]


def tamper(store: Store, *statements: str) -> None:
    """Change the log as someone would who has the database in hand."""
    with store._db.writing() as tx:
        if tx.conn.dialect.name == "postgresql":
            statements = ("set local session_replication_role = replica", *statements)
        else:
            for change in ("update", "delete"):
                tx.conn.execute(text(f"drop trigger if exists review_no_{change}"))
        for statement in statements:
            tx.conn.execute(text(statement))


EDITED = "edited: its digest does not fit what it says"
OUT_OF_ORDER = "out of order: it does not follow the one before it"


@pytest.mark.parametrize(
    ("statements", "expected"),
    [
        pytest.param([], [], id="nothing"),
        *(
            pytest.param(
                [f"update review set {column} = {value} where number = 2"], [(2, EDITED)],
                id=column,
            )
            for column, value in (
                ("comment", "'fine'"), ("author", "'B'"), ("state", "'rejected'"),
                ("finding", "'f'"), ("kind", "'chattering'"), ("station", "'rail-2'"),
                ("at_ns", "1"), ("start_ns", "1"), ("end_ns", "1"),
            )
        ),
        pytest.param(
            ["update review set digest = previous where number = 2"],
            [(2, EDITED), (3, OUT_OF_ORDER)],
            id="digest",
        ),
        pytest.param(
            ["update review set previous = digest where number = 2"],
            [(2, OUT_OF_ORDER), (2, EDITED)],
            id="previous",
        ),
        pytest.param(["delete from review where number = 1"], [(1, "missing")], id="the-first"),
        pytest.param(
            ["delete from review where number in (2, 3)"],
            [(2, "missing, and all up to 3")],
            id="some",
        ),
        pytest.param(
            [
                "delete from review where number = 2",
                "update review set number = number - 1 where number = 3",
                "update review set number = number - 1 where number = 4",
            ],
            [(2, OUT_OF_ORDER), (2, EDITED), (3, EDITED)],
            id="one-taken-out-and-the-gap-closed",
        ),
        pytest.param(
            [
                "update review set number = 9 where number = 2",
                "update review set number = 2 where number = 3",
                "update review set number = 3 where number = 9",
            ],
            [(2, OUT_OF_ORDER), (2, EDITED), (3, OUT_OF_ORDER), (3, EDITED), (4, OUT_OF_ORDER)],
            id="two-swapped",
        ),
        pytest.param(
            ["update review set number = 0 where number = 1"],
            [(0, "out of order: numbers begin at 1"), (0, EDITED), (1, "missing")],
            id="before-the-first",
        ),
        pytest.param(
            ["delete from review where number = 4"], [], id="the-end-cut-off-cannot-be-seen"
        ),
    ],
)  # fmt: skip
def test_what_was_done_to_the_log_is_found(
    store: Store, statements: list[str], expected: list[tuple[int, str]]
) -> None:
    for n in range(4):
        say(store, finding(n, n + 1), f"Comment {n}.")
    tamper(store, *statements)
    assert store.reviews.verify() == [BrokenReview(*each) for each in expected]


def test_a_row_edited_with_a_new_digest_breaks_the_chain_after_it(store: Store) -> None:
    log = [say(store, finding(n, n + 1)) for n in range(3)]
    forged = replace(log[1], comment="Nothing happened.")
    log[1] = replace(forged, digest=digest_of(forged))
    assert list(broken(log)) == [BrokenReview(3, OUT_OF_ORDER)]


def test_two_programs_may_review_at_once(store_url: str) -> None:
    with open_store(store_url) as one, open_store(store_url) as other:
        for n in range(4):
            say((one, other)[n % 2], finding(n, n + 1))
        assert [review.number for review in one.reviews.log()] == [1, 2, 3, 4]
        assert other.reviews.verify() == []


@pytest.mark.parametrize(
    ("reviewed", "found", "expected"),
    [
        pytest.param((10, 20), finding(10, 20), True, id="the-same"),
        pytest.param((10, 20), finding(5, 11), True, id="overlaps-at-its-start"),
        pytest.param((10, 20), finding(19, 30), True, id="overlaps-at-its-end"),
        pytest.param((10, 20), finding(12, 13), True, id="lies-inside"),
        pytest.param((10, 20), finding(1, 99), True, id="lies-around"),
        pytest.param((10, 20), finding(20, 30), False, id="begins-as-it-ends"),
        pytest.param((10, 20), finding(1, 10), False, id="ends-as-it-begins"),
        pytest.param((10, 20), finding(10, 20, Kind.CHATTERING), False, id="another-kind"),
        pytest.param((10, 20), finding(10, 20, station="b"), False, id="another-station"),
        pytest.param((10, 10), finding(10, 10), True, id="moments"),
        pytest.param((10, 10), finding(11, 11), False, id="other-moments"),
        pytest.param((10, 10), finding(10, 20), True, id="a-moment-at-the-start"),
        pytest.param((10, 20), finding(20, 20), False, id="a-moment-at-the-end"),
        pytest.param((10, 20), finding(10, 10), True, id="shrunk-to-a-moment"),
        pytest.param((10, 10), finding(5, 15), True, id="a-moment-inside"),
        pytest.param((10.0001, 10.0001), finding(10.0002, 10.0002), True, id="the-same-id"),
    ],
)
def test_a_review_follows_its_finding(
    store: Store, reviewed: tuple[float, float], found: Finding, expected: bool
) -> None:
    before = finding(*reviewed)
    save(store, before)
    review = say(store, before)
    assert store.reviews.current([before]) == {before.id: review}
    assert store.reviews.orphaned() == []

    save(store)
    save(store, found, station=found.station)
    assert follows(review, found) is expected
    assert store.reviews.current(store.findings()) == ({found.id: review} if expected else {})
    assert store.reviews.orphaned() == ([] if expected else [review])
    assert store.reviews.log() == [review]


def test_the_latest_review_counts(store: Store) -> None:
    seen, other = finding(10, 20), finding(30, 40)
    save(store, seen, other)
    say(store, seen, state="open")
    latest = say(store, seen, state="rejected")
    assert store.reviews.current([seen, other]) == {seen.id: latest}
    assert store.reviews.current([]) == {}


def test_each_part_of_a_finding_that_was_split_is_followed(store: Store) -> None:
    save(store, finding(10, 30))
    review = say(store, finding(10, 30))
    parts = [finding(10, 15), finding(20, 30)]
    save(store, *parts)
    assert store.reviews.current(parts) == {part.id: review for part in parts}
    said_of_one = say(store, parts[1], state="rejected")
    assert store.reviews.current(parts) == {parts[0].id: review, parts[1].id: said_of_one}


def test_an_orphan_comes_back_with_its_finding(store: Store) -> None:
    seen = finding(10, 20, Kind.RESISTANCE_DRIFT)
    save(store, seen)
    review = say(store, seen)
    save(store)
    assert store.reviews.orphaned() == [review]
    save(store, seen)
    assert store.reviews.orphaned() == []


def test_a_finding_is_found_by_its_id(store: Store) -> None:
    save(store, finding(10, 20))
    assert store.finding(finding(10, 20).id) == finding(10, 20)
    assert store.finding("rail-1/chattering/20260101T000010.000Z") is None


def test_reviews_are_plain_rows_for_any_tool(store: Store) -> None:
    review = say(store, finding(10, 20))
    with store._db.reading() as tx:
        row = tx.conn.execute(text("select number, state, author, digest from review")).one()
    assert tuple(row) == (1, "confirmed", "A. Reed", review.digest)
