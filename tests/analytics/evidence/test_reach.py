"""A record that is cut within a pause: what it shows of a transfer may not be all of it."""

from __future__ import annotations

from collections.abc import Mapping

import pytest

from analytics.core.station import Verdict, examine
from analytics.evidence import Grade, Outcome, Package, build, verify_bytes
from analytics.evidence.reach import last_reading, needed, outlives, untold
from analytics.runs import analyse
from bondtrail.samples import Samples, concatenate
from bondtrail.site import Limits, Role
from store import Store
from tests.analytics.core.build import GAP, OPEN, Stretch, held, ns, station, told
from tests.analytics.evidence.forging import everything, grades, said
from tests.analytics.workdays import DAY, HOUR, MINUTE, MONDAY, site

pytestmark = pytest.mark.usefixtures("not_drawn")

AFTER = "whether it went on"
BEFORE = "whether it had begun before"

PAUSE, ALLOWED = 60, 10
"""How long a pause lasts at most, and flow may be unknown near a transfer. [s]"""

FLOWS = [
    pytest.param([(60, 0), (20, 9), (60, 0)], [], id="all-of-a-pause-on-both-sides"),
    pytest.param([(60, 0), (20, 9), (58, 0)], [AFTER], id="a-second-too-short-after"),
    pytest.param([(59, 0), (20, 9), (60, 0)], [BEFORE], id="a-second-too-short-before"),
    pytest.param([(20, 9)], [BEFORE, AFTER], id="nothing-but-flow"),
    pytest.param([(20, 9), (60, 0)], [BEFORE], id="begins-in-flow"),
    pytest.param([(60, 0), (20, 9)], [AFTER], id="ends-in-flow"),
    pytest.param(
        [(60, 0), (20, 9), (20, 0), (10, GAP), (60, 0)], [], id="unknown-for-as-long-as-allowed"
    ),
    pytest.param([(60, 0), (20, 9), (20, 0), (11, GAP), (60, 0)], [AFTER], id="unknown-for-longer"),
    pytest.param([(60, 0), (20, 9), (90, GAP), (60, 0)], [AFTER], id="unknown-throughout"),
    pytest.param([(60, 0), (90, GAP), (20, 9), (60, 0)], [BEFORE], id="unknown-before"),
    pytest.param([(30, GAP), (60, 0), (20, 9), (60, 0), (30, GAP)], [], id="unknown-beyond"),
    pytest.param(
        [(60, 0), (20, 9), (30, 0), (20, 9), (60, 0)], [], id="resumed-within-the-readings"
    ),
]


def verdict_of(flow: list[Stretch], pause_s: float = PAUSE) -> Verdict:
    of = station(
        Role.RESISTANCE,
        Role.FLOW,
        resume_within_s=pause_s,
        nodata_allowance_s=ALLOWED,
    )
    lasts = sum(stretch[0] for stretch in flow)
    signals = told(resistance=[(lasts, 2.0)], flow=flow)
    return examine(of, signals, (0, ns(lasts)))


@pytest.mark.parametrize(("flow", "expected"), FLOWS)
def test_whether_a_transfer_is_whole(flow: list[Stretch], expected: list[str]) -> None:
    found = dict(untold(verdict_of(flow)))
    assert len(found) == bool(expected)
    for why in found.values():
        assert [each for each in (BEFORE, AFTER) if each in why] == expected


@pytest.mark.parametrize(
    ("flow", "expected"),
    [
        pytest.param([(1, 0), (20, 9), (1, 0)], 0, id="known-to-be-off"),
        pytest.param([(20, 9)], 1, id="on-throughout"),
    ],
)
def test_where_no_pause_is_joined_flow_must_be_seen_to_end(
    flow: list[Stretch], expected: int
) -> None:
    assert len(dict(untold(verdict_of(flow, 0.0)))) == expected


def test_what_must_be_known_is_a_pause_on_each_side() -> None:
    assert needed((100, 200), Limits(resume_within_s=1e-8)) == (90, 210)
    assert needed((100, 200), Limits(resume_within_s=0.0)) == (99, 201)


def test_a_hookup_outlives_readings_that_end_before_it() -> None:
    verdict = verdict_of([(20, 9)])
    assert last_reading([verdict, verdict]) == ns(19)
    assert last_reading([]) is None
    assert outlives({"end_ns": ns(19) + 1}, ns(19))
    assert not outlives({"end_ns": ns(19)}, ns(19))
    assert not outlives({"end_ns": ns(19)}, None)


def record() -> dict[str, Samples]:
    """Ten minutes of flow with a good bond, and after a pause of five twenty with a bad one."""
    return {
        "spot.resistance": held(
            (8 * HOUR, OPEN), (25 * MINUTE, 2.0), (25 * MINUTE, 12.0), (2 * HOUR, OPEN),
            start=MONDAY, every_s=MINUTE,
        ),
        "spot.flow": held(
            (8 * HOUR + 10 * MINUTE, 0), (10 * MINUTE, 60), (5 * MINUTE, 0), (20 * MINUTE, 60),
            (2 * HOUR, 0), start=MONDAY, every_s=MINUTE,
        ),
    }  # fmt: skip


def clipped(
    record: Mapping[str, Samples], since_s: float = 0.0, until_s: float = DAY
) -> dict[str, Samples]:
    """The record between two times of that day. [s]"""
    span = ns(MONDAY + since_s), ns(MONDAY + until_s)
    return {point: samples.between(*span) for point, samples in record.items()}


def packed(store: Store, record: Mapping[str, Samples], margin_s: float = 300.0) -> Package:
    """The package of the first transfer."""
    store.put_site(site("spot"), 0)
    store.write(record)
    analyse(store, now=ns(MONDAY + DAY))
    return build(store, store.transfers()[0].id, margin_s=margin_s)


CUT = 8 * HOUR + 22 * MINUTE
"""Within the pause. [s]"""


@pytest.mark.parametrize("margin_s", [0.0, 300.0, 3.0 * HOUR])
def test_a_record_cut_within_a_pause_does_not_tell_the_transfer_whole(
    store: Store, margin_s: float
) -> None:
    package = packed(store, clipped(record(), until_s=CUT), margin_s)
    assert store.transfers()[0].compliant
    checked = verify_bytes(package.content)
    assert checked.outcome is Outcome.UNCHECKED
    assert grades(checked)["rules"] is Grade.UNTOLD
    assert AFTER in said(checked, "rules")
    assert any(AFTER in each for each in package.beyond)


def test_a_record_cut_before_a_pause_does_not_tell_the_transfer_whole(store: Store) -> None:
    cut = clipped(record(), since_s=8 * HOUR + 22 * MINUTE)
    checked = verify_bytes(packed(store, cut).content)
    assert checked.outcome is not Outcome.WRONG, everything(checked)
    assert grades(checked)["rules"] is Grade.UNTOLD
    assert BEFORE in said(checked, "rules")


def test_flow_alone_that_is_cut_is_told_as_well(store: Store) -> None:
    whole, cut = record(), clipped(record(), until_s=CUT)
    checked = verify_bytes(packed(store, {**whole, "spot.flow": cut["spot.flow"]}).content)
    assert grades(checked)["rules"] is Grade.UNTOLD
    assert AFTER in said(checked, "rules")


def test_a_clamp_that_stays_on_to_the_end_is_not_told_to_be_off(store: Store) -> None:
    """Flow is known for longer than a pause; the clamp may have been on for days."""
    day: dict[str, list[Stretch]] = {
        "spot.resistance": [(8 * HOUR, OPEN), (90 * MINUTE, 2.0)],
        "spot.flow": [(8 * HOUR + 10 * MINUTE, 0), (40 * MINUTE, 60), (40 * MINUTE, 0)],
    }
    lines = {name: held(*line, start=MONDAY, every_s=MINUTE) for name, line in day.items()}
    checked = verify_bytes(packed(store, lines).content)
    assert grades(checked)["rules"] is Grade.UNTOLD
    told = said(checked, "rules")
    assert "hookup 2026-03-02T08:00:00.000Z: it cannot be told whether it went on" in told
    assert "transfer spot" not in told


@pytest.mark.parametrize("margin_s", [0.0, 300.0])
def test_readings_reach_beyond_a_pause_where_there_are_any(store: Store, margin_s: float) -> None:
    """Clamp and flow go off at once, long before the store's readings end."""
    package = packed(store, record(), margin_s)
    assert package.beyond == ()
    transfer = store.transfers()[0]
    assert not transfer.compliant
    assert package.span[0] <= transfer.start - ns(600)
    assert package.span[1] >= transfer.end + ns(600)
    assert verify_bytes(package.content).sound


def test_a_clamp_taken_off_in_silence_is_told_by_what_is_heard_later(store: Store) -> None:
    """All points fall silent at nine with the clamp on, and speak again at ten."""
    morning = clipped(
        {
            "spot.resistance": held(
                (8 * HOUR, OPEN), (HOUR, 2.0), start=MONDAY, every_s=MINUTE
            ),
            "spot.flow": held(
                (8 * HOUR + 10 * MINUTE, 0), (35 * MINUTE, 60), (15 * MINUTE, 0),
                start=MONDAY, every_s=MINUTE,
            ),
        }
    )  # fmt: skip
    later = {
        "spot.resistance": held((HOUR, OPEN), start=MONDAY + 10 * HOUR, every_s=MINUTE),
        "spot.flow": held((HOUR, 0), start=MONDAY + 10 * HOUR, every_s=MINUTE),
    }
    both = {point: concatenate([line, later[point]]) for point, line in morning.items()}
    package = packed(store, both)
    assert package.span[1] > ns(MONDAY + 10 * HOUR)
    assert verify_bytes(package.content).sound
