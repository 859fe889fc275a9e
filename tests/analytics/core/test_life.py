"""Lives of clamps and cables from the work log."""

from __future__ import annotations

import numpy as np
import pytest

from analytics.core.life import Life, PartLife, Wear, lives_from_work, weibull_life
from analytics.core.replacements import Part
from bondtrail.results import WorkWindow
from tests.analytics.core.published import NIST_LIVES, NIST_LIVES_END

DAY = 86_400 * 1_000_000_000

Row = tuple[str, float, float, str]


def work(*rows: Row) -> list[WorkWindow]:
    """Windows of station, first day, last day and what was done."""
    return [
        WorkWindow(station, round(start * DAY), round(end * DAY), what)
        for station, start, end, what in rows
    ]


def told(lives: list[PartLife]) -> list[tuple[str, str, float, float, bool]]:
    return [
        (life.station, life.part, life.start / DAY, life.end / DAY, life.replaced) for life in lives
    ]


@pytest.mark.parametrize(
    ("rows", "expected"),
    [
        pytest.param([], [], id="no-work"),
        pytest.param([("a", 1, 2, "clamp inspected")], [], id="nothing-replaced"),
        pytest.param([("a", 1, 2, "relay replaced")], [], id="other-parts-are-left-out"),
        pytest.param(
            # What was in use before day 10 is left out: nobody knows since when.
            [("a", 10, 11, "clamp replaced")],
            [("a", "clamp", 11, 100, False)],
            id="one-replacement",
        ),
        pytest.param(
            [("a", 40, 41, "clamp replaced"), ("a", 10, 11, "Clamp replacement")],
            [("a", "clamp", 11, 40, True), ("a", "clamp", 41, 100, False)],
            id="two-in-any-order",
        ),
        pytest.param(
            [("a", 10, 11, "clamp replaced"), ("a", 40, 41, "cable replaced")],
            [("a", "cable", 41, 100, False), ("a", "clamp", 11, 100, False)],
            id="each-part-by-itself",
        ),
        pytest.param(
            [("a", 10, 11, "clamp replaced"), ("b", 40, 41, "clamp replaced")],
            [("a", "clamp", 11, 100, False), ("b", "clamp", 41, 100, False)],
            id="each-station-by-itself",
        ),
        pytest.param(
            [("a", 10, 11, "clamp and cable replaced")],
            [("a", "cable", 11, 100, False), ("a", "clamp", 11, 100, False)],
            id="both-at-once",
        ),
        pytest.param(
            [("a", 10, 12, "clamp replaced"), ("a", 11, 13, "clamp replaced")],
            [("a", "clamp", 13, 100, False)],
            id="overlapping-work-is-one-replacement",
        ),
        pytest.param(
            [("a", 10, 12, "clamp replaced"), ("a", 12, 13, "clamp replaced")],
            [("a", "clamp", 13, 100, False)],
            id="touching-work-is-one-replacement",
        ),
        pytest.param(
            [("a", 10, 11, "clamp replaced"), ("a", 100, 101, "clamp replaced")],
            [("a", "clamp", 11, 100, False)],
            id="work-after-the-end-does-not-count",
        ),
        pytest.param(
            [("a", 10, 11, "clamp replaced"), ("a", 99, 101, "clamp replaced")],
            [("a", "clamp", 11, 99, True)],
            id="work-over-the-end",
        ),
    ],
)
def test_lives_from_work(
    rows: list[Row], expected: list[tuple[str, str, float, float, bool]]
) -> None:
    until = dict.fromkeys(("a", "b"), 100 * DAY)
    assert told(lives_from_work(work(*rows), until)) == expected


def test_what_is_known_of_each_station_ends_by_itself() -> None:
    rows = work(("a", 10, 11, "clamp replaced"), ("b", 10, 11, "clamp replaced"))
    assert told(lives_from_work(rows, {"a": 20 * DAY, "b": 60 * DAY})) == [
        ("a", "clamp", 11, 20, False),
        ("b", "clamp", 11, 60, False),
    ]


def test_a_life_is_told_in_days() -> None:
    assert PartLife("a", Part.CLAMP, 0, 36 * DAY // 24, replaced=True).days == 1.5


def test_published_lives() -> None:
    # NIST/SEMATECH e-Handbook 8.4.1; shape and scale as the packages lifelines and scipy fit them.
    life = weibull_life([*NIST_LIVES, *[NIST_LIVES_END] * 10], [True] * 10 + [False] * 10)
    assert life is not None
    assert life.shape.value == pytest.approx(1.720797, abs=5e-7)
    assert life.scale == pytest.approx(606.5276, abs=5e-5)
    assert life.b10.value == pytest.approx(606.5276 * (-np.log(0.9)) ** (1 / 1.720797))
    assert life.median.value == pytest.approx(606.5276 * np.log(2) ** (1 / 1.720797))
    assert (life.replaced, life.running) == (10, 10)
    assert life.words == (
        "no sign that age matters (Weibull shape 1.7, 95% interval 0.8 to 2.7, 10 replaced)"
    )


@pytest.mark.parametrize(
    ("ages", "wear"),
    [
        pytest.param([98, 99, 100, 101, 102], Wear.OUT, id="all-at-about-one-age"),
        pytest.param([1, 2, 3, 50, 900, 10_000, 2, 1], Wear.EARLY, id="some-at-once-some-never"),
        pytest.param([10, 25, 50, 90, 160], Wear.RANDOM, id="like-a-steady-rate"),
    ],
)
def test_wear(ages: list[float], wear: Wear) -> None:
    life = weibull_life(ages, [True] * len(ages))
    assert life is not None
    assert life.wear is wear
    assert life.words.startswith(f"{wear} (")


def lasting(count: int, running: int = 3) -> Life | None:
    ages = [*range(90, 90 + count), *[120] * running]
    return weibull_life(ages, [True] * count + [False] * running)


def test_fewer_than_five_replacements_tell_nothing() -> None:
    assert lasting(4) is None
    assert lasting(5) is not None


def test_all_replaced_at_one_age_tell_nothing() -> None:
    assert weibull_life([30.0] * 6, [True] * 6) is None
