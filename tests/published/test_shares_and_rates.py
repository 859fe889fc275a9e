"""Published intervals of shares and rates, as the figures of merit of stations."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import pytest

from tests.published.conftest import Recorded
from tests.published.historian import Historian
from tests.published.readings import (
    BONDED_OHM,
    HOUR,
    MINUTE,
    PAINT_OHM,
    Cause,
    Flaw,
    Reading,
    Trip,
    hookup,
    idle,
    moment,
    site_text,
    transfer,
)

BEGIN = moment("2026-03-02T00:00")

WILSON: Sequence[tuple[int, int, float, float]] = (
    # R. G. Newcombe, Two-sided confidence intervals for the single proportion, Statistics in
    # Medicine 17 (1998) 857-872, Table I, score method: 4 decimals; the last from memory.
    (81, 263, 0.2553, 0.3662),
    (15, 148, 0.0624, 0.1605),
    (1, 29, 0.0061, 0.1718),
    (0, 20, 0.0, 0.1611),
)


def flawed(count: int) -> Iterator[Flaw]:
    """Yield so many flaws, of every sort in turn."""
    sorts = tuple(Flaw)
    return (sorts[n % len(sorts)] for n in range(count))


def filling(station: str, good: int, of: int) -> Iterator[Reading]:
    """A bay with a transfer every quarter of an hour, some of them not compliant."""
    yield from idle(station, BEGIN - HOUR)
    flaws = [*flawed(of - good), *[None] * good]
    for n, flaw in enumerate(flaws):
        yield from transfer(station, BEGIN + n * 15 * MINUTE, flaw=flaw)


def hooking_up(station: str, failed: int, of: int) -> Iterator[Reading]:
    """A bay with a hookup every quarter of an hour, some of which never reach ground."""
    yield from idle(station, BEGIN - HOUR)
    for n in range(of):
        ohm = PAINT_OHM if n < failed else BONDED_OHM
        yield from hookup(station, BEGIN + n * 15 * MINUTE, ohm)


@pytest.fixture(scope="module")
def shares(historian_of: Recorded) -> Historian:
    readings: list[Reading] = []
    names = []
    for count, of, _, _ in WILSON:
        names += [f"fill-{of}", f"hook-{of}"]
        readings += filling(f"fill-{of}", count, of)
        readings += hooking_up(f"hook-{of}", count, of)
    return historian_of(site_text(names), readings)


@pytest.fixture(scope="module")
def figures(shares: Historian) -> Mapping[str, Any]:
    return shares.by_station("kpis")


@pytest.mark.parametrize(("count", "of", "low", "high"), WILSON)
class TestWilson:
    def test_compliance(
        self, figures: Mapping[str, Any], count: int, of: int, low: float, high: float
    ) -> None:
        found = figures[f"fill-{of}"]["compliance"]
        assert (found["count"], found["of"]) == (count, of)
        assert found["value"] == pytest.approx(count / of)
        assert found["low"] == pytest.approx(low, abs=0.00005)
        assert found["high"] == pytest.approx(high, abs=0.00005)

    def test_failed_hookup_share(
        self, figures: Mapping[str, Any], count: int, of: int, low: float, high: float
    ) -> None:
        found = figures[f"hook-{of}"]["failed_hookup_share"]
        assert (found["count"], found["of"]) == (count, of)
        assert found["low"] == pytest.approx(low, abs=0.00005)
        assert found["high"] == pytest.approx(high, abs=0.00005)


CLOPPER_PEARSON: Sequence[tuple[int, int, float, float]] = (
    # R. G. Newcombe (1998), the same Table I, exact method, from memory; scipy gives the same.
    (81, 263, 0.2527, 0.3676),
    (15, 148, 0.0578, 0.1617),
    (1, 29, 0.0009, 0.1776),
    (0, 20, 0.0, 0.1684),
)


@pytest.fixture(scope="module")
def exact(shares: Historian) -> Mapping[str, Any]:
    return shares.by_station("kpis", "--interval", "clopper-pearson")


@pytest.mark.parametrize(("count", "of", "low", "high"), CLOPPER_PEARSON)
def test_the_exact_interval_is_given_where_it_is_asked_for(
    exact: Mapping[str, Any], count: int, of: int, low: float, high: float
) -> None:
    for found in (exact[f"fill-{of}"]["compliance"], exact[f"hook-{of}"]["failed_hookup_share"]):
        assert (found["count"], found["of"]) == (count, of)
        assert found["low"] == pytest.approx(low, abs=0.00005)
        assert found["high"] == pytest.approx(high, abs=0.00005)


GARWOOD: Sequence[tuple[int, float, float]] = (
    # F. Garwood, Fiducial limits for the Poisson distribution, Biometrika 28 (1936) 437-442: the
    # table is from memory, its figures agree with the exact limits of scipy.
    (0, 0.0, 3.688879),
    (1, 0.0253178, 5.571643),
    (2, 0.2422093, 7.224688),
    (3, 0.6186721, 8.767273),
    (5, 1.623486, 11.66833),
    (10, 4.795389, 18.39036),
    (20, 12.21652, 30.88838),
)
TRANSFERS, EACH = 100, 10 * HOUR
"""A hundred transfers of ten hours: rates per 100 transfers and per 1000 h are the count."""


def tripping(station: str, trips: int) -> Iterator[Reading]:
    yield from idle(station, BEGIN - HOUR)
    causes = tuple(Cause)
    for n in range(TRANSFERS):
        start = BEGIN + n * 11 * HOUR
        here = [Trip(start + HOUR, causes[n % len(causes)])] if n < trips else []
        yield from transfer(station, start, EACH, trips=here)


@pytest.fixture(scope="module")
def rates(historian_of: Recorded) -> Mapping[str, Any]:
    counts = [count for count, _, _ in GARWOOD]
    names = [f"trip-{count}" for count in counts]
    readings = (
        reading
        for name, count in zip(names, counts, strict=True)
        for reading in tripping(name, count)
    )
    return historian_of(site_text(names), readings).by_station("kpis")


@pytest.mark.parametrize(("count", "low", "high"), GARWOOD)
class TestGarwood:
    @pytest.mark.parametrize("name", ["nuisance_per_100_transfers", "nuisance_per_1000_flow_h"])
    def test_nuisance_rate(
        self, rates: Mapping[str, Any], name: str, count: int, low: float, high: float
    ) -> None:
        found = rates[f"trip-{count}"][name]
        assert found["count"] == count
        assert found["value"] == pytest.approx(count)
        assert found["low"] == pytest.approx(low, rel=1e-6)
        assert found["high"] == pytest.approx(high, rel=1e-6)

    def test_the_exposure_is_beside_it(
        self, rates: Mapping[str, Any], count: int, low: float, high: float
    ) -> None:
        row = rates[f"trip-{count}"]
        assert row["nuisance_per_100_transfers"]["of"] == TRANSFERS
        assert row["nuisance_per_1000_flow_h"]["of"] == pytest.approx(1000)
        assert row["compliance"]["value"] == 1


def test_fifteen_in_four_hundred(historian_of: Recorded) -> None:
    # 15 events in 400: exact 95 % limits .02098847 and .06185055, as the tests of statsmodels
    # quote R's.
    def readings() -> Iterator[Reading]:
        yield from idle("bay", BEGIN - HOUR)
        for n in range(400):
            start = BEGIN + n * 15 * MINUTE
            trips = [Trip(start + MINUTE // 2)] if n % 26 == 0 and n < 390 else []
            yield from transfer("bay", start, trips=trips)

    (row,) = historian_of(site_text(["bay"]), readings()).show("kpis")
    found = row["nuisance_per_100_transfers"]
    assert (found["count"], found["of"]) == (15, 400)
    assert found["value"] == pytest.approx(3.75)
    assert found["low"] == pytest.approx(2.098847, abs=5e-7)
    assert found["high"] == pytest.approx(6.185055, abs=5e-7)
