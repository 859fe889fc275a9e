"""A replay says which rows of its span could not be taken, as far as anybody can tell."""

from __future__ import annotations

from dataclasses import replace
from typing import cast

from analytics.replay import Replay, replay_transfer
from analytics.replay.objects import replay_object
from analytics.replay.replayed import Missing
from bondtrail.results import Reject
from bondtrail.site import Role
from bondtrail.times import format_time
from store import Store
from tests.analytics.replay.spot import BAD, LOST, NOW, S


def reject(line: int, point: str | None, time: int | None) -> Reject:
    return Reject("two.csv", f"line {line}", "resistance '-4'", "x,-4", NOW, 1, point, time)


def told(replay: Replay) -> list[Missing]:
    return [each for each in replay.missing if "could not be taken" in each.why]


def test_rows_that_would_have_been_readings_of_the_span_are_told(spot: Store) -> None:
    after = reject(2, "rail-1.resistance", LOST + 5 * S + 7)
    before = reject(3, "rail-1.resistance", LOST + 2 * S + 7)
    flow = reject(4, "rail-1.flow", LOST)
    spot.put_rejects([after, before, flow])
    found = replay_transfer(spot, BAD, now=NOW)
    assert found.rejected == [before, after, flow]
    why = "could not be taken: bondtrail show rejects says why"
    assert told(found) == [
        Missing(Role.FLOW, LOST, LOST + 1, f"1 row {why}"),
        Missing(Role.RESISTANCE, LOST + 2 * S, LOST + 5 * S + 1, f"2 rows {why}"),
    ]


def test_other_rows_are_not(spot: Store) -> None:
    spot.put_rejects(
        [
            reject(2, "rail-2.resistance", LOST),
            reject(3, "rail-1.resistance", LOST - 3 * 3600 * S),
            reject(4, None, None),
        ]
    )
    found = replay_transfer(spot, BAD, now=NOW)
    assert (found.rejected, told(found)) == ([], [])
    assert replay_object(found)["rejected"] == []


def test_of_several_in_one_as_many_are_told_as_may_be_of_the_span(spot: Store) -> None:
    """A reading that is rejected each second is one row a day, whenever the transfer was."""
    many = replace(
        reject(2, "rail-1.resistance", LOST - 3 * 3600 * S),
        at=NOW - 2,
        count=5000,
        last_at=NOW - 1,
        last_time=LOST + 2 * S,
    )
    spot.write({}, rejects=[many])
    found = replay_transfer(spot, BAD, now=NOW)
    assert found.rejected == [many]
    why = "up to 5,000 rows could not be taken: bondtrail show rejects says why"
    assert told(found) == [Missing(Role.RESISTANCE, found.start, LOST + 2 * S + 1, why)]
    (row,) = cast("list[dict[str, object]]", replay_object(found)["rejected"])
    assert (row["count"], row["last_time"]) == (5000, format_time(LOST + 2 * S))


def test_programs_get_them(spot: Store) -> None:
    spot.put_rejects([reject(2, "rail-1.resistance", LOST)])
    assert replay_object(replay_transfer(spot, BAD, now=NOW))["rejected"] == [
        {
            "role": "resistance",
            "time": format_time(LOST),
            "source": "two.csv",
            "where": "line 2",
            "reason": "resistance '-4'",
        }
    ]
