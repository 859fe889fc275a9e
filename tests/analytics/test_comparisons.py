"""Two sides of the store beside each other: what counts where, and published comparisons."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

import pytest

from analytics.comparisons import Record, Side, compared, side
from analytics.core.comparison import TwoSided, Verdict
from bondtrail.results import DaySums, TripCause, TripClass
from bondtrail.samples import Samples
from bondtrail.times import parse_time
from store import Store
from tests.analytics.made import DAY, HOUR, a_hookup, a_transfer, a_trip, put

NOON = parse_time("2026-03-09T12:00:00Z")


NOTHING = Record(None, None, is_whole=False, known=0.0)
UTC = ZoneInfo("UTC")


def a_side(**counts: float) -> Side:
    none = {"transfers": 0, "compliant": 0, "flow_s": 0.0, "nuisance_trips": 0}
    held = {**none, "hookups": 0, "failed_hookups": 0, **counts}
    return Side("some", None, None, None, record=NOTHING, **held)  # type: ignore[arg-type]


def test_what_began_before_the_moment_counts_before_it_however_long_it_lasted(store: Store) -> None:
    put(
        store,
        "a",
        transfers=[
            a_transfer("a", NOON - HOUR, compliant=False),
            a_transfer("a", NOON - HOUR // 6, flow_h=3),  # two thirds of it are past noon
            a_transfer("a", NOON, flow_h=2),
        ],
        hookups=[
            a_hookup("a", NOON - DAY),
            a_hookup("a", NOON - 1, failed=True),
            a_hookup("a", NOON),
        ],
        trips=[
            a_trip("a", NOON - 1),
            a_trip("a", NOON),
            a_trip("a", NOON + 1, TripClass.GENUINE, TripCause.CLAMP_OFF),
        ],
    )
    before, after = (
        side(store, name, ["a"], start, end, zone=UTC)
        for name, start, end in (("before", None, NOON), ("after", NOON, None))
    )
    assert (before.transfers, before.compliant) == (2, 1)
    assert before.flow_s == pytest.approx(2 * 3600)
    assert (before.hookups, before.failed_hookups, before.nuisance_trips) == (2, 1, 1)
    assert (after.transfers, after.compliant) == (1, 1)
    assert after.flow_s == pytest.approx(4 * 3600)
    assert (after.hookups, after.failed_hookups, after.nuisance_trips) == (1, 0, 1)
    last_hour = side(store, "last hour", ["a"], NOON - HOUR, NOON, zone=UTC)
    assert (last_hour.transfers, last_hour.hookups) == (2, 1)


def test_a_side_without_stations_is_the_whole_site(store: Store) -> None:
    for station in ("a", "b"):
        put(store, station, transfers=[a_transfer(station, NOON)])
    sides = [side(store, "x", stations, zone=UTC) for stations in (None, ["a", "b"], ["b"], [])]
    assert [one.transfers for one in sides] == [2, 2, 1, 0]


def put_record(store: Store, station: str, days: int, unknown: int) -> None:
    """A station with readings from noon on for so many days, and the state unknown on the last."""
    put(
        store,
        station,
        days=[
            DaySums(
                station,
                dt.date(2026, 3, 9) + dt.timedelta(days=n),
                known_s=0 if n >= days - unknown else 86_400,
                unknown_s=86_400 if n >= days - unknown else 0,
            )
            for n in range(days)
        ],
    )
    store.write({f"{station}.flow": Samples.of([NOON, NOON + days * DAY - DAY], [0.0, 0.0])})


@pytest.mark.parametrize(
    ("start", "end", "span", "is_whole", "known"),
    [
        pytest.param(None, None, (0, 9), True, 0.8, id="all-there-is"),
        pytest.param(1, 5, (1, 5), True, 1.0, id="inside"),
        pytest.param(-4, 4, (0, 4), False, 0.5, id="half-of-it-before-the-first-reading"),
        pytest.param(7, 19, (7, 9), False, 1 / 3 * 2 / 12, id="mostly-after-the-last"),
        pytest.param(20, 30, None, False, 0.0, id="all-after-the-last"),
        pytest.param(None, 0, None, False, 0.0, id="all-before-the-first"),
    ],
)
def test_how_much_of_a_side_is_on_record(
    store: Store,
    start: int | None,
    end: int | None,
    span: tuple[int, int] | None,
    is_whole: bool,
    known: float,
) -> None:
    put_record(store, "a", days=10, unknown=2)
    bounds = [None if day is None else NOON + day * DAY for day in (start, end)]
    record = side(store, "x", ["a"], *bounds, zone=UTC).record
    assert record.readings == (NOON, NOON + 9 * DAY)
    told = record.span and tuple((moment - NOON) // DAY for moment in record.span)
    assert (told, record.is_whole) == (span, is_whole)
    assert record.known == pytest.approx(known, abs=1e-9)


def test_the_record_of_the_site_is_that_of_all_stations(store: Store) -> None:
    put_record(store, "a", days=10, unknown=2)
    put_record(store, "b", days=5, unknown=5)
    assert side(store, "x", zone=UTC).record.known == pytest.approx(8 / 15)
    assert side(store, "x", ["b"], zone=UTC).record.known == 0
    assert side(store, "x", ["c"], zone=UTC).record.readings is None


def test_shares_differ_by_newcombes_interval() -> None:
    first, second = a_side(transfers=80, compliant=48), a_side(transfers=70, compliant=56)
    row = compared(first, second)[0]
    assert row.figure == "compliance"
    assert (row.first.value, row.second.value) == (0.6, 0.8)
    # Newcombe 1998, Table II, method 10: 56/70 less 48/80 is .0524 to .3339 (from memory).
    assert row.change.value == pytest.approx(0.2)
    assert (row.change.low, row.change.high) == pytest.approx((0.0524, 0.3339), abs=5e-5)
    assert row.change.verdict is Verdict.HIGHER


def test_rates_differ_by_the_exact_conditional_test() -> None:
    first = a_side(transfers=3011, flow_s=3011 * 3600.0, nuisance_trips=21)
    second = a_side(transfers=800, flow_s=800 * 3600.0, nuisance_trips=11)
    _, per_transfers, per_hours, _ = compared(first, second)
    for row, per in ((per_transfers, 100), (per_hours, 1000)):
        assert row.second.value == pytest.approx(per * 11 / 800)
        # 11 in 800 against 21 in 3011: outputs of R quoted in the tests of statsmodels.
        assert row.change.value == pytest.approx(1.971488, abs=1e-6)
        assert row.change.low == pytest.approx(0.8584264, abs=1e-6)
        assert row.change.high == pytest.approx(4.277266, abs=1e-6)
        assert row.change.p_value == pytest.approx(0.0796686, abs=1e-6)  # type: ignore[union-attr]
        assert row.change.verdict is Verdict.NO_SIGN


def test_p_of_a_ratio_by_either_way() -> None:
    first = a_side(transfers=3011, nuisance_trips=21)
    second = a_side(transfers=800, nuisance_trips=11)
    row = compared(first, second, TwoSided.DOUBLED)[1]
    # Twice the smaller tail of scipy's binomial test: 0.1120173.
    assert row.change.p_value == pytest.approx(0.1120173, abs=1e-6)  # type: ignore[union-attr]
    assert row.change.method.endswith("two-sided by doubling the smaller tail")


def test_failed_hookups_are_a_share_of_hookups() -> None:
    row = compared(a_side(hookups=100, failed_hookups=50), a_side(hookups=100, failed_hookups=5))[3]
    assert (row.figure, row.change.value) == ("failed_hookup_share", pytest.approx(-0.45))
    assert row.change.verdict is Verdict.LOWER


def test_a_side_without_anything_leaves_nothing_to_compare() -> None:
    rows = compared(a_side(), a_side(transfers=9, compliant=9, flow_s=1.0, nuisance_trips=2))
    assert {row.change.verdict for row in rows} == {Verdict.NOTHING}
    assert [row.first.value for row in rows] == [None] * 4
