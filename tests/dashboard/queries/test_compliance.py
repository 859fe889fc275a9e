"""What the compliance page asks of a real store."""

from __future__ import annotations

import datetime as dt
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from analytics.core.worst import Worst
from analytics.kpis import NO_AREA
from bondtrail.results import DaySums, Kind
from bondtrail.samples import Samples
from bondtrail.site import Site
from bondtrail.times import NS_PER_S, day_start
from dashboard.period import Period
from dashboard.queries.compliance import (
    ChoiceError,
    ComplianceView,
    Scope,
    area_names,
    compliance_view,
    members,
    nuisances,
    stretches,
)
from store import Allowed, Store, open_store
from tests.dashboard.quay import BAD_ID, at

DAY_S = 86_400.0


@pytest.fixture
def store(filled_url: str) -> Iterator[Store]:
    with open_store(filled_url) as opened:
        yield opened


def view_of(
    store: Store,
    first: str | None = None,
    last: str | None = None,
    *,
    area: str | None = None,
    shift: str | None = None,
    now: int | None = None,
) -> ComplianceView:
    view = compliance_view(store, first, last, Scope(area, shift), now=now)
    assert view is not None
    return view


def test_the_whole_is_the_sum_of_the_stations(store: Store) -> None:
    view = view_of(store)
    assert (view.total.compliance.count, view.total.compliance.of) == (2, 3)
    assert view.total.not_bonded_s == 20.0
    assert view.total.known_s == sum(place.group.known_s for place in view.stations)
    assert view.worst == {Worst.BAD_BOND: 1}


def test_a_period_counts_what_began_in_it(store: Store) -> None:
    view = view_of(store, "2026-03-03", "2026-03-03")
    assert (view.total.compliance.count, view.total.compliance.of) == (1, 1)
    assert view.worst.total() == 0
    assert view.failed == []


def test_the_transfers_that_fail_come_with_their_findings(store: Store) -> None:
    (failed,) = view_of(store).failed
    assert failed.transfer.id == BAD_ID
    assert failed.worst is Worst.BAD_BOND
    assert [each.kind for each in failed.findings] == [
        Kind.BOND_LOST_IN_FLOW,
        Kind.UNVERIFIABLE_FLOW,
    ]
    assert failed.reviews == [None, None]


def test_time_without_a_record_is_told_up_to_now(store: Store, site: Site) -> None:
    now = day_start(dt.date(2026, 3, 2), site.zone) + (10 * 3600 + 399) * NS_PER_S
    bay = next(p.group for p in view_of(store, now=now).stations if p.group.name == "bay-9")
    assert bay.known_s == bay.unknown_s == 0
    assert bay.no_record_s == pytest.approx(DAY_S + 10 * 3600 + 399)


def test_an_area_narrows_everything(store: Store) -> None:
    view = view_of(store, area="Rails")
    assert [place.group.name for place in view.stations] == ["rail-1"]
    assert (view.total.compliance.count, view.total.compliance.of) == (1, 2)
    assert view.areas == []
    assert sum(view.course.of) == 2
    rest = view_of(store, area=NO_AREA)
    assert (rest.total.compliance.of, len(rest.failed)) == (1, 0)


def test_areas_and_shifts_add_up_to_the_whole(store: Store) -> None:
    view = view_of(store)
    assert {place.group.name: place.group.compliance.of for place in view.areas} == {
        "Rails": 2,
        NO_AREA: 1,
    }
    assert [(group.name, group.compliance.of) for group in view.shifts] == [("early", 2), ("", 0)]


def test_a_shift_narrows_sums_and_transfers(store: Store) -> None:
    early, rest = view_of(store, shift="early"), view_of(store, shift="")
    assert (early.total.compliance.count, early.total.compliance.of) == (1, 2)
    assert [each.transfer.id for each in early.failed] == [BAD_ID]
    assert early.shifts == rest.shifts == []
    assert rest.total.compliance.of == 0
    assert rest.failed == []


def test_the_time_of_a_shift_is_its_own(store: Store, site: Site) -> None:
    """Up to then there are eight hours of 1 March and four of 2 March."""
    now = day_start(dt.date(2026, 3, 2), site.zone) + (10 * 3600 + 399) * NS_PER_S
    view = view_of(store, shift="early", now=now)
    bay = next(p.group for p in view.stations if p.group.name == "bay-9")
    assert bay.no_record_s == pytest.approx(8 * 3600 + 4 * 3600 + 399)


@pytest.mark.parametrize("scope", [Scope("Nowhere"), Scope(None, "night")])
def test_a_choice_that_the_site_does_not_have_is_refused(store: Store, scope: Scope) -> None:
    with pytest.raises(ChoiceError, match=r"Nowhere|night"):
        compliance_view(store, None, None, scope)


def test_an_empty_store_has_no_view(empty_url: str) -> None:
    with open_store(empty_url) as empty:
        assert compliance_view(empty, None, None, Scope()) is None


def test_areas_of_a_site(site: Site) -> None:
    assert area_names(site) == ["Rails", NO_AREA]
    assert members(site, None) is None
    assert members(site, NO_AREA) == ["drum-1", "bowl", "bay-9"]


@pytest.mark.parametrize(
    ("days", "unit", "edges"),
    [
        pytest.param(3, "week", 2, id="a-piece-of-a-week"),
        pytest.param(29, "week", 6, id="weeks-cut-at-both-ends"),
        pytest.param(7 * 92, "week", 94, id="as-many-weeks-as-fit"),
        pytest.param(7 * 92 + 1, "month", 23, id="months"),
    ],
)
def test_a_long_period_is_charted_by_months(days: int, unit: str, edges: int) -> None:
    first = dt.date(2026, 3, 6)
    found = stretches(Period(first, first + dt.timedelta(days=days - 1)))
    assert found[0] == unit
    assert len(found[1]) == edges
    assert (found[1][0], found[1][-1]) == (first, first + dt.timedelta(days=days))


def test_nuisance_trips_are_ranked_by_the_cautious_end() -> None:
    """One of one is a rate of 100, and says next to nothing."""
    day = dt.date(2026, 3, 2)

    def sums(trips: int, transfers: int) -> DaySums:
        told = {"nuisance/no_loss_seen": trips, "genuine/clamp_off": 9}
        return DaySums("s", day, transfers=transfers, flow_s=3600.0, trips=told)

    found = nuisances({"one": sums(1, 1), "many": sums(40, 100), "some": sums(8, 100)}, {})
    assert [(row.station, row.count, row.rank) for row in found] == [
        ("many", 40, "1"),
        ("some", 8, "2"),
        ("one", 1, "too few to rank"),
    ]
    assert found[0].per_100_transfers.value == pytest.approx(40.0)
    assert found[0].per_1000_flow_h.value == pytest.approx(40_000.0)
    assert found[0].causes["no_loss_seen"] == 40
    assert nuisances({}, {}) == []


def test_trips_without_any_transfer_have_no_rate() -> None:
    told = {"nuisance/monitor_fault": 6}
    (row,) = nuisances({"s": DaySums("s", dt.date(2026, 3, 2), trips=told)}, {"s": "Spot"})
    assert row.name == "Spot"
    assert row.per_100_transfers.value is None


def test_the_nuisance_trips_of_the_site(store: Store) -> None:
    (row,) = view_of(store).nuisances
    assert (row.name, row.count) == ("Drum filler 1", 3)
    assert row.causes["brief_contact_loss"] == 2


def test_what_rests_on_the_allowances_is_counted_for_all_hours(store: Store) -> None:
    assert view_of(store).allowed == Allowed()
    assert view_of(store, shift="early").allowed is None


def test_stations_that_record_no_bypass_are_counted_among_those_with_flow(store: Store) -> None:
    assert view_of(store).without_bypass == (1, 2)  # the dryer bowl, of it and the rail spot
    assert view_of(store, area="Rails").without_bypass == (0, 1)


def test_what_is_loaded_and_not_analysed_is_not_told_as_missing(
    filled_url: str, tmp_path: Path
) -> None:
    own = tmp_path / "own.db"
    shutil.copy(filled_url.removeprefix("sqlite:///"), own)
    with open_store(f"sqlite:///{own}") as store:
        heard = Samples.of([at("01T00:00:00"), at("03T23:59:59")], [3.0, 3.0])
        store.write({"bay-9.resistance": heard})
        view, early = view_of(store), view_of(store, shift="early")
    bay, of_shift = (
        next(place.group for place in each.stations if place.group.name == "bay-9")
        for each in (view, early)
    )
    assert bay.not_analysed_s == pytest.approx(3 * DAY_S, abs=2)
    assert bay.no_record_s == pytest.approx(0, abs=2)
    assert of_shift.not_analysed_s == pytest.approx(3 * 8 * 3600)
    assert of_shift.no_record_s == 0
    assert view.total.not_analysed_s == bay.not_analysed_s
