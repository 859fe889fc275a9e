"""A two-hour stream of alarms, counted by hand, through every way of counting alarms."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Any

import pytest

from tests.published.conftest import Recorded
from tests.published.historian import Historian
from tests.published.readings import (
    BONDED_OHM,
    HOUR,
    MINUTE,
    SECOND,
    Reading,
    bond_loss,
    idle,
    iso,
    moment,
    site_text,
    transfer,
)

BEGIN = moment("2026-03-02T08:00")
END = BEGIN + 2 * HOUR

# Our own worked example: 1 1 12 6 3 0 0 1 0 0 0 1 alarms in the twelve ten minutes of two hours.
MINUTES = (
    1, 12, 20.1, 20.2, 20.5, 21, 22, 23, 24, 25, 26, 27, 28, 29,
    31, 32, 33, 34, 35, 36, 41, 42, 43, 75, 119,
)  # fmt: skip
WITHOUT_TWO = tuple(minute for minute in MINUTES if minute not in (20.1, 20.2))
"""Ten alarms in the third ten minutes, not twelve."""


def at(minute: float) -> int:
    return BEGIN + round(minute * MINUTE)


def bay(name: str, alarms: Iterable[Reading]) -> Iterator[Reading]:
    """A bay where one transfer goes on for all of the two hours."""
    yield from idle(name, BEGIN - HOUR)
    yield from transfer(name, BEGIN - HOUR // 2, 3 * HOUR)
    yield from alarms


def losses(name: str, minutes: Iterable[float]) -> Iterator[Reading]:
    for minute in minutes:
        yield from bond_loss(name, at(minute))


def faults(name: str, minutes: Iterable[float]) -> Iterator[Reading]:
    """The monitor sends bad data for a second each time."""
    for minute in minutes:
        yield Reading(at(minute), f"{name}.resistance", BONDED_OHM, 2)
        yield Reading(at(minute) + SECOND, f"{name}.resistance", BONDED_OHM)


def figures(historian: Historian, *more: str) -> list[dict[str, Any]]:
    return historian.show("alarms", "--from", iso(BEGIN), "--to", iso(END), *more)


def of_rules(historian_of: Recorded, rules: str, minutes: Sequence[float]) -> dict[str, Any]:
    site = site_text(["bay"], tables=f"[alarms]\n{rules}" if rules else "")
    (found,) = figures(historian_of(site, bay("bay", losses("bay", minutes))))
    return found


@pytest.fixture(scope="module")
def plain(historian_of: Recorded) -> dict[str, Any]:
    return of_rules(historian_of, "", MINUTES)


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("average_per_10_min", 2.0833333),
        ("average_per_hour", 12.5),
        ("average_per_day", 300.0),
        ("peak_per_10_min", 12),
        ("periods_over_10", 0.0833333),
        ("hours_over_30", 0.0),
        ("time_in_flood", 0.1666667),
        ("top_ten_share", 1.0),
        ("chattering", 1),
        ("fleeting", 1),
        ("stale", 0),
    ],
)
def test_figure(plain: dict[str, Any], name: str, value: float) -> None:
    assert plain[name]["value"] == pytest.approx(value, abs=1e-7)


def test_all_of_the_stream_is_counted_and_nothing_else(plain: dict[str, Any]) -> None:
    assert (plain["alarms"], plain["different_alarms"], plain["hours"]) == (25, 1, 2.0)
    assert (plain["from"], plain["to"]) == (iso(BEGIN), iso(END))


def test_what_stands_beside_the_figures(plain: dict[str, Any]) -> None:
    assert plain["peak_per_10_min"]["at"] == iso(at(20))
    assert (plain["periods_over_10"]["count"], plain["periods_over_10"]["of"]) == (1, 12)
    assert (plain["hours_over_30"]["count"], plain["hours_over_30"]["of"]) == (0, 2)
    # 20.1, 20.2, 20.5 and 21 min: every three of them within a minute.
    assert (plain["chattering"]["episodes"], plain["chattering"]["alarms"]) == (1, 4)
    assert plain["fleeting"]["alarms"] == 25


def test_the_flood_runs_on_through_six_and_ends_before_three(plain: dict[str, Any]) -> None:
    (flood,) = plain["floods"]
    assert (flood["start"], flood["end"]) == (iso(at(20)), iso(at(40)))
    assert (flood["count"], flood["peak"], flood["seconds"]) == (18, 12, 1200.0)


@pytest.mark.parametrize(
    ("name", "acceptable", "manageable"),
    [
        # IEC 62682 and ISA-18.2-2016, table of alarm-system performance figures; per day
        # IEC 62682:2014.
        ("average_per_day", 144, 288),
        ("average_per_hour", 6, 12),
        ("average_per_10_min", 1, 2),
        ("peak_per_10_min", 10, None),
        ("hours_over_30", 0.01, None),
        ("periods_over_10", 0.01, None),
        ("time_in_flood", 0.01, None),
        ("top_ten_share", 0.01, 0.05),
        ("chattering", 0, None),
        ("fleeting", 0, None),
        ("stale", 5, None),
    ],
)
def test_the_published_levels_stand_beside_each(
    plain: dict[str, Any], name: str, acceptable: float, manageable: float | None
) -> None:
    found = plain[name]
    assert (found["acceptable"], found["manageable"]) == (acceptable, manageable)
    assert "IEC 62682" in found["source"]
    limit = acceptable if manageable is None else manageable
    if name == "top_ten_share":  # of one alarm: ten are all there are, which is no finding
        assert (found["judgement"], found["not_judged"]) == (None, "ten or fewer different alarms")
        return
    assert (found["judgement"] == "over") == (found["value"] > limit)


@pytest.mark.parametrize(
    ("rules", "minutes", "floods", "share"),
    [
        # Counted by hand. Fixed ten minutes:
        pytest.param("", MINUTES, [(20, 40, 18, 12)], 20 / 120, id="default"),
        pytest.param(
            "flood_ends_below = 7", MINUTES, [(20, 30, 12, 12)], 10 / 120, id="six-ends-it"
        ),
        pytest.param(
            "flood_ends_below = 3", MINUTES, [(20, 50, 21, 12)], 30 / 120, id="three-does-not"
        ),
        pytest.param("", WITHOUT_TWO, [], 0.0, id="ten-is-not-above-ten"),
        pytest.param(
            'flood_begins = "10_or_more"',
            WITHOUT_TWO,
            [(20, 40, 16, 10)],
            20 / 120,
            id="ten-is-ten",
        ),
        # Sliding: the eleventh of ten minutes comes at 28 min, so that it begins with the alarm
        # of 20.1 min; at 45 min that of 35 min is ten minutes old, and 36, 41, 42, 43 are left.
        pytest.param(
            'flood_windows = "sliding"', MINUTES, [(20.1, 45, 21, 12)], 24.9 / 120, id="sliding"
        ),
        pytest.param('flood_windows = "sliding"', WITHOUT_TWO, [], 0.0, id="sliding-ten"),
        # The tenth comes at 29 min, from 20.5 min on.
        pytest.param(
            'flood_windows = "sliding"\nflood_begins = "10_or_more"',
            WITHOUT_TWO,
            [(20.5, 45, 19, 10)],
            24.5 / 120,
            id="sliding-ten-is-ten",
        ),
    ],
)
def test_floods_by_the_site_files_settings(
    historian_of: Recorded,
    rules: str,
    minutes: Sequence[float],
    floods: list[tuple[float, float, int, int]],
    share: float,
) -> None:
    told = of_rules(historian_of, rules, minutes)
    assert [
        (flood["start"], flood["end"], flood["count"], flood["peak"]) for flood in told["floods"]
    ] == [(iso(at(start)), iso(at(end)), count, peak) for start, end, count, peak in floods]
    assert told["time_in_flood"]["value"] == pytest.approx(share)
    for line in rules.splitlines():
        name, value = line.split(" = ")
        assert str(told["settings"][name]) == value.strip('"')


@pytest.mark.parametrize(
    ("rules", "name", "value", "episodes", "alarms"),
    [
        # Counted by hand. Every two within a minute: 20.1 to 29, 31 to 36 and 41 to 43 min.
        pytest.param("chattering_count = 2", "chattering", 1, 3, 21, id="two-in-a-minute"),
        pytest.param("chattering_s = 30", "chattering", 1, 1, 3, id="three-in-half-a-minute"),
        pytest.param("chattering_s = 20", "chattering", 0, 0, 0, id="three-in-20-s"),
        pytest.param("fleeting_s = 1.0", "fleeting", 1, 25, 25, id="cleared-within-its-length"),
        pytest.param("fleeting_s = 0.9", "fleeting", 0, 0, 0, id="cleared-later-than-that"),
    ],
)
def test_nuisance_by_the_site_files_settings(
    historian_of: Recorded, rules: str, name: str, value: int, episodes: int, alarms: int
) -> None:
    told = of_rules(historian_of, rules, MINUTES)[name]
    assert (told["value"], told["episodes"], told["alarms"]) == (value, episodes, alarms)


def test_stations_of_one_position_call_one_operator(
    historian_of: Recorded, plain: dict[str, Any]
) -> None:
    site = site_text(
        {
            "bay-1": {"position": "north desk"},
            "bay-2": {"position": "north desk"},
            "bay-3": {"position": "south desk"},
        }
    )
    readings = [
        *bay("bay-1", losses("bay-1", MINUTES[::2])),
        *bay("bay-2", faults("bay-2", MINUTES[1::2])),
        *bay("bay-3", ()),
    ]
    told = {row["position"]: row for row in figures(historian_of(site, readings))}
    north, south = told["north desk"], told["south desk"]
    assert (north["alarms"], north["different_alarms"], south["alarms"]) == (25, 2, 0)
    for name in ("average_per_10_min", "peak_per_10_min", "periods_over_10", "time_in_flood"):
        assert north[name]["value"] == plain[name]["value"]
        assert south[name]["value"] == 0
    assert north["floods"] == plain["floods"]
    assert {(row["station"], row["kind"], row["count"]) for row in north["top_ten"]} == {
        ("bay-1", "bond_lost", 13),
        ("bay-2", "monitor_fault", 12),
    }
