"""How much of a span is on record."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from analytics.evidence.covering import coverage
from bondtrail.samples import Samples
from bondtrail.site import Role, parse_site
from tests.analytics.evidence import quay

S = 1_000_000_000
STATION = parse_site(quay.SITE).station("rail-1")


def covered(samples: Samples, role: Role = Role.RESISTANCE) -> dict[str, Any]:
    return coverage(STATION, {role: samples}, (0, 100 * S), {})


def ohms(*seconds: int, quality: int = 0) -> Samples:
    return Samples.of(
        np.array(seconds, np.int64) * S, [3.0] * len(seconds), [quality] * len(seconds)
    )


@pytest.mark.parametrize(
    ("samples", "known_s", "bad_s", "readings"),
    [
        pytest.param(ohms(), 0, 0, 0, id="nothing"),
        pytest.param(ohms(*range(0, 100)), 100, 0, 100, id="all-of-it"),
        pytest.param(ohms(0), 5, 0, 1, id="as-long-as-it-holds"),
        pytest.param(ohms(-3), 2, 0, 0, id="held-into-it"),
        pytest.param(ohms(98), 2, 0, 1, id="held-out-of-it"),
        pytest.param(ohms(0, 2, quality=2), 0, 7, 2, id="bad"),
        pytest.param(ohms(0, 2, quality=1), 7, 0, 2, id="uncertain-is-known"),
    ],
)
def test_how_long_a_signal_is_known(
    samples: Samples, known_s: float, bad_s: float, readings: int
) -> None:
    told = covered(samples)
    row = told["points"]["resistance"]
    assert (row["known_s"], row["bad_s"], row["readings"]) == (known_s, bad_s, readings)
    assert row["share"] == known_s / 100
    assert row["known_s"] + row["bad_s"] + row["silent_s"] == told["span_s"] == 100
    assert told["bond"]["known_s"] == known_s


def test_a_contact_holds_as_long_as_its_site_file_says() -> None:
    row = covered(ohms(10), Role.PERMISSIVE)["points"]["permissive"]
    assert (row["known_s"], row["silent_s"]) == (90, 10)


def test_what_such_a_station_can_be_judged_on_is_told() -> None:
    told = {row["about"]: row["reach"] for row in covered(ohms())["judged_on"]}
    assert told["bond"] == "yes"
    assert told["early release"] == "no"
