"""A replay says which of its readings are not the first ones, and what stood there before."""

from __future__ import annotations

import math

import pytest
from sqlalchemy import text

from analytics.replay import Replay, replay_span, replay_transfer
from analytics.replay.objects import replay_object
from analytics.replay.replayed import Missing, Replacement
from analytics.runs import analyse
from bondtrail.results import Kind
from bondtrail.samples import Samples
from bondtrail.site import Role
from bondtrail.times import format_time
from store import Store
from tests.analytics.replay.spot import BAD, FLOWS, GOOD, HOUR, LOST, NOW, S, readings

OHM = "rail-1.resistance"
LATER = NOW + HOUR


def mend(store: Store, at: int | None = LATER) -> int:
    """Overwrite the open circuit at the end of the bad transfer; return how many readings."""
    line = readings()[OHM]
    lost = line.between(LOST, LOST + 30 * S)
    better = Samples.of(lost.time, [3.0] * len(lost))
    written = store.write({OHM: better}, arrived=at)
    analyse(store, now=NOW)
    return written.replaced


def told(replay: Replay, role: Role = Role.RESISTANCE) -> list[Missing]:
    return [each for each in replay.missing if "replaced" in each.why and each.about == role]


def test_a_loss_of_bond_that_was_overwritten_is_told(spot: Store) -> None:
    assert mend(spot) == 30
    found = replay_transfer(spot, BAD, now=NOW)
    assert Kind.BOND_LOST_IN_FLOW not in {each.kind for each in found.findings}
    assert found.transfer is not None
    assert found.transfer.compliant
    assert found.replaced == [
        Replacement(Role.RESISTANCE, LATER, 30, LOST, LOST + 29 * S, math.inf, math.inf)
    ]
    (gap,) = told(found)
    assert (gap.start, gap.end) == (LOST, LOST + 29 * S + 1)
    assert gap.why == (
        f"30 readings were replaced on {format_time(LATER)}: the earlier values are kept, "
        "open circuit"
    )


def test_nothing_is_told_of_what_was_replaced_elsewhere(spot: Store) -> None:
    mend(spot)
    found = replay_transfer(spot, GOOD[3], now=NOW)
    assert (found.replaced, told(found)) == ([], [])


def test_where_nothing_was_replaced_nothing_is_told(spot: Store) -> None:
    found = replay_transfer(spot, BAD, now=NOW)
    assert (found.replaced, told(found)) == ([], [])
    assert replay_object(found)["replaced"] == []


def test_who_replaced_without_a_clock_is_told_as_that(spot: Store) -> None:
    mend(spot, None)
    found = replay_transfer(spot, BAD, now=NOW)
    assert [each.at for each in found.replaced] == [None]
    (gap,) = told(found)
    assert gap.why.startswith("30 readings were replaced nobody noted when: the earlier values")


def test_a_reading_that_holds_as_the_span_begins_is_of_it(spot: Store) -> None:
    """The permissive was last read minutes before: overwritten, the span begins otherwise."""
    start = FLOWS[3] + 100 * S
    (closed,) = [t for t in readings()["rail-1.permissive"].time if start - 300 * S < t <= start]
    spot.write({"rail-1.permissive": Samples.of([closed], [0.0])}, arrived=LATER)
    found = replay_span(spot, "rail-1", start, start + 60 * S, now=NOW)
    assert found.replaced == [
        Replacement(Role.PERMISSIVE, LATER, 1, int(closed), int(closed), 1.0, 1.0)
    ]
    (gap,) = told(found, Role.PERMISSIVE)
    assert (gap.start, gap.end) == (start, start)
    assert gap.why.startswith("1 reading was replaced on")


def test_a_reading_before_that_is_not(spot: Store) -> None:
    start = FLOWS[3] + 100 * S
    line = readings()["rail-1.permissive"].time
    before = int(line[line < FLOWS[3] - 100 * S][-1])
    spot.write({"rail-1.permissive": Samples.of([before], [1.0])}, arrived=LATER)
    assert spot.replaced("rail-1.permissive") != []
    assert replay_span(spot, "rail-1", start, start + 60 * S, now=NOW).replaced == []


@pytest.mark.parametrize(
    ("times", "said"),
    [
        pytest.param(5, ["30 readings were replaced on"] * 5, id="a-few-one-by-one"),
        pytest.param(6, ["180 readings were replaced by 6 later batches between"], id="many"),
    ],
)
def test_many_replacements_of_a_point_are_told_in_one(
    spot: Store, times: int, said: list[str]
) -> None:
    lost = readings()[OHM].between(LOST, LOST + 30 * S)
    for number in range(times):
        better = Samples.of(lost.time, [3.0 + number] * 30)
        spot.write({OHM: better}, arrived=LATER + number * S)
    found = replay_transfer(spot, BAD, now=NOW)
    assert [each.at for each in found.replaced] == [LATER + n * S for n in range(times)]
    whys = [gap.why for gap in told(found)]
    assert len(whys) == len(said)
    assert all(why.startswith(start) for why, start in zip(whys, said, strict=True))
    if times == 6:
        until = format_time(LATER + 5 * S)
        assert f"between {format_time(LATER)} and {until}: the earlier" in whys[0]
        assert whys[0].endswith("kept, 3 to open circuit")


def test_some_of_many_that_nobody_noted_are_told_as_such(spot: Store) -> None:
    time = [LOST]
    for number in range(7):
        at = None if number == 3 else LATER + number * S
        spot.write({OHM: Samples.of(time, [3.0 + number])}, arrived=at)
    (gap,) = told(replay_transfer(spot, BAD, now=NOW))
    assert "by 7 later batches between" in gap.why
    assert ", as far as it was noted: the earlier" in gap.why


def test_programs_get_what_was_replaced(spot: Store) -> None:
    spot.write({OHM: Samples.of([LOST - S, LOST], [3.0, 3.0])}, arrived=LATER)
    spot.write({OHM: Samples.of([LOST], [4.0])})
    assert replay_object(replay_transfer(spot, BAD, now=NOW))["replaced"] == [
        {
            "role": "resistance",
            "at": format_time(LATER),
            "count": 2,
            "first": format_time(LOST - S),
            "last": format_time(LOST),
            "lowest": 3.7,
            "highest": None,
            "open": True,
        },
        {
            "role": "resistance",
            "at": None,
            "count": 1,
            "first": format_time(LOST),
            "last": format_time(LOST),
            "lowest": 3.0,
            "highest": 3.0,
            "open": False,
        },
    ]


def test_damage_of_what_was_replaced_is_told_and_the_rest_is_replayed(spot: Store) -> None:
    mend(spot)
    with spot._db.writing() as tx:
        tx.conn.execute(text("drop trigger replaced_no_update"))
        tx.conn.execute(text("update replaced set checksum = checksum + 1"))
    found = replay_transfer(spot, BAD, now=NOW)
    assert found.replaced == []
    assert len(found.damaged) == 1
    assert "replaced 1 of rail-1.resistance" in found.damaged[0]
    assert ("resistance", "what was replaced, row 1 is damaged") in {
        (gap.about, gap.why) for gap in found.missing
    }
