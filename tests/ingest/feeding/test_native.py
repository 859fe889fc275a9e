from __future__ import annotations

import json
import math

import numpy as np
import pytest

from bondtrail.site import Site
from ingest.feeding.native import NativeEncoder
from ingest.feeding.stretches import Stretch

MS, T = 10**6, 1_772_352_930_000


def encoded(site: Site, rows: list[tuple[str, int, float, int]], most: int = 50) -> list[object]:
    """Return topics and payloads of readings given as tag, time, value and quality."""
    points = list(site.points())
    numbers = {tag: number for number, point in enumerate(points) for tag in point.aliases}
    stretch = Stretch(
        np.array([numbers[tag] for tag, *_ in rows], np.int16),
        np.array([row[1] for row in rows], np.int64),
        np.array([row[2] for row in rows], np.float64),
        np.array([row[3] for row in rows], np.uint8),
    )
    messages = NativeEncoder(site, points, most).messages(stretch, 0)
    return [(each.topic, json.loads(each.payload), each.readings) for each in messages]


OBJECTS = [  # tag, time [ns], value, quality: the object of design section 5
    pytest.param(("M1/1", T * MS, 2.3, 0), {"t": T, "v": 2.3}, id="good-says-no-quality"),
    pytest.param(("M1/1", T * MS, 2.3, 1), {"t": T, "v": 2.3, "q": 1}, id="uncertain"),
    pytest.param(("M1/1", T * MS, math.inf, 2), {"t": T, "v": None, "q": 2}, id="open-circuit"),
    pytest.param(("P1", T * MS, 1.0, 0), {"t": T, "v": 1}, id="a-contact"),
    pytest.param(("F1", T * MS, 1e300, 0), {"t": T, "v": 1e300}, id="a-huge-flow"),
    pytest.param(("F1", T * MS, -0.25, 0), {"t": T, "v": -0.25}, id="a-negative-flow"),
    pytest.param(("M1/2", T * MS, 0.1 + 0.2, 0), {"t": T, "v": 0.1 + 0.2}, id="every-digit"),
    pytest.param(("P1", T * MS + 1000, 0.0, 0), {"t": T * 1000 + 1, "v": 0}, id="microseconds"),
    pytest.param(("P1", T * MS + 1, 0.0, 0), {"t": T * MS + 1, "v": 0}, id="nanoseconds"),
]


@pytest.mark.parametrize(("row", "expected"), OBJECTS)
def test_a_reading_is_one_object(
    site: Site, row: tuple[str, int, float, int], expected: dict[str, object]
) -> None:
    [(topic, payload, count)] = encoded(site, [row])  # type: ignore[misc]
    point = site.point(row[0])
    assert point is not None
    assert topic == f"bondtrail/quay/{point.station}/{point.role}"
    assert (payload, count) == (expected, 1)


def test_several_of_a_point_share_messages_of_a_bounded_size(site: Site) -> None:
    rows = [("P1" if n % 2 else "M1/1", (T + n) * MS, 1.0, 0) for n in range(10)]
    found = encoded(site, rows, most=3)
    times = [
        [each["t"] - T for each in payload] if isinstance(payload, list) else [payload["t"] - T]
        for _, payload, _ in found  # type: ignore[misc]
    ]
    assert times == [[0, 2, 4], [6, 8], [1, 3, 5], [7, 9]]
    assert [count for _, _, count in found] == [3, 2, 3, 2]  # type: ignore[misc]
