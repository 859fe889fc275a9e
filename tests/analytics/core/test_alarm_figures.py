"""Alarm-system figures of a position."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from analytics.core.alarm_figures import (
    AlarmFigures,
    Nuisance,
    OneAlarm,
    Part,
    Stale,
    alarm_figures,
)
from analytics.core.alarm_table import alarm_table
from bondtrail.results import Alarm, AlarmKind
from bondtrail.site import AlarmRules
from tests.analytics.core.test_alarm_floods import MIN, TWO_HOURS

S = 10**9
HOUR = 3600 * S
DAY = 24 * HOUR


def alarm(
    start: float, lasts: float = 30, station: str = "rail-1", kind: str = "bypass_on"
) -> Alarm:
    """An alarm, in seconds."""
    return Alarm(station, AlarmKind(kind), round(start * S), round((start + lasts) * S))


def figures(alarms: Sequence[Alarm], end: int = 2 * HOUR, **rules: object) -> AlarmFigures:
    return alarm_figures(alarms, 0, end, AlarmRules.model_validate(rules))


def test_the_worked_stream() -> None:
    """Our own worked example: 25 alarms over 120 minutes, arithmetic by hand."""
    found = figures([alarm(60 * minute) for minute in TWO_HOURS])
    assert found.count == 25
    assert found.hours == 2
    assert found.per_10_min == pytest.approx(2.0833, abs=0.00005)
    assert found.per_hour == 12.5
    assert found.per_day == pytest.approx(300)
    assert (found.peak.count, found.peak.start) == (12, 20 * MIN)
    assert found.periods_over_10 == Part(1, 12)
    assert found.periods_over_10.value == pytest.approx(0.08333, abs=0.000005)
    assert found.hours_over_30 == Part(0, 2)
    assert len(found.floods) == 1
    assert found.flood_share == pytest.approx(0.16667, abs=0.000005)
    assert found.standing_mean == pytest.approx(25 * 30 / 7200)


def test_more_than_ten_is_what_counts_a_period_by_any_setting_of_floods() -> None:
    ten = [alarm(60 * minute) for minute in range(10)]
    found = figures(ten, flood_begins="10_or_more", flood_windows="sliding")
    assert len(found.floods) == 1
    assert found.periods_over_10 == Part(0, 12)


@pytest.mark.parametrize(
    ("count", "expected"),
    [pytest.param(30, 0, id="thirty-is-not-over-thirty"), pytest.param(31, 1, id="thirty-one-is")],
)
def test_an_hour_with_more_than_thirty(count: int, expected: int) -> None:
    found = figures([alarm(3600 + 100 * n) for n in range(count)])
    assert found.hours_over_30 == Part(expected, 2)


@pytest.mark.parametrize(
    ("end", "hours", "tens"),
    [
        pytest.param(2 * HOUR, 2, 12, id="whole-hours"),
        pytest.param(2 * HOUR + 1, 3, 13, id="a-rest-is-one-more"),
        pytest.param(125 * MIN, 3, 13, id="five-minutes-more"),
        pytest.param(1, 1, 1, id="less-than-one"),
    ],
)
def test_a_shorter_rest_is_a_period_of_its_own(end: int, hours: int, tens: int) -> None:
    found = figures([], end)
    assert (found.hours_over_30, found.periods_over_10) == (Part(0, hours), Part(0, tens))


def test_a_rest_counts_its_alarms() -> None:
    found = figures([alarm(7200 + n) for n in range(11)], 125 * MIN)
    assert found.periods_over_10 == Part(1, 13)
    assert found.flood_ns == 5 * MIN


def test_alarms_count_in_the_period_in_which_they_began() -> None:
    alarms = [alarm(-10, 100), alarm(-100, 50), alarm(0), alarm(7199), alarm(7200)]
    assert figures(alarms).count == 2


@pytest.mark.parametrize("end", [0, -1])
def test_an_empty_period_is_refused(end: int) -> None:
    with pytest.raises(ValueError, match=f"must end after its start, got 0 to {end} ns"):
        figures([], end)


def test_no_alarms_are_no_error() -> None:
    found = figures([])
    assert (found.count, found.tags, found.peak.count, found.per_hour) == (0, 0, 0, 0.0)
    assert (found.top, found.top_share, found.floods, found.standing) == ((), None, (), ())
    assert found.chattering == found.fleeting == Nuisance(0, 0, 0)
    assert found.stale == Stale(0, 0)
    assert found.standing_mean == 0


def test_the_top_ten_and_their_share() -> None:
    alarms = [
        alarm(10 * n + 100 * k, station=f"s-{k:02}") for k in range(12) for n in range(12 - k)
    ]
    alarms.append(alarm(50, station="s-00", kind="monitor_fault"))
    found = figures(alarms)
    assert found.tags == 13
    told = [(row.station, row.kind, row.count) for row in found.top]
    assert told == [(f"s-{k:02}", "bypass_on", 12 - k) for k in range(10)]
    assert found.top[0].share == pytest.approx(12 / 79)
    assert found.top_share == pytest.approx(75 / 79)


def test_equals_in_the_top_ten_stand_in_the_order_of_their_names() -> None:
    alarms = [alarm(n, station=f"s-{n % 12:02}") for n in range(11, -1, -1)]
    assert [row.station for row in figures(alarms).top] == [f"s-{k:02}" for k in range(10)]


def test_each_alarm_tells_what_it_did() -> None:
    alarms = [
        *(alarm(100 + 10 * n, 3) for n in range(4)),
        alarm(3000, 40),
        alarm(200, 40, station="rail-2"),
        alarm(-90_000, 95_000, station="rail-3", kind="monitor_fault"),
        alarm(-50, 70, station="rail-4"),
    ]
    busy, other, old = figures(alarms).each
    assert busy == OneAlarm("rail-1", AlarmKind.BYPASS_ON, 5, 5 / 6, 4, 1, 4, 0)
    assert other == OneAlarm("rail-2", AlarmKind.BYPASS_ON, 1, 1 / 6, 0, 0, 0, 0)
    assert old == OneAlarm("rail-3", AlarmKind.MONITOR_FAULT, 0, 0.0, 0, 0, 0, 1)
    assert figures(alarms).top == (busy, other)


def test_an_old_alarm_alone_is_of_no_share() -> None:
    (old,) = figures([alarm(-90_000, 95_000)]).each
    assert (old.count, old.share, old.stale) == (0, 0.0, 1)


@pytest.mark.parametrize(
    ("starts", "rules", "expected"),
    [
        pytest.param([0, 30], {}, (0, 0, 0), id="two-are-not-three"),
        pytest.param([0, 30, 60], {}, (1, 3, 1), id="three-within-a-minute"),
        pytest.param([0, 30, 60.1], {}, (0, 0, 0), id="just-over-a-minute"),
        pytest.param([0, 30, 60, 90, 120], {}, (1, 5, 1), id="an-episode-goes-on"),
        pytest.param([0, 1, 2, 500, 501, 502], {}, (1, 6, 2), id="two-episodes"),
        pytest.param([0, 30], {"chattering_count": 2}, (1, 2, 1), id="two-where-two-are-set"),
        pytest.param([0, 30, 60.1], {"chattering_s": 61.0}, (1, 3, 1), id="longer-where-set"),
    ],
)
def test_chattering(
    starts: list[float], rules: dict[str, object], expected: tuple[int, int, int]
) -> None:
    found = figures([alarm(start, 1) for start in starts], **rules)
    assert found.chattering == Nuisance(*expected)


def test_different_alarms_together_do_not_chatter() -> None:
    alarms = [
        alarm(0),
        alarm(1, kind="monitor_fault"),
        alarm(2, station="rail-2"),
    ]
    assert figures(alarms).chattering == Nuisance(0, 0, 0)


@pytest.mark.parametrize(
    ("lasts", "rules", "expected"),
    [
        pytest.param([10], {}, 1, id="at-the-limit"),
        pytest.param([10.001], {}, 0, id="just-longer"),
        pytest.param([0], {}, 1, id="cleared-at-once"),
        pytest.param([3, 4], {"fleeting_s": 3.5}, 1, id="another-limit"),
    ],
)
def test_fleeting(lasts: list[float], rules: dict[str, object], expected: int) -> None:
    found = figures([alarm(100 * n, each) for n, each in enumerate(lasts)], **rules)
    assert found.fleeting.alarms == expected


def test_fleeting_tells_how_many_stations_and_kinds() -> None:
    alarms = [alarm(0, 1), alarm(50, 1), alarm(0, 1, station="rail-2"), alarm(9, 99, "rail-3")]
    assert figures(alarms).fleeting == Nuisance(2, 3, 3)


def hours(start: float, end: float, station: str = "rail-1") -> Alarm:
    return alarm(3600 * start, 3600 * (end - start), station)


@pytest.mark.parametrize(
    ("alarms", "expected"),
    [
        pytest.param([hours(0, 24)], (0, 0), id="a-day-is-not-longer-than-a-day"),
        pytest.param([hours(0, 24.001)], (1, 1), id="just-longer"),
        pytest.param([hours(-100, 1)], (1, 1), id="from-before-the-period"),
        pytest.param([hours(-10, 14)], (0, 0), id="a-day-in-all"),
        pytest.param([hours(70, 200)], (0, 0), id="not-yet-stale-where-the-period-ends"),
        pytest.param([hours(-100, -10)], (0, 0), id="over-before-the-period"),
        # Stale from 24 h on: in the morning of the second day one, in its evening the other.
        pytest.param(
            [hours(0, 25), hours(20, 46, "rail-2")], (2, 2), id="one-day-not-the-same-hour"
        ),
        pytest.param(
            [hours(0, 25), hours(30, 56, "rail-2")], (2, 1), id="one-each-on-different-days"
        ),
        pytest.param([hours(0, 72), hours(1, 72, "rail-2")], (2, 2), id="on-every-day"),
    ],
)
def test_stale(alarms: list[Alarm], expected: tuple[int, int]) -> None:
    assert figures(alarms, 3 * DAY).stale == Stale(*expected)


def test_stale_by_another_limit() -> None:
    assert figures([hours(0, 9)], 3 * DAY, stale_h=8.0).stale == Stale(1, 1)


def test_stale_alarms_are_counted_by_the_days_of_the_site() -> None:
    """A day of 23 hours, then one of 24: what is stale in the last hour falls on the second."""
    alarms = [hours(-10, 15), hours(-0.5, 23.8, "rail-2")]
    edges = [0, 23 * HOUR, 47 * HOUR]
    found = alarm_figures(alarms, 0, 47 * HOUR, AlarmRules(), day_edges=edges)
    assert found.stale == Stale(2, 1)
    assert alarm_figures(alarms, 0, 47 * HOUR, AlarmRules()).stale == Stale(2, 2)


@pytest.mark.parametrize(
    ("lasts", "known_until", "expected"),
    [
        pytest.param(3600, None, 0, id="over-before-the-end"),
        pytest.param(7200, None, 1, id="up-to-the-end"),
        pytest.param(9999, None, 1, id="beyond-the-end"),
        pytest.param(3600, 3600, 1, id="up-to-where-the-history-ends"),
        pytest.param(3599, 3600, 0, id="over-before-the-history-ends"),
        pytest.param(7200, 9999, 1, id="history-beyond-the-end"),
    ],
)
def test_standing_at_the_end(lasts: float, known_until: float | None, expected: int) -> None:
    until = None if known_until is None else round(known_until * S)
    found = alarm_figures([alarm(0, lasts)], 0, 2 * HOUR, AlarmRules(), known_until=until)
    assert len(found.standing) == expected
    assert found.standing_at == min(until or 2 * HOUR, 2 * HOUR)


def test_standing_alarms_are_listed_the_oldest_first() -> None:
    alarms = [alarm(100, 9999), alarm(-50, 9999, "rail-2"), alarm(5, 9999, kind="monitor_fault")]
    assert figures(alarms).standing == tuple(sorted(alarms, key=lambda row: row.start))


def test_the_mean_of_standing_alarms_is_over_the_time_in_the_period() -> None:
    alarms = [alarm(-3600, 5400), alarm(1800, 3600, "rail-2"), alarm(5400, 9000, "rail-3")]
    assert figures(alarms).standing_mean == pytest.approx((1800 + 3600 + 1800) / 7200)


def test_the_order_of_alarms_does_not_matter() -> None:
    draw = np.random.default_rng(3)
    alarms = [
        alarm(float(start), float(lasts), f"rail-{n % 7}", list(AlarmKind)[n % 5])
        for n, (start, lasts) in enumerate(draw.uniform(0, 7000, (400, 2)))
    ]
    shuffled = [alarms[n] for n in draw.permutation(len(alarms))]
    assert figures(shuffled) == figures(alarms)


def test_a_table_is_taken_as_it_is() -> None:
    alarms = [alarm(60 * minute, 5) for minute in TWO_HOURS]
    assert alarm_figures(alarm_table(alarms), 0, 2 * HOUR, AlarmRules()) == figures(alarms)


def test_counts_of_neighbouring_periods_add_up() -> None:
    alarms = [alarm(60 * minute, 300) for minute in TWO_HOURS]
    parts = [
        alarm_figures(alarms, start * MIN, (start + 40) * MIN, AlarmRules())
        for start in (0, 40, 80)
    ]
    whole = figures(alarms)
    assert sum(part.count for part in parts) == whole.count
    assert sum(part.periods_over_10.count for part in parts) == whole.periods_over_10.count
    assert sum(part.standing_mean for part in parts) / 3 == pytest.approx(whole.standing_mean)
