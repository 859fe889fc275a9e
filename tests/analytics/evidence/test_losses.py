"""A trip whose loss of bond goes on long after flow: it is told to its end, or as going on."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pytest

from analytics.evidence import Grade, Outcome, build, verify_bytes
from analytics.evidence.gathering import gathered
from analytics.evidence.losses import continued
from analytics.runs import analyse
from store import Store
from tests.analytics.core.build import OPEN, Stretch, held, ns
from tests.analytics.evidence import quay
from tests.analytics.evidence.forging import all_anew, edited, grades, said, setting
from tests.analytics.workdays import DAY, HOUR, MINUTE, MONDAY, site

pytestmark = pytest.mark.usefixtures("not_drawn")

TRIPPED = ns(MONDAY + 8 * HOUR + 50 * MINUTE)
_BEFORE: list[Stretch] = [(8 * HOUR, OPEN), (50 * MINUTE, 2.0)]


def tripped(store: Store, *after: Stretch) -> str:
    """The clamp is pulled off in flow at 8:50; what the bond does after that, to Wednesday."""
    lasts = sum(stretch[0] for stretch in after)
    flow: list[Stretch] = [(8 * HOUR + 10 * MINUTE, 0), (40 * MINUTE, 60), (lasts, 0)]
    store.put_site(site("spot"), 0)
    store.write(
        {
            "spot.resistance": held(*_BEFORE, *after, start=MONDAY, every_s=MINUTE),
            "spot.flow": held(*flow, start=MONDAY, every_s=MINUTE),
        }
    )
    analyse(store, now=ns(MONDAY + 5 * DAY))
    (trip,) = store.trips()
    assert trip.time == TRIPPED
    return trip.transfer


@pytest.mark.parametrize("hours", [10, 14, 23])
def test_the_readings_reach_to_the_end_of_the_loss(store: Store, hours: float) -> None:
    transfer = tripped(store, (hours * HOUR, OPEN), (HOUR, 2.0), (2 * HOUR, OPEN))
    found = gathered(store, transfer, 300.0)
    assert found.differences == []
    assert found.window.end > TRIPPED + ns(hours * HOUR)
    assert grades(verify_bytes(build(store, transfer).content))["rules"] is Grade.GOOD


LONG = [
    pytest.param([(30 * HOUR, OPEN)], id="clamp-off"),
    pytest.param([(30 * HOUR, 50.0)], id="high"),
    pytest.param([(28 * HOUR, 50.0), (2 * HOUR, OPEN)], id="high-and-then-off"),
    pytest.param([(28 * HOUR, 15.0), (2 * HOUR, 50.0)], id="marginal-at-first"),
]


@pytest.mark.parametrize("loss", LONG)
def test_a_loss_longer_than_what_is_enclosed_is_told_as_going_on(
    store: Store, loss: list[Stretch]
) -> None:
    transfer = tripped(store, *loss, (HOUR, 2.0), (2 * HOUR, OPEN))
    found = gathered(store, transfer, 300.0)
    assert found.window.end < TRIPPED + ns(25 * HOUR)
    trips = [str(each) for each in found.differences if each.sort == "trip"]
    assert len(trips) == 1
    assert "its loss of bond goes on after the enclosed readings end" in trips[0]
    checked = verify_bytes(build(store, transfer).content)
    assert checked.outcome is Outcome.UNCHECKED
    assert trips[0] in said(checked, "rules")


DOCTORED: Mapping[str, dict[str, Any]] = {
    "longer": {"loss_s": 90_000.0},
    "shorter": {"loss_s": 60.0},
    "brief": {"cause": "brief_contact_loss", "trip_class": "nuisance"},
}


@pytest.mark.parametrize("fields", DOCTORED.values(), ids=DOCTORED.keys())
@pytest.mark.parametrize("hours", [1, 14])
def test_another_loss_within_the_readings_is_wrong(
    store: Store, hours: float, fields: dict[str, Any]
) -> None:
    transfer = tripped(store, (hours * HOUR, OPEN), (HOUR, 2.0), (2 * HOUR, OPEN))
    files = quay.files_of(build(store, transfer).content)
    for name, value in fields.items():
        files = edited(files, "results.json", setting("trips", 0, name, value))
    checked = verify_bytes(quay.remade(all_anew(files)))
    assert grades(checked)["rules"] is Grade.WRONG


def row(**fields: Any) -> dict[str, Any]:
    told = {"time_ns": 1, "trip_class": "genuine", "cause": "high_resistance", "marginal": True}
    return {**told, "loss_s": 100.0, "stop_s": 0.0, **fields}


MAY_BE = [
    pytest.param(row(loss_s=101.0), True, id="longer"),
    pytest.param(row(loss_s=101.0, cause="clamp_off"), True, id="clamp-off-in-the-end"),
    pytest.param(row(loss_s=101.0, marginal=False), True, id="higher-in-the-end"),
    pytest.param(row(loss_s=101.0, stop_s=3.0), True, id="of-other-fields-the-readings-tell"),
    pytest.param(row(), False, id="no-longer-than-it-is-seen"),
    pytest.param(row(loss_s=99.0), False, id="shorter"),
    pytest.param(row(loss_s=None), False, id="none"),
    pytest.param(row(loss_s=101.0, cause="no_data"), False, id="another-cause"),
    pytest.param(row(loss_s=101.0, trip_class="nuisance"), False, id="another-class"),
    pytest.param(row(loss_s=101.0, time_ns=2), False, id="another-trip"),
]


@pytest.mark.parametrize(("told", "may"), MAY_BE)
def test_what_a_loss_may_have_become(told: dict[str, Any], may: bool) -> None:
    found = continued([told], [row()], frozenset({1}))
    expected = {**told, "stop_s": 0.0}
    assert found == ({1: expected} if may else {})


def test_a_loss_that_ended_is_not_continued() -> None:
    assert continued([row(loss_s=101.0)], [row()], frozenset()) == {}
    off = row(marginal=False)
    assert continued([row(loss_s=101.0, marginal=True)], [off], frozenset({1})) == {}


def test_a_trip_that_is_left_out_is_wrong_however_long_its_loss(store: Store) -> None:
    transfer = tripped(store, (30 * HOUR, OPEN), (HOUR, 2.0))
    files = quay.files_of(build(store, transfer).content)
    forged = edited(files, "results.json", setting("trips", []))
    checked = verify_bytes(quay.remade(all_anew(forged)))
    assert grades(checked)["rules"] is Grade.WRONG
