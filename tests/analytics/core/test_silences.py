"""Where a point is known, silent or bad."""

from __future__ import annotations

import pytest

from analytics.core.silences import Told, told
from bondtrail.samples import Samples
from tests.analytics.core.build import BAD, GAP, Stretch, held, ns


@pytest.mark.parametrize(
    ("stretches", "expected"),
    [
        pytest.param([], [("SILENT", 0, 20)], id="nothing"),
        pytest.param([(20, 4.0)], [("KNOWN", 0, 20)], id="throughout"),
        pytest.param([(20, 0.0)], [("KNOWN", 0, 20)], id="whatever-it-says"),
        pytest.param(
            [(5, 4.0), (15, GAP)], [("KNOWN", 0, 6), ("SILENT", 6, 20)], id="two-seconds-held"
        ),
        pytest.param([(5, GAP), (15, 4.0)], [("SILENT", 0, 5), ("KNOWN", 5, 20)], id="begins-late"),
        pytest.param(
            [(5, 4.0), (5, BAD), (10, 4.0)],
            [("KNOWN", 0, 5), ("BAD", 5, 10), ("KNOWN", 10, 20)],
            id="bad-quality",
        ),
    ],
)
def test_told(stretches: list[Stretch], expected: list[tuple[str, float, float]]) -> None:
    line = told(held(*stretches), ns(2), (0, ns(20)))
    found = zip(line.state.tolist(), line.edges[:-1], line.edges[1:], strict=True)
    assert [(Told(code).name, a / ns(1), b / ns(1)) for code, a, b in found] == expected


def test_a_reading_from_before_the_span_holds_into_it() -> None:
    line = told(Samples.of([ns(-1)], [4.0]), ns(5), (0, ns(10)))
    assert (line.edges / ns(1)).tolist() == [0, 4, 10]
    assert line.state.tolist() == [Told.KNOWN, Told.SILENT]
