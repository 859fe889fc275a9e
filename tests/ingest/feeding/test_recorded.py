from __future__ import annotations

import pytest

from bondtrail.site import Role, Site
from ingest.feeding.recorded import as_written, in_window
from ingest.feeding.stretches import joined
from tests.ingest.feeding.test_merging import stretch

WINDOWS = [
    pytest.param([[3, 1, 2]], 10, [1, 2, 3], id="all-within"),
    pytest.param([[1, 5], [2, 6], [3, 7]], 2, [1, 2, 3, 5, 6, 7], id="across-blocks"),
    pytest.param([[5, 6, 7], [1, 8]], 1, [5, 6, 1, 7, 8], id="later-than-the-window"),
    pytest.param([[2], [1]], 0, [2, 1], id="no-window"),
    pytest.param([[], [1]], 5, [1], id="an-empty-block"),
]


@pytest.mark.parametrize(("blocks", "window", "times"), WINDOWS)
def test_readings_are_sorted_within_a_window(
    blocks: list[list[int]], window: int, times: list[int]
) -> None:
    stretches = list(in_window((stretch(*block) for block in blocks), window))
    assert joined(stretches).time.tolist() == times
    assert all(len(each) for each in stretches)


def test_what_is_read_for_a_feed_stays_in_the_unit_of_its_table(site: Site) -> None:
    written = as_written(site)
    assert {point.scale for point in written.points()} == {1.0}
    assert site.stations[0].points[Role.FLOW].scale != 1.0
    found = written.point("F1")
    assert found is not None
    assert found.name == "rail-1.flow"
