"""A transfer soon after another on the same clamp: what is enclosed of it comes out again."""

from __future__ import annotations

import pytest

from analytics.evidence import Grade, build, verify_bytes
from analytics.evidence.gathering import gathered
from analytics.runs import analyse
from store import Store
from tests.analytics.core.build import OPEN, held, ns
from tests.analytics.evidence.forging import everything, grades
from tests.analytics.workdays import DAY, HOUR, MINUTE, MONDAY, site

pytestmark = pytest.mark.usefixtures("not_drawn")

PAUSE = 3 * MINUTE
"""Longer than flow may pause in a transfer, and less than what is shown after one."""
TRIP = ns(MONDAY + 11 * HOUR)
"""The clamp is pulled in the flow of the second."""


def two_on_a_clamp(store: Store) -> str:
    """The clamp is on from 8 to 11; flow from 8:10 to 9, and soon again until it is pulled."""
    store.put_site(site("spot", resume_within_s=60.0), 0)
    second = 2 * HOUR - PAUSE
    store.write(
        {
            "spot.resistance": held(
                (8 * HOUR, OPEN), (3 * HOUR, 2.0), (HOUR, OPEN), start=MONDAY, every_s=MINUTE
            ),
            "spot.flow": held(
                (8 * HOUR + 10 * MINUTE, 0), (50 * MINUTE, 60), (PAUSE, 0), (second, 60), (HOUR, 0),
                start=MONDAY, every_s=MINUTE,
            ),
        }
    )  # fmt: skip
    analyse(store, now=ns(MONDAY + DAY))
    first, _ = store.transfers()
    return first.id


@pytest.mark.parametrize("margin_s", [0.0, PAUSE, 300.0, 3.0 * HOUR])
def test_the_next_one_is_not_called_wrong(store: Store, margin_s: float) -> None:
    package = build(store, two_on_a_clamp(store), margin_s=margin_s)
    assert package.unexplained == ()
    checked = verify_bytes(package.content)
    assert [each for each in checked.checks if each.grade is Grade.WRONG] == []
    assert grades(checked)["rules"] is Grade.GOOD, everything(checked)


def test_the_trip_of_one_that_begins_in_the_margin_is_enclosed_with_it(store: Store) -> None:
    found = gathered(store, two_on_a_clamp(store), 300.0)
    assert found.shown[1] < TRIP < found.window.end
    assert [each["time_ns"] for each in found.results["trips"]] == [TRIP]
