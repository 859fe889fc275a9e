"""Packages of transfers whose neighbours' readings were removed: what can be judged, is."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from analytics.evidence import Grade, build, verify_bytes
from analytics.retention import retain
from analytics.runs import analyse
from bondtrail.site import parse_site
from store import Store, layout
from tests.analytics.core.build import ns
from tests.analytics.workdays import DAY, HOUR, MONDAY, site, workdays

OHMS = [2.0, 12.0] * 6
"""Twelve days, a transfer each; every other one flows without a good bond."""
SEVENTH = 6


@pytest.fixture(autouse=True)
def three_segments_a_day(monkeypatch: pytest.MonkeyPatch) -> None:
    for name, size in {"FULL": 480, "CLOSED": 360, "LARGEST": 720, "REGION": 1920}.items():
        monkeypatch.setattr(layout, name, size)


@pytest.fixture
def removed(store: Store) -> Callable[[], None]:
    """Judge what is fed, and return what removes all that is older than five days."""
    store.put_site(parse_site(f"{site('spot').text}\n[retention]\nreadings_days = 5\n"), 0)
    for number, ohm in enumerate(OHMS):
        store.write(workdays(ohm, start=MONDAY + number * DAY))
    now = ns(MONDAY + len(OHMS) * DAY + HOUR)
    store.write({"elsewhere.flow": workdays(2.0, start=MONDAY + len(OHMS) * DAY)["spot.flow"]})
    store.fold()
    analyse(store, now=now)
    open_one = next(each for each in store.findings() if each.transfer)
    for each in store.findings():
        if each != open_one:
            store.reviews.add(each, "explained", "Looked at.", "A. Reed", now)

    def remove() -> None:
        assert retain(store, now=now).samples

    return remove


@pytest.mark.parametrize("margin_s", [300.0, 6 * HOUR])
def test_no_result_of_a_neighbour_that_is_gone_is_called_wrong(
    store: Store, removed: Callable[[], None], margin_s: float
) -> None:
    """Before the seventh transfer the bond was last known good where nothing is left."""
    removed()
    [floor] = store.floors().values()
    transfer = store.transfers()[SEVENTH]
    assert transfer.start < floor.since
    package = build(store, transfer.id, margin_s=margin_s)
    checks = verify_bytes(package.content).checks
    assert [check for check in checks if check.grade is Grade.WRONG] == []


def test_a_package_whose_readings_are_held_is_the_same_afterwards(
    store: Store, removed: Callable[[], None]
) -> None:
    transfer = store.transfers()[SEVENTH]
    before = build(store, transfer.id)
    start, end = before.span
    store.holds.add("spot", start, end, transfer=transfer.id, why="w", author="a", at=end)
    removed()
    again = build(store, transfer.id)
    assert (again.span, again.beyond) == (before.span, before.beyond)
