"""Which limits hold when, and that each thing is judged by those of its day."""

from __future__ import annotations

from collections import Counter
from itertools import pairwise

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from analytics import history
from analytics.core.situation import observed_span
from analytics.core.station import examine
from analytics.epochs import FOREVER, Epoch, epochs_of, limits_at, merged, select
from analytics.runs import analyse
from bondtrail.results import AlarmKind, Outcome
from bondtrail.site import Limits, Site
from store import Store
from tests.analytics.core.build import OPEN, held, ns, station
from tests.analytics.core.build import told as told_by
from tests.analytics.workdays import DAY, HOUR, MINUTE, MONDAY, begins, site, told, workdays
from tests.reference.scripts import Script, limits, scripts

LATER = ns(MONDAY + 90 * DAY)
LAX, STRICT = site("spot", limit_ohm=15.0), site("spot", limit_ohm=10.0)
"""12 ohm is a bond by the first and none by the second."""


@pytest.mark.parametrize(
    ("sites", "expected"),
    [
        pytest.param([], [], id="no-files"),
        pytest.param([(100, LAX)], [(-FOREVER, FOREVER, 15.0)], id="one-holds-for-ever"),
        pytest.param(
            [(100, LAX), (200, STRICT)],
            [(-FOREVER, 200, 15.0), (200, FOREVER, 10.0)],
            id="each-from-its-moment-on",
        ),
        pytest.param(
            [(100, LAX), (200, site("spot", name="Berth", limit_ohm=15.0))],
            [(-FOREVER, FOREVER, 15.0)],
            id="a-new-name-is-no-new-epoch",
        ),
        pytest.param(
            [(100, LAX), (200, site("spot", "other", limit_ohm=15.0)), (300, STRICT)],
            [(-FOREVER, 300, 15.0), (300, FOREVER, 10.0)],
            id="what-is-new-elsewhere-is-no-new-epoch",
        ),
        pytest.param([(100, site("other"))], [], id="in-no-file"),
        pytest.param(
            [(100, site("other")), (200, LAX)],
            [(-FOREVER, FOREVER, 15.0)],
            id="the-first-to-name-it-holds-for-all-before",
        ),
        pytest.param([(100, LAX), (200, site("other"))], [(-FOREVER, 200, 15.0)], id="taken-out"),
        pytest.param(
            [(100, LAX), (200, site("other")), (300, LAX)],
            [(-FOREVER, 200, 15.0), (300, FOREVER, 15.0)],
            id="taken-out-for-a-while",
        ),
        pytest.param(
            [(100, LAX), (200, site("spot", limit_ohm=15.0, stale_s=90))],
            [(-FOREVER, 200, 15.0), (200, FOREVER, 15.0)],
            id="how-long-samples-hold-matters",
        ),
    ],
)
def test_epochs_of(sites: list[tuple[int, Site]], expected: list[tuple[int, int, float]]) -> None:
    found = epochs_of("spot", sites)
    assert [(e.start, e.end, e.station.limits.limit_ohm) for e in found] == expected


def test_an_epoch_has_the_latest_name() -> None:
    (epoch,) = epochs_of("spot", [(0, site("spot")), (200, site("spot", name="Berth"))])
    assert epoch.station.name == "Berth"


@pytest.mark.parametrize(
    ("moment", "expected"),
    [
        pytest.param(-5, 15.0, id="long-before"),
        pytest.param(199, 15.0, id="just-before-a-change"),
        pytest.param(200, 10.0, id="at-a-change"),
        pytest.param(350, 10.0, id="while-no-file-names-it"),
        pytest.param(400, 12.0, id="named-again"),
    ],
)
def test_limits_at(moment: int, expected: float) -> None:
    sites = [(100, LAX), (200, STRICT), (300, site("other")), (400, site("spot", limit_ohm=12.0))]
    assert limits_at(epochs_of("spot", sites), moment).limit_ohm == expected


def test_of_no_epochs_nothing_is_selected_and_nothing_is_left() -> None:
    nothing = merged(select([], -FOREVER, FOREVER))
    for part in (nothing.transfers, nothing.hookups, nothing.trips, nothing.findings):
        assert part == []
    assert nothing.alarms == []


def test_history_keeps_the_limits_of_its_day(store: Store) -> None:
    store.put_site(LAX, 0)
    store.put_site(STRICT, ns(MONDAY + DAY))
    store.write(workdays(12.0, 12.0))
    analyse(store, now=LATER)
    assert [transfer.compliant for transfer in store.transfers()] == [True, False]
    assert [hookup.outcome for hookup in store.hookups()] == [Outcome.VERIFIED, Outcome.FAILED]
    assert {finding.limits["limit_ohm"] for finding in store.findings()} == {10.0}
    assert [day.compliant_transfers for day in store.days()] == [1, 0]


def test_a_change_that_comes_later_leaves_what_was_before(store: Store) -> None:
    store.put_site(LAX, 0)
    store.write(workdays(12.0, 12.0))
    analyse(store, now=LATER)
    assert [transfer.compliant for transfer in store.transfers()] == [True, True]
    store.put_site(STRICT, ns(MONDAY + DAY))
    analyse(store, now=LATER)
    assert [transfer.compliant for transfer in store.transfers()] == [True, False]


def test_all_may_be_judged_by_present_limits(store: Store) -> None:
    store.put_site(LAX, 0)
    store.put_site(STRICT, ns(MONDAY + DAY))
    store.write(workdays(12.0, 12.0))
    analyse(store, now=LATER)
    analyse(store, now=LATER, everything=True, by_present_limits=True)
    assert [transfer.compliant for transfer in store.transfers()] == [False, False]
    analyse(store, now=LATER, everything=True)
    assert [transfer.compliant for transfer in store.transfers()] == [True, False]


def test_present_limits_hold_for_one_analysis_and_are_never_mixed_in(store: Store) -> None:
    store.put_site(LAX, 0)
    store.put_site(STRICT, ns(MONDAY + DAY))
    store.write(workdays(12.0, 12.0))
    analyse(store, now=LATER, everything=True, by_present_limits=True)
    assert [transfer.compliant for transfer in store.transfers()] == [False, False]
    assert store.touched().keys() == {"spot"}
    analyse(store, now=LATER)
    assert [transfer.compliant for transfer in store.transfers()] == [True, False]
    assert not store.touched()


def changed_at(store: Store, hour: float, before: Site, after: Site, ohm: float = 12.0) -> None:
    """A day on which the limits change."""
    store.put_site(before, 0)
    store.put_site(after, ns(MONDAY + hour * HOUR))
    store.write(workdays(ohm))
    analyse(store, now=LATER)


@pytest.mark.parametrize("hour", [8.25, 8.5, 8.8])
def test_what_began_under_one_set_of_limits_is_judged_by_it_to_the_end(
    store: Store, hour: float
) -> None:
    changed_at(store, hour, LAX, STRICT)
    (transfer,) = store.transfers()
    (hookup,) = store.hookups()
    assert transfer.flow_s == 40 * MINUTE
    assert transfer.compliant
    assert hookup.outcome is Outcome.VERIFIED
    assert store.findings() == []


@pytest.mark.parametrize("hour", [8.25, 8.5, 8.8])
def test_and_so_is_what_began_under_limits_that_were_relaxed(store: Store, hour: float) -> None:
    changed_at(store, hour, STRICT, LAX)
    (transfer,) = store.transfers()
    (hookup,) = store.hookups()
    assert not transfer.compliant
    assert hookup.outcome is Outcome.FAILED
    assert [str(finding.kind) for finding in store.findings()] == [
        "failed_hookup",
        "no_bond_transfer",
    ]
    assert {finding.limits["limit_ohm"] for finding in store.findings()} == {10.0}


def test_between_hookup_and_transfer_each_is_judged_by_its_own(store: Store) -> None:
    changed_at(store, 8 + 5 / 60, LAX, STRICT)
    (hookup,) = store.hookups()
    (transfer,) = store.transfers()
    assert hookup.outcome is Outcome.VERIFIED
    assert not transfer.compliant
    # A hookup that was verified is not a failed one, whatever came after it.
    assert [str(finding.kind) for finding in store.findings()] == ["no_bond_transfer"]
    assert transfer.findings == tuple(finding.id for finding in store.findings())


def test_a_failed_hookup_is_found_though_its_transfer_began_under_other_limits(
    store: Store,
) -> None:
    changed_at(store, 8 + 5 / 60, STRICT, LAX)
    (hookup,) = store.hookups()
    (transfer,) = store.transfers()
    (finding,) = store.findings()
    assert hookup.outcome is Outcome.FAILED
    assert transfer.compliant
    assert (finding.kind, finding.transfer) == ("failed_hookup", transfer.id)
    assert finding.limits["limit_ohm"] == 10.0
    assert transfer.findings == (finding.id,)


@pytest.mark.parametrize("hour", [0, 7.9, 8, 8.1, 8.2, 8.85, 9, 9.1, 23])
@pytest.mark.parametrize(("before", "after"), [(LAX, STRICT), (STRICT, LAX)])
def test_nothing_is_told_twice_or_lost(
    store: Store, hour: float, before: Site, after: Site
) -> None:
    changed_at(store, hour, before, after)
    assert begins(store.transfers()) == [pytest.approx(8 + 10 / 60)]
    assert begins(store.hookups()) == [8.0]
    ids = [finding.id for finding in store.findings()]
    assert len(ids) == len(set(ids))
    (transfer,) = store.transfers()
    assert transfer.findings == tuple(sorted(ids))
    (day,) = (day for day in store.days() if day.transfers)
    assert (day.transfers, day.hookups, day.flow_s) == (1, 1, 40 * MINUTE)
    assert day.known_s == DAY


POINTS = ("resistance", "flow", "bypass")


def eventful(store: Store, before: Site, after: Site, hour: float) -> None:
    """A bypass from 8:20 to 8:50, and the bond lost for good at 8:30: flow stops at 8:31."""
    store.put_site(before, 0)
    store.put_site(after, ns(MONDAY + hour * HOUR))
    at = {"start": MONDAY + 8 * HOUR, "every_s": MINUTE}
    store.write(
        {
            "spot.resistance": held((1800, 2.0), (1800, 300.0), (3600, OPEN), **at),
            "spot.flow": held((600, 0), (1260, 60), (5340, 0), **at),
            "spot.bypass": held((1200, 0), (1800, 1), (4200, 0), **at),
        }
    )
    analyse(store, now=LATER)


@pytest.mark.parametrize("hour", [8.2, 8.4, 8 + 29 / 60, 8.5, 8 + 31 / 60, 8.6, 9])
@pytest.mark.parametrize("lasting", ["hold_s", "open_ohm", "trip_window_s"])
def test_what_began_is_counted_once_whenever_limits_change(
    store: Store, hour: float, lasting: str
) -> None:
    before = site("spot", points=POINTS, trip_window_s=120, resume_within_s=60)
    limits = {"trip_window_s": 120.0, "resume_within_s": 60.0}
    changed = {"hold_s": 90.0, "open_ohm": 200.0, "trip_window_s": 119.0}[lasting]
    after = site("spot", points=POINTS, **{**limits, lasting: changed})
    eventful(store, before, after, hour)
    (day,) = store.days()
    assert Counter(day.alarms) == Counter(str(alarm.kind) for alarm in store.alarms())
    assert Counter(day.findings) == Counter(str(finding.kind) for finding in store.findings())
    assert Counter(day.trips) == Counter(
        f"{trip.trip_class}/{trip.cause}" for trip in store.trips()
    )
    assert (day.transfers, day.hookups) == (len(store.transfers()), len(store.hookups()))
    assert [(str(alarm.kind), (alarm.end - alarm.start) / 1e9) for alarm in store.alarms()] == [
        ("bypass_on", 1800),
        ("bond_lost", 60),
    ]
    assert len(store.trips()) == 1


def test_an_alarm_is_judged_to_its_end_by_the_limits_under_which_it_began() -> None:
    # The permissive stays closed. By the later limit 12 ohm is a bond, lost again at 20 s.
    signals = told_by(
        resistance=[(5, 2.0), (10, 300.0), (5, 12.0), (20, 300.0)], permissive=[(40, 1)]
    )
    strict, lax = (station(*signals, limit_ohm=ohm) for ohm in (10.0, 15.0))
    epochs = [Epoch(-FOREVER, ns(18), strict), Epoch(ns(18), FOREVER, lax)]
    verdicts = [(each, examine(each.station, signals, (0, ns(40)))) for each in epochs]
    assert [alarm.start for alarm in verdicts[1][1].episodes.alarms] == [ns(5), ns(20)]
    (alarm,) = merged(select(verdicts, -FOREVER, FOREVER)).alarms
    assert (str(alarm.kind), alarm.start, alarm.end) == ("disagreement", ns(5), ns(40))


def test_what_goes_on_from_under_older_limits_is_heeded_however_far_back(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(history, "LOOK_BACK_NS", ns(HOUR))
    # 500 ohm is contact by the first file, and open by the second: by that, the contact of an
    # hour on Wednesday is all there was.
    store.put_site(site("spot", open_ohm=1000.0), 0)
    store.put_site(site("spot", open_ohm=400.0), ns(MONDAY + 12 * HOUR))
    stretches = (8 * HOUR, OPEN), (2 * DAY, 500.0), (HOUR, 2.0), (4 * DAY, 500.0), (DAY, OPEN)
    parked = held(*stretches, start=MONDAY, every_s=MINUTE)
    for days in (5, 6, 9):
        store.write({"spot.resistance": parked.between(0, ns(MONDAY + days * DAY))})
        analyse(store, now=LATER)
    (hookup,) = store.hookups()
    assert begins([hookup]) == [8.0]
    assert hookup.end == ns(MONDAY + 6 * DAY + 9 * HOUR)


def test_where_a_file_does_not_name_it_a_station_has_no_results(store: Store) -> None:
    store.put_site(LAX, 0)
    store.put_site(site("other"), ns(MONDAY + DAY))
    store.put_site(LAX, ns(MONDAY + 2 * DAY))
    store.write(workdays(2.0, 2.0, 2.0))
    analyse(store, now=LATER)
    day = DAY / HOUR
    assert begins(store.hookups()) == [8.0, 2 * day + 8]
    assert len(store.transfers()) == 2
    known = {found.day.day: found.known_s for found in store.days()}
    assert (known[2], known.get(3, 0.0), known[4]) == (DAY, 0.0, DAY)


def test_a_new_name_changes_nothing(store: Store) -> None:
    store.put_site(site("spot"), 0)
    store.write(workdays(2.0, 12.0))
    analyse(store, now=LATER)
    before = told(store)
    store.put_site(site("spot", name="Berth"), ns(MONDAY + DAY + 8.5 * HOUR))
    analyse(store, now=LATER)
    assert told(store) == before


@settings(
    deadline=None,
    derandomize=True,
    database=None,
    max_examples=25,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
@given(scripts(), limits(), st.integers(0, 1000))
def test_whatever_happens_each_thing_is_told_once_and_linked(
    script: Script, changed: Limits, thousandths: int
) -> None:
    spot, signals, work, _ = script
    span = observed_span(spot, signals)
    if span is None:
        return
    moment = span[0] + (span[1] - span[0]) * thousandths // 1000
    epochs = [
        Epoch(-FOREVER, moment, spot),
        Epoch(moment, FOREVER, spot.model_copy(update={"limits": changed})),
    ]
    verdicts = [(epoch, examine(epoch.station, signals, span, work=work)) for epoch in epochs]
    found = merged(select(verdicts, -FOREVER, FOREVER))
    ids = [finding.id for finding in found.findings]
    assert len(ids) == len(set(ids))
    of_a_kind = [[alarm for alarm in found.alarms if alarm.kind is kind] for kind in AlarmKind]
    for rows in (found.transfers, found.hookups, *of_a_kind):
        assert all(a.end <= b.start for a, b in pairwise(rows))
    assert [*found.alarms] == sorted(found.alarms, key=lambda alarm: (alarm.start, alarm.kind))
    for transfer in found.transfers:
        named = [finding.id for finding in found.findings if finding.transfer == transfer.id]
        assert transfer.findings == tuple(sorted(named))
        trips = [trip for trip in found.trips if trip.transfer == transfer.id]
        assert transfer.trips == len(trips)
    known = {None, *(transfer.id for transfer in found.transfers)}
    assert {finding.transfer for finding in found.findings} <= known
    assert {trip.transfer for trip in found.trips} <= known
    failed = [hookup.start for hookup in found.hookups if hookup.outcome is Outcome.FAILED]
    assert failed == [f.start for f in found.findings if f.kind == "failed_hookup"]
