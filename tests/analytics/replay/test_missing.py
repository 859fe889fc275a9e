"""What a span does not tell."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from analytics.core.metering import Metering
from analytics.replay.missing import NO_RESULTS, REMOVED, missing_of
from analytics.replay.replayed import Missing
from bondtrail.results import Ticket, Transfer
from bondtrail.samples import Samples
from bondtrail.site import Role, Station
from store import DamageError
from tests.analytics.core.build import BAD, GAP, Pair, Stretch, ns, spans, station, told
from tests.analytics.made import a_transfer

SPAN = (0, ns(100))
EVERY = (Role.RESISTANCE, Role.STATUS, Role.PERMISSIVE, Role.FLOW, Role.BYPASS)


def whole(**other: list[Stretch]) -> tuple[Station, dict[Role, list[Stretch]]]:
    reported: dict[Role, list[Stretch]] = {role: [(100, 1.0)] for role in EVERY}
    reported |= {Role(name): stretches for name, stretches in other.items()}
    return looked_at(station(*EVERY)), reported


def looked_at(of: Station) -> Station:
    """The same station with a site file that says how often its points are looked at."""
    points = {role: p.model_copy(update={"interval_s": 1.0}) for role, p in of.points.items()}
    return of.model_copy(update={"points": points})


def missing(**more: object) -> list[Missing]:
    where, reported = whole(**more.pop("reported", {}))  # type: ignore[arg-type]
    signals = told(**{str(role): stretches for role, stretches in reported.items()})
    return missing_of(where, signals, SPAN, **more)  # type: ignore[arg-type]


def seconds(found: list[Missing]) -> list[tuple[str, float, float, str]]:
    return [(each.about, each.start / ns(1), each.end / ns(1), each.why) for each in found]


@pytest.mark.parametrize(
    ("kept_s", "told"),
    [
        pytest.param(None, [], id="nothing-was-removed"),
        pytest.param(40, [], id="before-the-silence"),
        pytest.param(40.0005, [], id="by-less-than-can-be-told"),
        pytest.param(50, [(40, 50)], id="in-its-midst"),
        pytest.param(500, [(40, 60)], id="long-after"),
    ],
)
def test_what_is_silent_may_have_been_removed(
    kept_s: float | None, told: list[tuple[float, float]]
) -> None:
    kept_from = None if kept_s is None else ns(kept_s)
    found = missing(reported={"flow": [(40, 1.0), (20, GAP), (40, 1.0)]}, kept_from=kept_from)
    of_policy = [each for each in found if each.about == "readings"]
    assert seconds(of_policy) == [("readings", *span, REMOVED) for span in told]
    assert missing(kept_from=kept_from) == []  # what a hold kept is all there


def test_of_a_whole_record_nothing_is_missing() -> None:
    assert missing() == []


@pytest.mark.parametrize(
    ("reported", "expected"),
    [
        pytest.param(
            {"flow": [(40, 1.0), (20, GAP), (40, 1.0)]},
            [("flow", 40, 60, "silent")],
            id="a-silence",
        ),
        pytest.param(
            {"resistance": [(40, 1.0), (20, BAD), (40, 1.0)]},
            [("resistance", 40, 60, "its readings are of bad quality")],
            id="bad-quality",
        ),
        pytest.param(
            {"status": [(100, GAP)]}, [("status", 0, 100, "no reading by then")], id="never-heard"
        ),
        pytest.param(
            {"status": [(30, GAP), (30, 1), (40, GAP)], "flow": [(90, 1), (10, GAP)]},
            [
                ("status", 0, 30, "no reading by then"),
                ("status", 60, 100, "silent"),
                ("flow", 90, 100, "silent"),
            ],
            id="by-start",
        ),
    ],
)
def test_silences_and_bad_data(
    reported: dict[str, list[Stretch]], expected: list[tuple[str, float, float, str]]
) -> None:
    assert seconds(missing(reported=reported)) == expected


def test_points_that_a_station_lacks_are_missing_throughout() -> None:
    roles = (Role.RESISTANCE, Role.FLOW)
    signals = told(resistance=[(100, 1.0)], flow=[(100, 1.0)])
    found = missing_of(looked_at(station(*roles)), signals, SPAN)
    assert [each.about for each in found] == ["bypass", "permissive against bond", "trips"]
    assert {(each.start, each.end) for each in found} == {SPAN}


def test_points_that_report_on_change_are_named_where_nothing_says_how_finely() -> None:
    signals = told(**{role: [(100, 1.0)] for role in EVERY})
    assert missing_of(station(*EVERY), signals, SPAN) == []
    on_change = Samples.of([ns(second) for second in (0, 40, 45, 80)], [1.0, 1.0, 0.0, 0.0])
    slow = station(*EVERY, stale_s=60.0)
    (found,) = missing_of(slow, signals | {Role.BYPASS: on_change}, SPAN)
    assert (found.about, found.start, found.end) == ("order of events", *SPAN)
    assert found.why == (
        "bypass reports on change, and nothing says how often it is looked at: a change may have"
        " come at any moment since the reading before. Add interval_s to it in the site file"
    )
    both = signals | {Role.BYPASS: on_change, Role.PERMISSIVE: on_change}
    (found,) = missing_of(slow, both, SPAN)
    assert found.why.startswith("permissive, bypass report on change, and nothing says how often")
    assert missing_of(looked_at(slow), both, SPAN) == []


@pytest.mark.parametrize(
    ("uncertain", "start", "end", "many"),
    [
        pytest.param([30], 30, 31, "1 of 100", id="one"),
        pytest.param([30, 31, 40], 30, 41, "3 of 100", id="from-the-first-to-the-last"),
        pytest.param([*range(100)], 0, 100, "100 of 100", id="all"),
        pytest.param([99], 99, 100, "1 of 100", id="up-to-the-end-of-the-span"),
    ],
)
def test_uncertain_readings_are_counted(
    uncertain: list[int], start: float, end: float, many: str
) -> None:
    where, reported = whole()
    signals = told(**{str(role): stretches for role, stretches in reported.items()})
    quality = [int(k in uncertain) for k in range(100)]
    signals[Role.FLOW] = Samples.of(np.arange(100) * ns(1), np.ones(100), quality)
    assert seconds(missing_of(where, signals, SPAN)) == [
        (
            "flow",
            start,
            end,
            f"{many} readings of flow are uncertain: their times may be those of arrival",
        )
    ]


def test_uncertain_readings_of_other_spans_do_not_count() -> None:
    where, reported = whole()
    signals = told(**{str(role): stretches for role, stretches in reported.items()})
    around = [-1.0, *range(101)]
    quality = [1, *[0] * 100, 1]
    signals[Role.FLOW] = Samples.of([ns(second) for second in around], np.ones(102), quality)
    assert missing_of(where, signals, SPAN) == []


def transfer(batch: str | None) -> Transfer:
    made = a_transfer("spot", ns(10))
    return dataclasses.replace(made, end=ns(90), batch=batch)


def ticket(start: float, end: float) -> Ticket:
    return Ticket("spot", ns(start), ns(end), "", "toluene", "J. Invented")


@pytest.mark.parametrize(
    ("batch", "tickets", "expected"),
    [
        pytest.param("B-1", [], [], id="named"),
        pytest.param(None, [], [("ticket", 10, 90)], id="none"),
        pytest.param(None, [ticket(0, 5)], [("ticket", 10, 90)], id="of-another-time"),
        pytest.param(None, [ticket(0, 50)], [], id="without-a-batch"),
    ],
)
def test_a_transfer_should_have_a_ticket(
    batch: str | None, tickets: list[Ticket], expected: list[tuple[str, float, float]]
) -> None:
    found = missing(transfer=transfer(batch), tickets=tickets)
    assert [each[:3] for each in seconds(found)] == expected


@pytest.mark.parametrize(
    ("spans_s", "expected"),
    [
        pytest.param(([(10, 90)], [], []), [], id="measured"),
        pytest.param(
            ([(10, 40)], [(40, 60)], [(60, 65)]),
            [
                (
                    "volume",
                    40,
                    65,
                    "at least what is told: the meter told nothing for 20 s of the flow and for 5 s"
                    " in which it may have flowed",
                )
            ],
            id="in-part",
        ),
        pytest.param(
            ([], [(10, 90)], []),
            [("volume", 10, 90, "not known: the meter told nothing of the flow")],
            id="none-of-it",
        ),
    ],
)
def test_flow_that_was_not_measured(
    spans_s: tuple[list[Pair], ...], expected: list[tuple[str, float, float, str]]
) -> None:
    metering = Metering(*(spans(*each) for each in spans_s))
    assert seconds(missing(metering=metering)) == expected


@pytest.mark.parametrize(
    ("since", "expected"),
    [
        pytest.param(None, [], id="up-to-date"),
        pytest.param(-50, [("results", 0, 100, NO_RESULTS)], id="from-before"),
        pytest.param(60, [("results", 60, 100, NO_RESULTS)], id="from-within"),
        pytest.param(100, [], id="only-later"),
    ],
)
def test_readings_that_wait_for_an_analysis(
    since: float | None, expected: list[tuple[str, float, float, str]]
) -> None:
    found = missing(waiting_since=None if since is None else ns(since))
    assert seconds(found) == expected


@pytest.mark.parametrize(
    ("point", "about"), [("spot.flow", "flow"), (None, "readings")], ids=["segment", "journal"]
)
def test_damage(point: str | None, about: str) -> None:
    error = DamageError("store", part="segment", row_id=7, point=point, start=ns(-500), end=ns(60))
    assert seconds(missing(damage=[error])) == [(about, 0, 60, "segment 7 is damaged")]
