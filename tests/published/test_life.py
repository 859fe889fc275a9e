"""Published lives as replacements in the work log, through ``bondtrail show wear``.

A life runs from the end of one replacement to the start of the next of the same part at the same
station; what is in use at the last reading of its station counts as lasting longer. So a life of
the published data is one station's first replacement and, where the part failed, a second one
whose work goes on until the end, with no reading after it: nothing is in use there.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
import pytest
from scipy.stats import CensoredData, weibull_min

from tests.published.conftest import Recorded
from tests.published.historian import Historian
from tests.published.readings import DAY, HOUR, Reading, Work, idle, moment, site_text

BEGIN = moment("2024-06-03T06:00")

# NIST/SEMATECH e-Handbook of Statistical Methods, section 8.4.1: ten of twenty units failed before
# the test ended at 500 h. Shape and scale by maximum likelihood, as lifelines and
# scipy have them.
FAILED = (54, 187, 216, 240, 244, 335, 361, 373, 375, 386)
ENDED, UNITS = 500, 20
SHAPE, SCALE = 1.720797, 606.5276
SCALE_DAYS = SCALE / 24
OVER = BEGIN + ENDED * HOUR


def bays(count: int) -> list[str]:
    return [f"bay-{n:02}" for n in range(count)]


def worn(parts: Sequence[str]) -> Iterator[Work]:
    """Every bay has its first part at the beginning, and some have their second in the end."""
    for n, bay in enumerate(bays(UNITS)):
        part = parts[n % len(parts)]
        yield Work(BEGIN - 2 * HOUR, BEGIN, bay, f"{part} replaced")
        yield Work(BEGIN + 7 * HOUR, BEGIN + 8 * HOUR, bay, f"{part} cleaned, not replaced")
        if n < len(FAILED):
            yield Work(BEGIN + FAILED[n] * HOUR, OVER, bay, f"replaced {part}, bay out of use")


def told(
    historian_of: Recorded, work: Sequence[Work], watched: Sequence[str]
) -> dict[str, dict[str, Any]]:
    """Return the wear of parts, some of whose bays are watched until the end."""
    readings = [row for bay in bays(UNITS) for row in idle(bay, BEGIN - DAY)]
    readings += [Reading(OVER, f"{bay}.flow", 0) for bay in watched]
    historian: Historian = historian_of(site_text(bays(UNITS)), readings, work)
    return {row["part"]: row for row in historian.show("wear")}


@pytest.mark.parametrize(
    ("parts", "sort"),
    [
        pytest.param(["clamp"], "clamp", id="clamp"),
        pytest.param(["Clamp", "the clip", "CLAMP"], "clamp", id="other-words-for-a-clamp"),
        pytest.param(["clamp cable", "reel"], "cable", id="cable"),
    ],
)
def test_weibull_of_nist(historian_of: Recorded, parts: Sequence[str], sort: str) -> None:
    found = told(historian_of, [*worn(parts)], bays(UNITS)[len(FAILED) :])
    row = found.pop(sort)
    assert (row["replaced"], row["running"]) == (10, 10)
    hours = sorted(life["days"] * 24 for life in row["lives"] if life["replaced"])
    assert hours == pytest.approx(FAILED)
    assert row["shape"]["value"] == pytest.approx(SHAPE, abs=1e-5)
    assert row["scale_days"] == pytest.approx(SCALE_DAYS, rel=1e-6)
    # Its own formulas, from the published shape and scale.
    assert row["b10_days"]["value"] == pytest.approx(SCALE_DAYS * (-np.log(0.9)) ** (1 / SHAPE))
    assert row["median_days"]["value"] == pytest.approx(SCALE_DAYS * np.log(2) ** (1 / SHAPE))
    assert row["shape"]["low"] < SHAPE < row["shape"]["high"]
    for other in found.values():
        assert (other["replaced"], other["shape"]) == (0, None)
        assert "too few" in other["words"]


def test_parts_that_were_put_in_for_others_are_in_use(historian_of: Recorded) -> None:
    # As the log of a site has it: a replacement takes an hour, and the next part begins with it.
    # Shape and scale by scipy's weibull_min with censored data.
    work = []
    for n, bay in enumerate(bays(UNITS)):
        work.append(Work(BEGIN - HOUR, BEGIN, bay, "clamp replaced"))
        if n < len(FAILED):
            start = BEGIN + FAILED[n] * HOUR
            work.append(Work(start, start + HOUR, bay, "clamp replaced"))
    row = told(historian_of, work, bays(UNITS))["clamp"]
    in_use = [ENDED - hours - 1 for hours in FAILED] + [ENDED] * (UNITS - len(FAILED))
    assert (row["replaced"], row["running"]) == (10, 20)
    lives = CensoredData(uncensored=FAILED, right=in_use)
    shape, _, scale = weibull_min.fit(lives, floc=0)
    assert row["shape"]["value"] == pytest.approx(shape, rel=1e-3)
    assert row["scale_days"] == pytest.approx(scale / 24, rel=1e-3)


def test_fewer_than_five_replacements_are_too_few(historian_of: Recorded) -> None:
    work = [row for row in worn(["clamp"]) if row.end < OVER or row.station < "bay-04"]
    row = told(historian_of, work, bays(UNITS)[4:])["clamp"]
    assert (row["replaced"], row["shape"], row["scale_days"]) == (4, None, None)
    assert "too few" in row["words"]


def test_planned_work_is_not_done(historian_of: Recorded) -> None:
    # The clock of the historian stands ten days after the last reading.
    planned = OVER + 11 * DAY
    work = [
        Work(BEGIN - HOUR, BEGIN, "bay-00", "clamp replaced"),
        Work(planned, planned + HOUR, "bay-00", "clamp replaced"),
    ]
    row = told(historian_of, work, ["bay-00"])["clamp"]
    (life,) = row["lives"]
    assert (row["replaced"], life["replaced"]) == (0, False)
    assert life["days"] == pytest.approx(ENDED / 24)
