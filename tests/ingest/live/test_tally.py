from __future__ import annotations

from dataclasses import replace

import pytest

from bondtrail.results import Reject
from ingest.faults import RAW_BYTES
from ingest.live.columns import Refused
from ingest.live.messages import Message
from ingest.live.tally import LISTED, Tally, shown_topic
from tests.ingest.live.conftest import NOW

S = 10**9


def refused(reason: str, count: int = 1, point: str | None = None, time: int = NOW) -> Refused:
    return Refused(0, reason, count, point, None if point is None else time)


@pytest.fixture
def tally() -> Tally:
    return Tally("mqtt://broker:1883")


def test_repeats_of_a_fault_are_counted_in_one_row(tally: Tally) -> None:
    for number in range(1000):
        tally.add(
            Message("a/b", b"%d" % number, NOW + number),
            refused("no good", 2, "s.flow", NOW + number),
        )
    first = Reject("mqtt://broker:1883", "topic a/b", "no good", "0", NOW, 2000, "s.flow", NOW)
    assert tally.take() == [replace(first, last_at=NOW + 999, last_time=NOW + 999)]


def test_a_row_counts_what_came_since(tally: Tally) -> None:
    tally.add(Message("a", b"x", NOW), refused("no good", 3))
    tally.take()
    assert tally.take() == []
    tally.add(Message("a", b"y", NOW + 1), refused("no good"))
    assert tally.take() == [Reject("mqtt://broker:1883", "topic a", "no good", "y", NOW + 1, 1)]


def test_points_have_rows_of_their_own_with_the_span_of_their_readings(tally: Tally) -> None:
    """They are found again by the times of their readings."""
    for point, time in (("s.flow", 20), ("s.status", 5), ("s.flow", 10)):
        tally.add(Message("s", b"", NOW), refused("no good", 1, point, time))
    told = [(each.point, each.time, each.last_time, each.count) for each in tally.take()]
    assert told == [("s.flow", 10 * S, 20 * S, 2), ("s.status", 5 * S, None, 1)]


def test_topics_and_faults_have_rows_of_their_own(tally: Tally) -> None:
    for topic, reason in (("a", "x"), ("b", "x"), ("a", "y"), ("a", "x")):
        tally.add(Message(topic, b"", NOW), refused(reason))
    told = [(reject.where, reject.reason, reject.count) for reject in tally.take()]
    assert told == [("topic a", "x", 2), ("topic b", "x", 1), ("topic a", "y", 1)]


def test_rows_are_bounded_and_the_rest_is_counted_together(tally: Tally) -> None:
    for number in range(LISTED + 500):
        tally.add(
            Message(f"t{number}", b"first" if number == LISTED else b"x", NOW),
            refused("no good", 2, "s.flow"),
        )
    rejects = tally.take()
    assert len(rejects) == LISTED + 1
    assert (rejects[-1].where, rejects[-1].count) == ("other topics", 1000)
    assert (rejects[-1].raw, rejects[-1].point, rejects[-1].time) == ("first", None, None)
    assert sum(reject.count for reject in rejects) == 2 * (LISTED + 500)
    tally.add(Message("t5", b"x", NOW), refused("no good"))
    tally.add(Message("another", b"x", NOW), refused("no good"))
    assert [reject.where for reject in tally.take()] == ["topic t5", "other topics"]


def test_raw_text_is_cut(tally: Tally) -> None:
    tally.add(Message("a", b"\xff\0" * RAW_BYTES, NOW), refused("no good"))
    (reject,) = tally.take()
    assert len(reject.raw.encode()) <= RAW_BYTES
    assert reject.raw.startswith("\\xff\\x00")


def test_raw_text_of_a_long_message_is_what_is_around_the_fault(tally: Tally) -> None:
    items = [f'{{"t": {place + 10**9}, "v": {place}}}' for place in range(10_000)]
    payload = f"[{', '.join(items)}]".encode()
    for place in (0, 5000, 9999):
        near = str(place + 10**9)
        tally.add(Message(f"t{place}", payload, NOW), refused("no good"), near)
        (reject,) = tally.take()
        assert items[place] in reject.raw
        assert reject.raw.startswith("[" if place == 0 else "... ")
    tally.add(Message("t", payload, NOW), refused("no good"), "not in it")
    (reject,) = tally.take()
    assert reject.raw.startswith(items[0], 1)


@pytest.mark.parametrize(
    ("topic", "shown"),
    [
        pytest.param("a/b", "a/b", id="plain"),
        pytest.param("Füllstelle/1", "Füllstelle/1", id="not-ascii"),
        pytest.param("a//b/", "a//b/", id="empty-levels"),
        pytest.param("", "", id="empty"),
        pytest.param("a\0b", "a\\x00b", id="nul"),
        pytest.param("a\udcffb", "a\\xed\\xb3\\xbfb", id="surrogate"),
        pytest.param("x" * 60_000, "x" * 297 + "...", id="long"),
    ],
)
def test_topic_is_shown_so_that_a_database_takes_it(topic: str, shown: str) -> None:
    assert shown_topic(topic) == shown
