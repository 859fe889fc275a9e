"""What is enclosed: so much that the rules give the results again, and no more."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from analytics.evidence.gathering import Gathered, gathered
from analytics.evidence.rerun import Window
from analytics.runs import analyse
from bondtrail.results import Ticket, WorkWindow
from bondtrail.samples import Samples
from bondtrail.site import Role, parse_site
from bondtrail.times import stamp
from store import Store
from tests.analytics.evidence import quay

S = 1_000_000_000
H = 3600 * S
DAY = 24 * H

BOWL = (
    quay.SITE
    + """
[[station]]
id = "bowl"
name = "Dryer bowl"
kind = "fixed_item"
[station.points]
resistance = { unit = "ohm", stale_after_s = 120 }
running = { stale_after_s = 120 }
"""
)


def put(store: Store, station: str, role: str, second: np.ndarray, value: np.ndarray) -> None:
    store.write({f"{station}.{role}": Samples.of(quay.START + second * S, value)})


def bowl(store: Store, isolated_from_s: int, until_s: int) -> str:
    """A fixed item that runs for ten minutes on its tenth day, isolated for some of the time."""
    store.put_site(parse_site(BOWL), 0)
    second = np.arange(0, 12 * 86_400, 60)
    away = (second >= isolated_from_s) & (second < until_s)
    put(store, "bowl", "resistance", second, np.where(away, 1e7, 2.0))
    start = 10 * 86_400
    put(store, "bowl", "running", second,
        np.where((second >= start) & (second < start + 600), 1.0, 0.0))  # fmt: skip
    analyse(store, now=quay.LONG_AFTER)
    return f"bowl/{stamp(quay.START + start * S)}"


def enclosed(store: Store, transfer: str = quay.TRANSFER, margin_s: float = 300.0) -> Gathered:
    found = gathered(store, transfer, margin_s)
    assert [each for each in found.differences if not each.beyond] == []
    return found


def test_the_window_begins_where_nothing_was_under_way(quay_store: Store) -> None:
    found = enclosed(quay_store)
    window = found.window
    assert window.start <= window.since <= found.shown[0]
    assert window.until == found.shown[1] <= window.end


def test_the_readings_are_those_of_the_store(quay_store: Store) -> None:
    found = enclosed(quay_store)
    for role, held in found.readings.items():
        stale = 7200 * S if role in (Role.PERMISSIVE, Role.BYPASS) else 5 * S
        stored = quay_store.read(f"rail-1.{role}", found.window.start - stale, found.window.end)
        assert held.samples == stored
        assert set(held.arrived_from.tolist()) == {quay.ARRIVED}


def test_what_was_under_way_before_the_margin_is_enclosed_from_its_beginning(
    quay_store: Store,
) -> None:
    """Isolated for an hour before it ran: the package reaches back to before that."""
    lost = 10 * 86_400 - 3600
    found = enclosed(quay_store, bowl(quay_store, lost, 10 * 86_400 + 1200))
    assert found.window.since < quay.START + lost * S
    assert any(each.kind == "item_isolated" for each in found.findings)
    assert found.differences == []


def test_what_reaches_too_far_back_is_enclosed_and_said_not_to_be_run_again(
    quay_store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("analytics.evidence.gathering._LOOK_BACK", (H, 4 * H))
    found = gathered(quay_store, bowl(quay_store, 86_400, 10 * 86_400 + 1200), 300.0)
    beyond = [each for each in found.differences if each.beyond]
    assert [each.sort for each in beyond] == ["finding"]
    assert "it began before what can be judged from the enclosed readings" in beyond[0].said


def test_where_too_much_would_be_looked_through_it_stops(
    quay_store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("analytics.evidence.gathering._MOST_LOOKED_THROUGH", 10)
    found = gathered(quay_store, bowl(quay_store, 86_400, 10 * 86_400 + 1200), 300.0)
    assert found.window.start == found.shown[0] - H
    assert found.window.since == found.shown[0]


def test_what_goes_on_after_the_margin_is_enclosed_to_its_end(quay_store: Store) -> None:
    """The bowl stays isolated for three hours after it ran."""
    until = 10 * 86_400 + 3 * 3600
    found = enclosed(quay_store, bowl(quay_store, 10 * 86_400 - 600, until))
    assert found.window.end > quay.START + until * S
    assert found.differences == []


def test_what_goes_on_for_days_is_said_not_to_be_run_again(quay_store: Store) -> None:
    found = enclosed(quay_store, bowl(quay_store, 10 * 86_400 - 600, 12 * 86_400))
    assert [each.sort for each in found.differences] == ["finding"]
    assert "it goes on after the enclosed readings end" in found.differences[0].said


def test_papers_and_site_files_that_cannot_matter_are_left_out(quay_store: Store) -> None:
    end = quay.START + 10 * DAY
    quay_store.put_tickets([Ticket("rail-1", end, end + H, "B-9", "toluene", "B. Crane")])
    quay_store.put_work(
        [
            WorkWindow("rail-1", quay.START - 60 * H, quay.START - 50 * H, "long ago"),
            WorkWindow("rail-1", end, end + H, "later"),
        ]
    )
    quay_store.put_site(parse_site(quay.TIGHTER), end)
    analyse(quay_store, now=quay.LONG_AFTER)
    found = enclosed(quay_store)
    assert [each.batch for each in found.tickets] == ["B-7"]
    assert [each.what for each in found.work] == ["clamp replaced"]
    assert [since for since, _ in found.sites] == [0]


def test_limits_that_change_within_it_are_all_enclosed(quay_store: Store) -> None:
    quay_store.put_site(parse_site(quay.TIGHTER), quay.START + 1000 * S)
    analyse(quay_store, now=quay.LONG_AFTER)
    found = enclosed(quay_store)
    assert [since for since, _ in found.sites] == [0, quay.START + 1000 * S]


def test_the_first_file_to_name_a_station_holds_for_what_came_before_it(
    quay_store: Store,
) -> None:
    nobody = quay.SITE.replace("rail-1", "rail-7")
    quay_store.put_site(parse_site(nobody), 0)
    quay_store.put_site(parse_site(quay.SITE), quay.START + 5 * DAY)
    analyse(quay_store, now=quay.LONG_AFTER, everything=True)
    found = enclosed(quay_store)
    assert [since for since, _ in found.sites] == [0, quay.START + 5 * DAY]


def test_a_neighbour_in_the_margin_does_not_pull_its_whole_history_in(quay_store: Store) -> None:
    """The next transfer begins in the margin and runs for four hours."""
    second = np.arange(2000, 2000 + 4 * 3600 + 600)
    on = second < 2000 + 4 * 3600
    put(quay_store, "rail-1", "resistance", second, np.full(second.size, 3.0))
    put(quay_store, "rail-1", "flow", second, np.where(on & (second > 2100), 500.0, 0.0))
    analyse(quay_store, now=quay.LONG_AFTER)
    found = enclosed(quay_store, margin_s=900.0)
    assert found.window.end < quay.START + 4 * H
    assert {each.sort for each in found.differences} >= {"transfer", "hookup"}
    assert all(each.beyond for each in found.differences)


def test_what_came_since_behind_the_margin_is_neither_enclosed_nor_in_the_way(
    quay_store: Store,
) -> None:
    before = enclosed(quay_store)
    second = np.arange(5000, 5100)
    put(quay_store, "rail-1", "resistance", second, np.full(second.size, 3.0))
    assert quay_store.waiting()
    assert enclosed(quay_store).window == before.window


def test_damage_is_told_and_the_rest_enclosed(quay_store: Store, tmp_path: Path) -> None:
    import sqlite3

    quay_store.fold()
    with sqlite3.connect(tmp_path / "own.db") as base:
        base.execute(
            "update segment set block = x'00' where rowid = (select min(rowid) from segment)"
        )
    base.close()
    found = gathered(quay_store, quay.TRANSFER, 300.0)
    assert len(found.damaged) == 1
    assert sum(len(held.samples) > 0 for held in found.readings.values()) == 3


def test_a_window_is_in_order(quay_store: Store) -> None:
    window = enclosed(quay_store).window
    assert window == Window(window.start, window.since, window.until, window.end)
    assert window.start <= window.since <= window.until <= window.end
