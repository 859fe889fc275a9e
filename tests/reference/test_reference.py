"""The reference evaluator itself, on scripts short enough to judge by hand.

A signal is written as ``value*seconds`` and sampled once a second; each sample goes stale after a
second, so the state is exactly what is written. ``-`` is no sample, ``!`` bad, ``?`` uncertain.
Every expected value was worked out by hand from the text of the rules.
"""

from __future__ import annotations

import datetime as dt
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from bondtrail.results import AlarmKind, Ticket, WorkWindow
from bondtrail.site import Limits, Point, Role, Station, StationKind
from bondtrail.times import local
from tests.reference.days import first_moment, parts_of
from tests.reference.episodes import losses
from tests.reference.evaluate import Reference, evaluate
from tests.reference.scripts import BEGINNINGS, ZONE, S, shift
from tests.reference.timeline import Sample, runs, stretches, walk

T0 = BEGINNINGS["an afternoon"]
INF = float("inf")
NAMES = {
    "r": Role.RESISTANCE,
    "s": Role.STATUS,
    "p": Role.PERMISSIVE,
    "f": Role.FLOW,
    "run": Role.RUNNING,
    "b": Role.BYPASS,
}
LIMITS = {
    "limit_ohm": 10.0,
    "open_ohm": 1000.0,
    "transfer_min_s": 5.0,
    "resume_within_s": 20.0,
}
"""The rest are the defaults: hold 1 s, start 2 s, stop 5 s, no data 10 s, trip window 10 s."""

Signals = dict[str, str]
Case = dict[str, Any]


def written(text: str, t0: int = T0) -> list[Sample]:
    """Return the samples of a signal."""
    samples = []
    second = 0
    for word in text.split():
        value, _, length = word.partition("*")
        quality = {"!": 2, "?": 1}.get(value[-1], 0)
        for _ in range(int(length)):
            if value != "-":
                samples.append((t0 + second * S, float(value.rstrip("!?")), quality))
            second += 1
    return samples


def spot(
    signals: Signals, kind: str = "rail_tank_car", stale: float = 1.0, **limits: Any
) -> Station:
    return Station(
        id="spot",
        name="spot",
        kind=StationKind(kind),
        product="solvent",
        limits=Limits.model_validate({**LIMITS, **limits}),
        points={
            NAMES[name]: Point(station="spot", role=NAMES[name], stale_after_s=stale)
            for name in signals
        },
        volume_unit="L" if "f" in signals else None,
    )


def series(signals: Signals, t0: int = T0) -> dict[Role, list[Sample]]:
    return {NAMES[name]: written(text, t0) for name, text in signals.items()}


def judged(signals: Signals, *, tickets: Any = (), work: Any = (), **how: Any) -> Reference:
    return evaluate(spot(signals, **how), series(signals), tickets=tickets, work=work)


def at(moment: int) -> float:
    return (moment - T0) / S


BONDS = [  # point, what it reads -> bond states
    pytest.param("r", "", "", id="no-samples"),
    pytest.param("r", "10*1 10.1*1 999*1 1000*1 inf*1", "low 0..1 high 1..3 open 3..5", id="exact"),
    pytest.param("r", "2*2 -*3 2*1", "low 0..2 unknown 2..5 low 5..6", id="stale-is-unknown"),
    pytest.param("r", "2*2 2!*2 2*1", "low 0..2 unknown 2..4 low 4..5", id="bad-is-unknown"),
    pytest.param("r", "2*2 2?*2", "low 0..4", id="uncertain-is-known"),
    pytest.param("s", "1*2 0*2 2*1 3*1", "low 0..2 open 2..4 unknown 4..6", id="status-codes"),
    pytest.param("p", "1*2 0*2", "low 0..2 open 2..4", id="permissive-only"),
    pytest.param("f", "60*2 0*2", "unknown 0..4", id="no-bond-point"),
]


@pytest.mark.parametrize(("name", "text", "expected"), BONDS)
def test_bond_state_follows_the_point_that_tells_it(name: str, text: str, expected: str) -> None:
    cells = walk(spot({name: text}), series({name: text}))
    found = [f"{bond} {at(s):g}..{at(e):g}" for bond, (s, e) in runs(cells, lambda c: c.bond)]
    assert " ".join(found) == expected


def test_status_does_not_tell_where_resistance_does() -> None:
    signals = {"r": "2*2 inf*2", "s": "0*4"}
    cells = walk(spot(signals), series(signals))
    assert [bond for bond, _span in runs(cells, lambda cell: cell.bond)] == ["low", "open"]


def test_a_sample_holds_for_its_own_stale_time_and_no_longer() -> None:
    station = spot({"r": ""}, stale=5.0)
    samples = [(T0, 2.0, 0), (T0 + 5 * S, 2.0, 0), (T0 + 12 * S, 2.0, 0)]
    found = runs(walk(station, {Role.RESISTANCE: samples}), lambda cell: cell.bond)
    assert [(bond, at(s), at(e)) for bond, (s, e) in found] == [
        ("low", 0, 10),
        ("unknown", 10, 12),
        ("low", 12, 17),
    ]


def test_nothing_is_known_after_the_end() -> None:
    signals = {"r": "2*10"}
    cells = walk(spot(signals), series(signals), end=T0 + 4 * S + S // 2)
    assert at(cells[-1].end) == 4.5


HOLDS = [  # resistance, hold -> verified spans
    pytest.param("2*1 inf*2", 1.0, [], id="exactly-the-hold"),
    pytest.param("2*2 inf*2", 1.0, [(1, 2)], id="longer"),
    pytest.param("2*2 inf*2", 0.0, [(0, 2)], id="no-hold"),
    pytest.param("2*3 -*1 2*3", 1.0, [(1, 3), (5, 7)], id="new-hold-after-unknown"),
    pytest.param("2*3 20*1 2*3", 1.5, [(1.5, 3), (5.5, 7)], id="between-samples"),
    pytest.param("2*3 2!*1 2*1", 1.0, [(1, 3)], id="bad-never-verifies"),
]


@pytest.mark.parametrize(("text", "hold", "expected"), HOLDS)
def test_a_bond_is_verified_once_held(text: str, hold: float, expected: list[Any]) -> None:
    cells = walk(spot({"r": text}, hold_s=hold), series({"r": text}))
    assert [(at(s), at(e)) for s, e in stretches(cells, lambda c: c.verified)] == expected


LOSSES = [  # resistance -> losses with their length
    pytest.param("inf*5", [], id="never-bonded"),
    pytest.param("2*3 20*2 inf*2 2*1", [(3, 7)], id="high-then-open-is-one"),
    pytest.param("2*3 -*2 inf*2", [(5, 7)], id="unknown-between-is-skipped"),
    pytest.param("2*3 inf*2 -*2 inf*2", [(3, 5)], id="unknown-ends-it-and-starts-none"),
    pytest.param("2*3 inf*1 2*1 inf*1", [(3, 4), (5, 6)], id="twice"),
]


@pytest.mark.parametrize(("text", "expected"), LOSSES)
def test_a_loss_is_low_to_known_not_low(text: str, expected: list[Any]) -> None:
    cells = walk(spot({"r": text}), series({"r": text}))
    assert [(at(s), at(e)) for (s, e), _verified in losses(cells)] == expected


HOOKUPS = [  # resistance, limits -> start..end outcome time-to-bond cause | touches
    pytest.param("", {}, "", id="empty"),
    pytest.param("inf*5 2*10 inf*5", {}, "5..15 verified 1", id="plain"),
    pytest.param("inf*5 20*3 2*5 inf*5", {}, "5..13 verified 4", id="high-first"),
    pytest.param("2*5 inf*2 2*5", {}, "0..12 verified 1", id="short-open-stays-inside"),
    pytest.param("2*5 inf*3 2*5", {}, "0..5 verified 1 8..13 verified 1", id="exactly-detach"),
    pytest.param("2*5 -*9 2*5 inf*3", {}, "0..19 verified 1", id="unknown-stays-inside"),
    pytest.param("2*5 -*9 inf*1 2*5", {}, "0..5 verified 1 15..20 verified 1", id="unknown-open"),
    pytest.param("2*5 inf*1 -*4 inf*1", {}, "0..6 verified 1", id="short-open-then-unknown-open"),
    pytest.param("inf*1 2*5 -*4", {"stale": 1.0}, "1..6 verified 1", id="data-end"),
    pytest.param("2*5 inf*2", {}, "0..7 verified 1", id="data-end-in-short-open"),
    pytest.param("inf*1 20*3 inf*3", {}, "1..4 failed None layer", id="exactly-hookup-min"),
    pytest.param("inf*1 20*2 inf*3", {}, "touch 1..3", id="touch"),
    pytest.param("inf*1 15*4 inf*3", {}, "1..5 failed None marginal", id="exactly-marginal"),
    pytest.param("inf*1 15.1*4 inf*3", {}, "1..5 failed None layer", id="over-marginal"),
    # k = 2: medians 800 and 350
    pytest.param("800*2 600*2 350*2 inf*3", {}, "0..6 failed None falling", id="falling"),
    pytest.param("800*2 600*2 400*2 inf*3", {}, "0..6 failed None layer", id="exactly-half"),
    # changes of log10 r are 1, -1, 1, -1: their standard deviation is 1
    pytest.param(
        "20*1 200*1 20*1 200*1 20*1 inf*3", {}, "0..5 failed None unsteady", id="unsteady"
    ),
    # 20 -> 1000 (open) -> 20: +1.7, -1.7
    pytest.param("20*1 inf*1 20*1 inf*3", {}, "0..3 failed None unsteady", id="opens-are-clipped"),
    pytest.param("2*20", {"kind": "fixed_item"}, "", id="not-for-fixed-items"),
    pytest.param(
        "2*1 inf*1 2*1 inf*3", {"hookup_min_s": 0.0}, "0..3 failed None marginal", id="no-hold"
    ),
]


@pytest.mark.parametrize(("text", "how", "expected"), HOOKUPS)
def test_hookups(text: str, how: Case, expected: str) -> None:
    result = judged({"r": text}, **how)
    words = []
    for hookup in result.hookups:
        wait = hookup.time_to_bond_s
        words.append(f"{at(hookup.start):g}..{at(hookup.end):g} {hookup.outcome}")
        words.append("None" if wait is None else f"{wait:g}")
        words += [hookup.cause] if hookup.cause else []
    words += [f"touch {at(touch.start):g}..{at(touch.end):g}" for touch in result.touches]
    assert " ".join(words) == expected


def test_lowest_and_median_leave_out_open_and_bad_readings() -> None:
    [hookup] = judged({"r": "30*1 inf*1 50*1 1!*1 40*1 20*1 inf*3"}).hookups
    assert (hookup.lowest_ohm, hookup.median_ohm) == (20.0, 35.0)


def test_a_hookup_without_resistance_has_no_cause() -> None:
    [hookup] = judged({"s": "0*1 1*1 0*1 1*1 0*1 1*1 0*4"}).hookups
    assert (hookup.outcome, hookup.cause, hookup.lowest_ohm) == ("failed", None, None)


TRANSFERS = [  # signals, limits -> start..end flowing
    pytest.param({"f": ""}, {}, "", id="empty"),
    pytest.param({"r": "2*20"}, {}, "", id="no-flow-point"),
    pytest.param({"f": "5*5 4.9*5"}, {}, "0..5 5", id="exactly-flow-min-and-transfer-min"),
    pytest.param({"f": "60*4 0*5"}, {}, "", id="too-short"),
    pytest.param({"f": "60*4 0*20 60*4"}, {}, "0..28 8", id="exactly-resume"),
    pytest.param({"f": "60*4 0*21 60*4"}, {}, "", id="over-resume"),
    pytest.param({"f": "60*4 -*10 0*5 60*4"}, {}, "0..23 8", id="unknown-and-pause"),
    pytest.param({"f": "60*9 60!*9"}, {}, "0..9 9", id="bad-flow-is-not-flow"),
    pytest.param({"run": "0*2 1*8 0*2"}, {}, "2..10 8", id="running"),
    pytest.param({"f": "0*2 60*3 0*5", "run": "0*5 1*5"}, {}, "2..10 8", id="either-is-on"),
    pytest.param({"f": "60*6", "run": "0*6"}, {"kind": "fixed_item"}, "0..6 6", id="fixed-item"),
]


@pytest.mark.parametrize(("signals", "how", "expected"), TRANSFERS)
def test_transfers(signals: Signals, how: Case, expected: str) -> None:
    found = judged(signals, **how).transfers
    assert " ".join(f"{at(t.start):g}..{at(t.end):g} {t.flow_s:g}" for t in found) == expected


def test_exposures_are_told_in_seconds_and_litres() -> None:
    # verified 3..10; flow on 0..20 at 60 L/min, then 10 s at 120 L/min; bypass on 18..24
    signals = {
        "r": "inf*2 2*8 -*10 inf*10 inf*2",
        "f": "60*20 120*10 0*2",
        "b": "0*18 1*6 0*8",
    }
    [transfer] = judged(signals).transfers
    assert (transfer.flow_s, transfer.volume) == pytest.approx((30, 40))
    assert transfer.unit == "L"
    assert (transfer.not_bonded_s, transfer.no_data_s, transfer.bypassed_s) == (13, 10, 6)
    volumes = (transfer.not_bonded_volume, transfer.no_data_volume, transfer.bypassed_volume)
    assert volumes == pytest.approx((3 + 20, 10, 2 + 8))


def test_volume_is_unknown_where_flow_is_not_measured() -> None:
    [transfer] = judged({"r": "2*9", "run": "1*9"}).transfers
    assert (transfer.volume, transfer.unit, transfer.not_bonded_volume) == (None, None, None)


LEADS = [  # resistance, flow -> bond lead, time to bond
    pytest.param("2*20", "0*8 60*12", 7.0, 1.0, id="before"),
    pytest.param("2*20", "0*1 60*12", 0.0, 1.0, id="just-then"),
    pytest.param("2*20", "60*12 0*8", -1.0, 1.0, id="both-at-once"),
    pytest.param("inf*4 2*16", "60*12 0*8", -5.0, 1.0, id="after"),
    pytest.param("inf*20", "60*12 0*8", None, None, id="never"),
    pytest.param("2*4 inf*16", "0*4 60*12 0*4", None, None, id="over-before-flow"),
    pytest.param("20*5 2*15", "0*8 60*12", 2.0, 6.0, id="slow-hookup"),
]


@pytest.mark.parametrize(("ohm", "flow", "lead", "wait"), LEADS)
def test_bond_lead(ohm: str, flow: str, lead: float | None, wait: float | None) -> None:
    [transfer] = judged({"r": ohm, "f": flow}).transfers
    assert (transfer.bond_lead_s, transfer.time_to_bond_s) == (lead, wait)


def test_a_fixed_item_has_no_bond_lead() -> None:
    [transfer] = judged({"r": "2*20", "f": "0*8 60*12"}, kind="fixed_item").transfers
    assert (transfer.bond_lead_s, transfer.time_to_bond_s) == (None, None)


def ticket(start: int, end: int, batch: str, product: str = "") -> Ticket:
    return Ticket("spot", T0 + start * S, T0 + end * S, batch, product, "")


TICKETS = [  # tickets of a transfer 10..20 -> batch and product
    pytest.param([], None, "solvent", id="none"),
    pytest.param([ticket(0, 10, "A"), ticket(20, 30, "B")], None, "solvent", id="only-touching"),
    pytest.param([ticket(0, 14, "A", "acid"), ticket(14, 30, "B")], "B", "solvent", id="longest"),
    pytest.param([ticket(12, 30, "B"), ticket(0, 18, "A", "acid")], "A", "acid", id="earlier"),
    pytest.param([ticket(0, 30, "B"), ticket(0, 30, "A")], "A", "solvent", id="batch"),
    pytest.param([ticket(0, 30, "", "acid")], None, "acid", id="empty-batch"),
]


@pytest.mark.parametrize(("tickets", "batch", "product"), TICKETS)
def test_the_ticket_that_overlaps_most_names_the_transfer(
    tickets: list[Ticket], batch: str | None, product: str
) -> None:
    [transfer] = judged({"r": "2*30", "f": "0*10 60*10 0*10"}, tickets=tickets).transfers
    assert (transfer.batch, transfer.product, transfer.operator) == (batch, product, None)


GOOD = "2*20"
TRIPS = [  # resistance, permissive, flow, others -> time class/cause loss stop
    pytest.param(
        {"r": "2*10 inf*10", "p": "1*11 0*9", "f": "60*13 0*7"},
        "11 genuine/clamp_off 10 3",
        id="clamp-off",
    ),
    pytest.param(
        {"r": "2*10 inf*2 2*8", "p": "1*11 0*9", "f": "60*13 0*7"},
        "11 genuine/clamp_off 2 3",
        id="exactly-brief",
    ),
    pytest.param(
        {"r": "2*10 50*10", "p": "1*11 0*9", "f": "60*13 0*7"},
        "11 genuine/high_resistance 10 3",
        id="high-resistance",
    ),
    pytest.param(
        {"r": "2*10 15*2 2*8", "p": "1*11 0*9", "f": "60*13 0*7"},
        "11 genuine/high_resistance 2 3 marginal",
        id="marginal",
    ),
    pytest.param(
        {"r": "2*10 15*1 15.1*1 2*8", "p": "1*11 0*9", "f": "60*13 0*7"},
        "11 genuine/high_resistance 2 3",
        id="over-marginal-once",
    ),
    pytest.param(
        {"r": "2*10 50*3 inf*1 2*6", "p": "1*11 0*9", "f": "60*13 0*7"},
        "11 genuine/high_resistance 4 3",
        id="open-but-briefly",
    ),
    pytest.param(
        {"r": "2*10 inf*1 2*9", "p": "1*11 0*9", "f": "60*13 0*7"},
        "11 nuisance/brief_contact_loss 1 3",
        id="brief",
    ),
    pytest.param(
        {"r": GOOD, "s": "1*10 2*1 1*9", "p": "1*11 0*9", "f": "60*13 0*7"},
        "11 nuisance/monitor_fault None None",
        id="status-fault",
    ),
    pytest.param(
        {"r": GOOD, "s": "1*13 2*7", "p": "1*11 0*9", "f": "60*13 0*7"},
        "11 nuisance/monitor_fault None None",
        id="fault-as-flow-goes-off",
    ),
    pytest.param(
        {"r": GOOD, "s": "1*5 2*1 1*14", "p": "1*11 0*9", "f": "60*13 0*7"},
        "11 nuisance/no_loss_seen None None",
        id="fault-over-as-the-evidence-begins",
    ),
    pytest.param(
        {"r": "2*8 2!*2 2*10", "p": "1*11 0*9", "f": "60*13 0*7"},
        "11 nuisance/monitor_fault None None",
        id="bad-quality",
    ),
    pytest.param(
        {"r": GOOD, "p": "1*11 0*9", "f": "60*13 0*7"},
        "11 nuisance/no_loss_seen None None",
        id="no-loss-seen",
    ),
    pytest.param(
        {"r": "2*3 -*17", "p": "1*11 0*9", "f": "60*13 0*7"},
        "11 undetermined/no_data None None",
        id="no-data",
    ),
    pytest.param(
        {"r": "2*8 -*1 2*11", "p": "1*11 0*9", "f": "60*13 0*7"},
        "11 undetermined/no_data None None",
        id="partly-unknown",
    ),
    pytest.param(
        {"r": GOOD, "p": "1*3 0*17", "f": "60*13 0*7"},
        "3 undetermined/no_data None None",  # 5 s before it there were no data yet
        id="exactly-the-window",
    ),
    pytest.param({"r": GOOD, "p": "1*3 0*17", "f": "60*14 0*6"}, "", id="outside-the-window"),
    pytest.param({"r": GOOD, "p": "1*6 0*14", "f": "0*7 60*6 0*7"}, "", id="before-the-run"),
    pytest.param(
        {"r": GOOD, "p": "1*7 0*13", "f": "0*7 60*6 0*7"},
        "7 nuisance/no_loss_seen None None",
        id="as-the-run-begins",
    ),
    pytest.param(
        {"r": GOOD, "p": "1*13 0*7", "f": "60*13 0*7"},
        "13 nuisance/no_loss_seen None None",
        id="as-flow-goes-off",
    ),
    pytest.param(
        {"r": GOOD, "p": "1*9 0*1 1*1 0*9", "f": "60*13 0*7"},
        "11 nuisance/no_loss_seen None None",
        id="the-latest-opening",
    ),
    pytest.param(
        {"r": GOOD, "p": "1*9 -*2 0*9", "f": "60*13 0*7"},
        "11 nuisance/no_loss_seen None None",
        id="opened-unseen",
    ),
    pytest.param({"r": GOOD, "p": "0*20", "f": "60*13 0*7"}, "", id="never-closed"),
    pytest.param({"r": GOOD, "p": "1*11 0*9", "f": "60*13 -*7"}, "", id="flow-goes-unknown"),
    pytest.param({"r": "2*13", "p": "1*11 0*2", "f": "60*13"}, "", id="data-end-in-flow"),
    pytest.param(
        {"r": "2*2 inf*18", "p": "1*11 0*9", "f": "0*3 60*10 0*7"},
        "11 genuine/clamp_off 18 None",
        id="lost-before-the-run",
    ),
    pytest.param(
        {"r": "2*12 inf*8", "p": "1*11 0*9", "f": "60*13 0*7"},
        "11 genuine/clamp_off 8 1",
        id="lost-after-the-opening",
    ),
    pytest.param(
        {"r": "2*13 inf*7", "p": "1*11 0*9", "f": "60*13 0*7"},
        "11 genuine/clamp_off 7 0",
        id="lost-as-flow-goes-off",
    ),
    pytest.param(
        {"r": "2*7 inf*1 2*1 inf*3 2*8", "p": "1*11 0*9", "f": "60*13 0*7"},
        "11 genuine/clamp_off 3 4",
        id="the-loss-closest-before",
    ),
    pytest.param(
        {"r": "2*5 inf*1 2*14", "p": "1*11 0*9", "f": "60*13 0*7"},
        "11 nuisance/no_loss_seen None None",
        id="loss-over-as-the-evidence-begins",
    ),
    pytest.param(
        {"r": "2*10 inf*10", "f": "60*13 0*7"}, "10 genuine/clamp_off 10 3", id="no-permissive"
    ),
    pytest.param(
        {"r": "inf*9 2*1 inf*10", "f": "60*13 0*7"}, "", id="no-permissive-and-never-verified"
    ),
    pytest.param(
        {"p": "1*11 0*9", "f": "60*13 0*7"}, "11 genuine/clamp_off 9 2", id="permissive-tells-all"
    ),
    pytest.param({"r": "2*9", "p": "1*2 0*7", "f": "60*4 0*5"}, "", id="not-a-transfer"),
]


@pytest.mark.parametrize(("signals", "expected"), TRIPS)
def test_trips(signals: Signals, expected: str) -> None:
    result = judged(signals)
    words = []
    for trip in result.trips:
        loss, stop = (None if s is None else f"{s:g}" for s in (trip.loss_s, trip.stop_s))
        words.append(f"{at(trip.time):g} {trip.trip_class}/{trip.cause} {loss} {stop}")
        words += ["marginal"] if trip.marginal else []
    assert " ".join(words) == expected
    assert sum(transfer.trips for transfer in result.transfers) == len(result.trips)


FINDINGS = [  # signals, limits -> kind severity start..end, in order
    pytest.param({"r": "", "f": "", "p": ""}, {}, "", id="empty"),
    pytest.param({"r": "2*20", "f": "0*5 60*10 0*5"}, {}, "", id="good-transfer"),
    pytest.param(
        {"r": "inf*20", "f": "60*10 0*10"}, {}, "no_bond_transfer critical 0..10", id="no-bond"
    ),
    pytest.param({"r": "-*12 2*1", "f": "60*10 0*3"}, {}, "", id="exactly-nodata-allowance"),
    pytest.param(
        {"r": "-*12 2*1", "f": "60*11 0*2"},
        {},
        "unverifiable_flow major 0..11",
        id="all-no-data-is-not-no-bond",
    ),
    pytest.param(
        {"r": "inf*3 2*20", "f": "60*20 0*3"}, {}, "unbonded_start major 0..4", id="unbonded-start"
    ),
    pytest.param({"r": "inf*1 2*22", "f": "60*20 0*3"}, {}, "", id="exactly-start-allowance"),
    pytest.param(
        {"r": "-*2 inf*3 2*20", "f": "60*20 0*5"},
        {},
        "unbonded_start major 0..6",
        id="unknown-beginning-is-skipped",
    ),
    pytest.param(
        {"r": "2*10 inf*20", "f": "0*2 60*14 0*14"},
        {},
        "bond_lost_in_flow critical 10..16",
        id="bond-lost",
    ),
    pytest.param({"r": "2*10 inf*20", "f": "0*2 60*13 0*15"}, {}, "", id="exactly-stop-allowance"),
    pytest.param({"r": "2*10 inf*4 2*20", "f": "0*2 60*30 0*2"}, {}, "", id="restored-in-time"),
    pytest.param(
        {"r": "2*10 inf*5 2*19", "f": "0*2 60*30 0*2"},
        {},
        "bond_lost_in_flow critical 10..16",
        id="restored-and-held-too-late",
    ),
    pytest.param(
        {"r": "2*10 -*11 2*10", "f": "60*31"},
        {},
        "unverifiable_flow major 10..21",
        id="unknown-then-low",
    ),
    pytest.param(
        {"r": "2*10 -*3 inf*6 2*10", "f": "60*29"},
        {},
        "bond_lost_in_flow critical 13..20",
        id="loss-found-after-unknown",
    ),
    pytest.param(
        {"r": "2*10 inf*3 -*4 inf*3 2*9", "f": "60*29"},
        {},
        "bond_lost_in_flow critical 10..21",
        id="unknown-counts-neither-way",
    ),
    pytest.param(
        {"r": "2*10 inf*3 -*4 inf*1 2*9", "f": "60*27"}, {}, "", id="known-not-verified-only-5-s"
    ),
    pytest.param(
        {"r": "2*10 inf*10 2*10", "f": "60*8 0*4 60*10 0*8"},
        {},
        "unbonded_start major 12..21",
        id="run-after-a-pause",
    ),
    pytest.param(
        {"r": "2*10 inf*10 2*10", "f": "60*8 -*4 60*10 0*8"},
        {},
        "bond_lost_in_flow critical 12..21",
        id="run-after-unknown-flow",
    ),
    pytest.param(
        {"r": "2*10 inf*5 2*10", "f": "0*10 60*15"},
        {},
        "unbonded_start major 10..16",
        id="lost-as-flow-begins",
    ),
    pytest.param(
        {"r": "2*5 -*7 inf*8 2*10", "f": "0*10 60*20"},
        {},
        "bond_lost_in_flow critical 12..21",
        id="loss-found-after-an-unknown-beginning",
    ),
    pytest.param(
        {"r": "2*5 -*7 inf*8", "f": "0*10 60*10"},
        {},
        "bond_lost_in_flow critical 12..20 no_bond_transfer critical 10..20",
        id="lost-and-never-bonded-in-flow",
    ),
    pytest.param({"r": "2*20", "f": "60*20", "b": "0*5 1*1 0*14"}, {}, "", id="exactly-bypass"),
    pytest.param(
        {"r": "2*20", "f": "60*20", "b": "0*5 1*2 0*13"},
        {},
        "bypassed_flow major 5..7",
        id="bypassed",
    ),
    pytest.param({"r": "2*20", "f": "0*20", "b": "1*20"}, {}, "", id="bypass-without-flow"),
    pytest.param({"r": "inf*5 300*10 inf*5"}, {}, "failed_hookup minor 5..15", id="failed-hookup"),
    pytest.param(
        {"r": "inf*5 300*10 inf*5", "run": "0*14 1*6"},
        {"start_allowance_s": 60.0},
        "failed_hookup major 5..15 no_bond_transfer critical 14..20",
        id="failed-hookup-in-flow",
    ),
    pytest.param(
        {"r": GOOD, "p": "1*11 0*9", "f": "60*13 0*7"},
        {"mismatch_s": 9.0},
        "nuisance_trip minor 11..13",
        id="nuisance-trip",
    ),
    pytest.param(
        {"r": "2*5 inf*1 2*5 inf*1 2*5 inf*1 2*5"},
        {"cluster_s": 12.0},
        "chattering minor 5..17",
        id="exactly-the-cluster",
    ),
    pytest.param(
        {"r": "2*5 inf*1 2*5 inf*1 2*5 inf*1 2*5"}, {"cluster_s": 11.9}, "", id="over-the-cluster"
    ),
    pytest.param(
        {"r": "2*5 inf*1 2*5 inf*1 2*5 inf*1 2*5 inf*1 2*5"},
        {"cluster_s": 12.0},
        "chattering minor 5..23",
        id="clusters-that-overlap",
    ),
    pytest.param(
        {"r": "2*5 inf*1 2*5 inf*1 2*20 inf*1 2*5 inf*1 2*5"},
        {"cluster_s": 6.0, "cluster_count": 2},
        "chattering minor 5..11 chattering minor 32..38",
        id="clusters-apart",
    ),
    pytest.param({"r": "inf*10", "p": "1*3 0*7"}, {}, "", id="exactly-mismatch"),
    pytest.param(
        {"r": "inf*2 50*8", "p": "1*4 0*6"},
        {},
        "failed_hookup minor 2..10 permissive_without_bond critical 0..4",
        id="without-bond",
    ),
    pytest.param({"r": "-*9 2*1", "p": "1*10"}, {}, "", id="unknown-is-not-unbonded"),
    pytest.param({"r": "2*4 -*1", "p": "0*5"}, {}, "", id="exactly-withheld"),
    pytest.param({"r": "2*10", "p": "0*10"}, {}, "permissive_withheld minor 1..10", id="withheld"),
    pytest.param({"p": "0*20 1*20"}, {}, "", id="permissive-cannot-disagree-with-itself"),
    pytest.param(
        {"r": "2*3 inf*5 2*3"},
        {"kind": "fixed_item", "isolated_s": 5.0},
        "item_isolated major 3..8",
        id="exactly-isolated",
    ),
    pytest.param(
        {"r": "2*3 inf*4 2*3"}, {"kind": "fixed_item", "isolated_s": 5.0}, "", id="not-isolated"
    ),
    pytest.param(
        {"r": "2*3 inf*5 2*3", "run": "0*7 1*1 0*3"},
        {"kind": "fixed_item", "isolated_s": 5.0},
        "item_isolated critical 3..8",
        id="isolated-and-running",
    ),
    pytest.param(
        {"r": "2*12 inf*5", "f": "60*10 0*7"},
        {"release_wait_s": 5.0},
        "early_release minor 12..15",
        id="early-release",
    ),
    pytest.param(
        {"r": "2*15 inf*5", "f": "60*10 0*10"}, {"release_wait_s": 5.0}, "", id="exactly-released"
    ),
    pytest.param(
        {"r": "2*12 -*2 inf*5", "f": "60*10 0*9"},
        {"release_wait_s": 5.0},
        "early_release minor 14..15",
        id="released-unseen",
    ),
    pytest.param(
        {"r": "2*10 inf*5", "f": "60*10 0*5"},
        {"release_wait_s": 5.0, "trip_window_s": 0.0},
        "early_release minor 10..15",
        id="released-as-flow-stops",
    ),
    pytest.param({"r": "2*12 inf*5", "f": "60*10 0*7"}, {}, "", id="no-wait-asked-for"),
    pytest.param(
        {"r": "2*22 inf*5", "f": "60*8 0*4 60*8 0*7"},
        {"release_wait_s": 30.0, "resume_within_s": 2.0},
        "early_release minor 22..50",
        id="the-clamp-stayed-on-for-the-next-transfer",
    ),
]


@pytest.mark.parametrize(("signals", "how", "expected"), FINDINGS)
def test_findings(signals: Signals, how: Case, expected: str) -> None:
    found = judged(signals, **how).findings
    words = [f"{f.kind} {f.severity} {at(f.start):g}..{at(f.end):g}" for f in found]
    assert sorted(words) == sorted(split(expected))


def split(expected: str) -> list[str]:
    words = expected.split()
    return [" ".join(words[n : n + 3]) for n in range(0, len(words), 3)]


def test_findings_come_by_start_then_kind() -> None:
    signals = {"r": "2*10 inf*10", "f": "0*10 60*10", "p": "1*20"}
    found = [finding.kind for finding in judged(signals).findings]
    assert found == ["no_bond_transfer", "permissive_without_bond"]


def test_a_transfer_names_its_findings_and_they_name_it() -> None:
    signals = {"r": "2*10 inf*10 -*1", "f": "0*2 60*14 0*5", "p": "1*20 -*1"}
    result = judged(signals)
    [transfer] = result.transfers
    assert transfer.id == "spot/20260301T130002.000Z"
    assert transfer.findings == (
        "spot/bond_lost_in_flow/20260301T130010.000Z",
        "spot/permissive_without_bond/20260301T130010.000Z",
    )
    assert {finding.transfer for finding in result.findings} == {transfer.id}
    assert not transfer.compliant


def test_a_transfer_with_other_findings_only_is_compliant() -> None:
    signals = {"r": GOOD, "p": "1*11 0*9", "f": "60*13 0*7"}
    [transfer] = judged(signals).transfers
    assert [name.split("/")[1] for name in transfer.findings] == [
        "nuisance_trip",
        "permissive_withheld",
    ]
    assert transfer.compliant


WORK = [  # the work window, in seconds before the loss -> after work
    pytest.param([], False, id="none"),
    pytest.param([(10, 0)], True, id="ends-as-it-begins"),
    pytest.param([(0, -60)], True, id="begins-as-it-does"),
    pytest.param([(-1, -60)], False, id="begins-later"),
    pytest.param([(90_000, 86_400)], False, id="exactly-a-day-after"),
    pytest.param([(90_000, 86_399)], True, id="within-a-day"),
]


@pytest.mark.parametrize(("ago", "expected"), WORK)
def test_isolated_after_work(ago: list[tuple[int, int]], expected: bool) -> None:
    lost = T0 + 3 * S
    work = [WorkWindow("spot", lost - a * S, lost - b * S, "clean-down") for a, b in ago]
    how = {"kind": "fixed_item", "isolated_s": 5.0, "work": work}
    [finding] = judged({"r": "2*3 inf*5"}, **how).findings
    assert finding.evidence == {"after_work": expected}


ALARMS = [  # signals, kind of station, alarm -> start and end
    pytest.param(
        {"r": "2*5 inf*5", "f": "60*10"}, "drum", AlarmKind.BOND_LOST, [(5, 10)], id="lost"
    ),
    pytest.param(
        {"r": "2*5 inf*2 -*2 40*2 2*1", "f": "60*12"},
        "drum",
        AlarmKind.BOND_LOST,
        [(5, 11)],
        id="lost-until-low-again-whatever-comes-between",
    ),
    pytest.param(
        {"r": "2*5 inf*5", "f": "60*8 0*2"},
        "drum",
        AlarmKind.BOND_LOST,
        [(5, 8)],
        id="lost-until-flow-is-over",
    ),
    pytest.param(
        {"r": "2*5 inf*8 2*4", "f": "60*8 0*7 60*2"},
        "drum",
        AlarmKind.BOND_LOST,
        [(5, 13)],
        id="a-pause-is-not-the-end-of-flow",
    ),
    pytest.param({"r": "2*5 inf*5", "f": "60*5 0*5"}, "drum", AlarmKind.BOND_LOST, [], id="after"),
    pytest.param({"r": "2*5 inf*5"}, "fixed_item", AlarmKind.ITEM_BOND_LOST, [(5, 10)], id="item"),
    pytest.param(
        {"r": "2*5 inf*2 -*2 40*2 2*1"},
        "fixed_item",
        AlarmKind.ITEM_BOND_LOST,
        [(5, 7)],
        id="an-items-loss-ends-in-the-dark",
    ),
    pytest.param(
        {"r": "2*5 inf*5", "f": "60*10"}, "fixed_item", AlarmKind.BOND_LOST, [], id="item-only"
    ),
    pytest.param({"r": "2*5 inf*5"}, "drum", AlarmKind.ITEM_BOND_LOST, [], id="not-an-item"),
    pytest.param(
        {"r": "2*3 2!*3 2*4", "s": "1*5 2*2 1*1 1!*1 1*1"},
        "drum",
        AlarmKind.MONITOR_FAULT,
        [(3, 7), (8, 9)],
        id="fault",
    ),
    pytest.param(
        {"b": "1*2 -*2 1*2 0*1 1*1 -*2", "r": "2*10"},
        "drum",
        AlarmKind.BYPASS_ON,
        [(0, 6), (7, 10)],
        id="bypass-on-until-known-off",
    ),
    pytest.param(
        {"r": "inf*5 2*5", "p": "1*5 0*5"},
        "drum",
        AlarmKind.DISAGREEMENT,
        [(0, 5), (6, 10)],
        id="disagree",
    ),
]


@pytest.mark.parametrize(("signals", "kind", "alarm", "expected"), ALARMS)
def test_alarms(
    signals: Signals, kind: str, alarm: AlarmKind, expected: list[tuple[int, int]]
) -> None:
    found = judged(signals, kind=kind).alarms
    assert [(at(each.start), at(each.end)) for each in found if each.kind == alarm] == expected


MIDNIGHTS = [  # when a script begins, seconds to midnight
    pytest.param("a minute before midnight", 60, id="winter"),
    pytest.param("a summer midnight", 30, id="summer"),
]


@pytest.mark.parametrize(("beginning", "before"), MIDNIGHTS)
def test_days_split_seconds_at_local_midnight(beginning: str, before: int) -> None:
    t0 = BEGINNINGS[beginning]
    signals = {"r": "2*100", "f": "60*90 0*10"}
    first, second = evaluate(spot(signals), series(signals, t0), zone=ZONE).days
    assert second.day - first.day == dt.timedelta(days=1)
    assert (first.flow_s, second.flow_s) == (before, 90 - before)
    assert (first.volume, second.volume) == pytest.approx((before, 90 - before))
    assert (first.low_s, second.low_s) == (before, 100 - before)
    assert (first.not_bonded_s, second.not_bonded_s) == (1, 0)
    assert (first.transfers, second.transfers) == (1, 0)
    assert (first.hookups, second.hookups) == (1, 0)


UNKNOWN = [  # flow unknown, flow with the bypass unknown
    pytest.param({"f": "0*9 -*5 60*12", "b": "0*20 -*6"}, 5, 6, id="both"),
    pytest.param({"f": "60*9 -*4 60*9"}, 4, 18, id="no-bypass-point"),
    pytest.param({"f": "60*9 -*9", "run": "1*12 0*6"}, 6, 12, id="running-tells-flow"),
    pytest.param({"r": "2*9"}, 0, 0, id="no-flow-point"),
    pytest.param({"f": "", "r": "2*9"}, 9, 0, id="flow-never-heard"),
    pytest.param({"f": "60*1 0*20"}, 0, 0, id="no-transfer"),
]


@pytest.mark.parametrize(("signals", "flow", "bypass"), UNKNOWN)
def test_a_day_tells_what_is_unknown(signals: Signals, flow: int, bypass: int) -> None:
    [day] = evaluate(spot(signals), series(signals), zone=ZONE).days
    assert (day.flow_unknown_s, day.bypass_unknown_s) == (flow, bypass)


def test_a_day_on_which_clocks_go_forward_has_23_hours() -> None:
    start = BEGINNINGS["clocks go forward"]
    assert (local(start, ZONE).hour, local(start + 60 * S, ZONE).hour) == (0, 2)
    samples = [(start - 3600 * S, 2.0, 0), (start + 86_400 * S, 2.0, 0)]
    station = spot({"r": ""}, stale=100_000.0)
    before, changed, *_ = evaluate(station, {Role.RESISTANCE: samples}, zone=ZONE).days
    assert (before.low_s, changed.low_s) == (30, 23 * 3600)


FIRST_SHOWN = [  # zone, day, time of day -> UTC
    pytest.param("Europe/Lisbon", "2026-07-01", "06:00", "2026-07-01T05:00", id="summer-time"),
    pytest.param("Asia/Kolkata", "2026-07-01", "06:00", "2026-07-01T00:30", id="half-an-hour"),
    pytest.param("Europe/Lisbon", "2026-03-29", "01:30", "2026-03-29T01:00", id="never-shown"),
    pytest.param("Europe/Lisbon", "2026-10-25", "01:30", "2026-10-25T00:30", id="shown-twice"),
    pytest.param(
        "Australia/Lord_Howe", "2026-04-05", "01:45", "2026-04-04T14:45", id="half-an-hour-twice"
    ),
    pytest.param(
        "Australia/Lord_Howe", "2026-10-04", "02:15", "2026-10-03T15:30", id="half-an-hour-never"
    ),
]
"""By the IANA time zone database: Lord Howe Island keeps +10:30 and in summer +11:00."""


@pytest.mark.parametrize(("zone", "day", "clock", "expected"), FIRST_SHOWN)
def test_a_time_of_day_is_when_the_clock_first_reaches_it(
    zone: str, day: str, clock: str, expected: str
) -> None:
    found = first_moment(dt.date.fromisoformat(day), dt.time.fromisoformat(clock), ZoneInfo(zone))
    assert dt.datetime.fromtimestamp(found / S, dt.UTC).isoformat()[:16] == expected


def test_a_day_falls_into_its_shifts_and_the_rest() -> None:
    sunday = dt.date(2026, 3, 1)
    midnight = dt.datetime(2026, 3, 1, tzinfo=dt.UTC).timestamp()
    rosters = [
        (0, (shift("night", "22:00", "06:00"),)),
        (round(midnight + 3 * 3600) * S, (shift("day", "02:00", "12:00", "sun"),)),
    ]
    found = {
        name: [((a / S - midnight) / 3600, (b / S - midnight) / 3600) for a, b in spans]
        for name, spans in parts_of(sunday, ZONE, rosters).items()
    }
    assert found == {"night": [(0, 3)], "day": [(3, 12)], "": [(12, 24)]}


SHIFTED = (shift("turn", "23:58", "00:01"), shift("next", "00:01", "12:00", "mon"))


def test_shifts_split_seconds_and_count_what_began() -> None:
    t0 = BEGINNINGS["a minute before midnight"]
    signals = {"r": "2*150", "f": "0*70 60*60 0*20"}
    result = evaluate(spot(signals), series(signals, t0), zone=ZONE, rosters=[(0, SHIFTED)])
    known = [
        (row.day.day, row.shift, row.low_s, row.flow_s, row.transfers, row.hookups)
        for row in result.shifts
        if row.known_s
    ]
    assert known == [
        (1, "turn", 60, 0, 0, 1),
        (2, "next", 30, 10, 0, 0),
        (2, "turn", 60, 50, 1, 0),
    ]
    assert [(row.day.day, row.shift) for row in result.shifts] == [
        (1, ""),
        (1, "turn"),
        (2, ""),
        (2, "next"),
        (2, "turn"),
    ]


@pytest.mark.parametrize("rosters", [[], [(0, ())]])
def test_without_shifts_a_day_has_no_parts(rosters: Any) -> None:
    result = evaluate(spot({"r": ""}), series({"r": "2*5"}), zone=ZONE, rosters=rosters)
    assert (len(result.days), result.shifts) == (1, ())


def test_no_samples_give_no_results() -> None:
    result = evaluate(spot({"r": "", "f": "", "p": ""}), {}, zone=ZONE)
    assert (result.transfers, result.hookups, result.trips, result.findings) == ((), (), (), ())
    assert (result.alarms, result.days, result.shifts) == ((), (), ())
