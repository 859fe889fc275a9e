"""Published comparisons of two rates and of two shares, through ``bondtrail compare``."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import pytest

from tests.published.conftest import Recorded
from tests.published.historian import Historian
from tests.published.readings import (
    HOUR,
    MINUTE,
    SECOND,
    Flaw,
    Reading,
    Trip,
    idle,
    iso,
    moment,
    site_text,
    transfer,
)

BEGIN = moment("2026-03-02T00:00")
EVERY = 15 * MINUTE


def compare(told: Historian, *arguments: str) -> dict[str, dict[str, Any]]:
    """Return what ``compare`` says of each figure."""
    return {row["figure"]: row for row in told.asked("compare", *arguments)}


# R's poisson.test, as the tests of statsmodels quote it: 11 events in 800 against 21 in 3011.
RATIO, LOW, HIGH, P_VALUE = 1.971488, 0.8584264, 4.277266, 0.0796686
BEFORE, AFTER = (21, 3011), (11, 800)
CHANGED = BEGIN + BEFORE[1] * EVERY
OVER = CHANGED + AFTER[1] * EVERY


def tripping(station: str) -> Iterator[Reading]:
    yield from idle(station, BEGIN - HOUR)
    for begin, (trips, transfers) in ((BEGIN, BEFORE), (CHANGED, AFTER)):
        for n in range(transfers):
            start = begin + n * EVERY
            tripped = n % (transfers // trips) == 0 and n // (transfers // trips) < trips
            yield from transfer(
                station, start, trips=[Trip(start + 30 * SECOND)] if tripped else []
            )


@pytest.fixture(scope="module")
def rates(historian_of: Recorded) -> Historian:
    return historian_of(site_text(["bay", "idle"]), [*tripping("bay"), *idle("idle", BEGIN)])


@pytest.mark.parametrize(
    "asked",
    [
        pytest.param(("--at", iso(CHANGED)), id="before-and-after"),
        pytest.param(("--at", iso(CHANGED), "--days", "60"), id="so-many-days-on-either-side"),
        pytest.param(
            (
                *("--from", iso(BEGIN), "--to", iso(CHANGED)),
                *("--and-from", iso(CHANGED), "--and-to", iso(OVER)),
            ),
            id="two-periods",
        ),
    ],
)
@pytest.mark.parametrize("station", [(), ("--station", "bay")], ids=["site", "station"])
@pytest.mark.parametrize(
    ("figure", "of"),
    [
        ("nuisance_per_100_transfers", (3011, 800)),
        # A minute of flow each.
        ("nuisance_per_1000_flow_h", (3011 / 60, 800 / 60)),
    ],
)
def test_ratio_of_two_rates_matches_r(
    rates: Historian,
    asked: tuple[str, ...],
    station: tuple[str, ...],
    figure: str,
    of: tuple[float, float],
) -> None:
    found = compare(rates, *asked, *station)[figure]
    assert (found["first"]["count"], found["second"]["count"]) == (21, 11)
    assert (found["first"]["of"], found["second"]["of"]) == pytest.approx(of)
    assert found["value"] == pytest.approx(RATIO, abs=1e-6)
    assert (found["low"], found["high"]) == pytest.approx((LOW, HIGH), abs=1e-6)
    assert found["p_value"] == pytest.approx(P_VALUE, abs=1e-7)
    assert "minimum likelihood" in found["method"]
    assert found["verdict"] == "no sign of a difference"


def test_p_by_doubling_the_smaller_tail(rates: Historian) -> None:
    # The same counts; twice the smaller tail as scipy's binomial test gives it.
    asked = ("--at", iso(CHANGED), "--two-sided", "doubled")
    found = compare(rates, *asked)["nuisance_per_100_transfers"]
    assert found["p_value"] == pytest.approx(0.1120173, abs=1e-7)
    assert found["method"].endswith("two-sided by doubling the smaller tail")


def test_the_other_way_round_the_ratio_is_turned_over(rates: Historian) -> None:
    found = compare(
        rates,
        *("--from", iso(CHANGED), "--to", iso(OVER)),
        *("--and-from", iso(BEGIN), "--and-to", iso(CHANGED)),
    )["nuisance_per_100_transfers"]
    assert found["value"] == pytest.approx(1 / RATIO, abs=1e-6)
    assert (found["low"], found["high"]) == pytest.approx((1 / HIGH, 1 / LOW), abs=1e-6)
    assert found["p_value"] == pytest.approx(P_VALUE, abs=1e-7)


def test_two_published_rates_each_have_their_own_interval(rates: Historian) -> None:
    # Garwood's exact limits; scipy: chi2.ppf(.025, 22) / 2 and chi2.ppf(.975, 24) / 2 for 11.
    found = compare(rates, "--at", iso(CHANGED))["nuisance_per_100_transfers"]["second"]
    assert (found["low"], found["high"]) == pytest.approx((5.491160 / 8, 19.68204 / 8), rel=1e-6)


def test_a_station_without_transfers_is_nothing_to_compare_with(rates: Historian) -> None:
    found = compare(rates, "--station", "bay", "--station", "idle")
    for name in ("compliance", "nuisance_per_100_transfers", "nuisance_per_1000_flow_h"):
        row = found[name]
        assert (row["second"]["value"], row["value"], row["low"]) == (None, None, None)


Part = tuple[int, int]

NEWCOMBE: Sequence[tuple[Part, Part, float, float]] = (
    # R. G. Newcombe, Interval estimation for the difference between independent proportions,
    # Statistics in Medicine 17 (1998) 873-890, Table II, method 10; from memory, 4 decimals.
    ((56, 70), (48, 80), 0.0524, 0.3339),
    ((9, 10), (3, 10), 0.1705, 0.8090),
    ((6, 7), (2, 7), 0.0582, 0.8062),
    ((5, 56), (0, 29), -0.0381, 0.1926),
    ((0, 10), (0, 20), -0.1611, 0.2775),
    ((0, 10), (0, 10), -0.2775, 0.2775),
    ((10, 10), (0, 20), 0.6791, 1.0),
    ((10, 10), (0, 10), 0.6075, 1.0),
)


def name_of(part: Part, place: str) -> str:
    return f"{place}-{part[0]}-of-{part[1]}"


@pytest.fixture(scope="module")
def shares(historian_of: Recorded) -> Historian:
    pairs = [(one, other) for one, other, _, _ in NEWCOMBE]
    bays = {
        name_of(part, place): part for pair in pairs for part, place in zip(pair, "ab", strict=True)
    }

    def readings() -> Iterator[Reading]:
        for bay, (compliant, transfers) in bays.items():
            yield from idle(bay, BEGIN - HOUR)
            for n in range(transfers):
                flaw = None if n < compliant else tuple(Flaw)[n % len(Flaw)]
                yield from transfer(bay, BEGIN + n * EVERY, flaw=flaw)

    return historian_of(site_text(list(bays)), readings())


@pytest.mark.parametrize(("one", "other", "low", "high"), NEWCOMBE)
def test_difference_of_two_shares_matches_newcombe(
    shares: Historian, one: Part, other: Part, low: float, high: float
) -> None:
    stations = ("--station", name_of(other, "b"), "--station", name_of(one, "a"))
    found = compare(shares, *stations)["compliance"]
    assert (found["second"]["count"], found["second"]["of"]) == one
    assert (found["first"]["count"], found["first"]["of"]) == other
    assert found["value"] == pytest.approx(one[0] / one[1] - other[0] / other[1])
    assert found["low"] == pytest.approx(low, abs=0.00005)
    assert found["high"] == pytest.approx(high, abs=0.00005)
    told = "higher" if low > 0 else "no sign of a difference"
    assert found["verdict"] == told
