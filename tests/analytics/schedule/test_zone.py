"""The zone of the site: that of the file in force, without reading all files at each look."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest

from analytics.schedule.zone import LOOK_AGAIN_NS, UTC, SiteZone
from tests.analytics.workdays import site

LISBON, TOKYO = ZoneInfo("Europe/Lisbon"), ZoneInfo("Asia/Tokyo")
NOW = 1_000 * LOOK_AGAIN_NS


class Files:
    """The site files of a store; counts how often they are read."""

    def __init__(self, *zones: ZoneInfo) -> None:
        self.zones = list(zones)
        self.reads = 0

    def sites(self) -> list[tuple[int, str]]:
        self.reads += 1
        text = site("spot").text
        return [
            (since, text.replace("Europe/Lisbon", zone.key))
            for since, zone in enumerate(self.zones)
        ]


def test_the_file_that_came_last_counts() -> None:
    assert SiteZone().of(Files(LISBON, TOKYO), NOW) == TOKYO


def test_without_a_file_it_is_utc_until_there_is_one() -> None:
    files, zone = Files(), SiteZone()
    assert zone.of(files, NOW) == UTC
    files.zones.append(TOKYO)
    assert zone.of(files, NOW) == TOKYO


@pytest.mark.parametrize(
    ("after", "expected", "reads"),
    [
        pytest.param(0, LISBON, 1, id="at-once"),
        pytest.param(LOOK_AGAIN_NS - 1, LISBON, 1, id="soon"),
        pytest.param(LOOK_AGAIN_NS, TOKYO, 2, id="after-a-while"),
        pytest.param(-1, TOKYO, 2, id="clock-set-back"),
    ],
)
def test_files_are_read_again_only_after_a_while(
    after: int, expected: ZoneInfo, reads: int
) -> None:
    files, zone = Files(LISBON), SiteZone()
    assert zone.of(files, NOW) == LISBON
    files.zones.append(TOKYO)
    assert zone.of(files, NOW + after) == expected
    assert files.reads == reads
