"""Which site files held in a span, and by which a stretch of it is read."""

from __future__ import annotations

import pytest

from analytics.replay.holding import held_at, held_in, pieces, product_named
from analytics.replay.replayed import Held
from bondtrail.site import Site, parse_site
from tests.analytics.core.build import Pair, ns

TEXT = """
schema = 1
[site]
id = "quay"
name = "Test quay (invented)"
timezone = "Europe/Lisbon"
[product.toluene]
phase = "liquid"
[product."Fine powder"]
phase = "powder"
[[station]]
id = "{station}"
name = "{name}"
kind = "drum"
limit_ohm = {limit_ohm}
[station.points]
flow = {{ unit = "L/min" }}
"""


def a_site(limit_ohm: float = 10, station: str = "drum-1", name: str = "Drum") -> Site:
    return parse_site(TEXT.format(limit_ohm=limit_ohm, station=station, name=name))


OLD, NEW, NEWEST = a_site(10), a_site(8), a_site(6)
ELSEWHERE = a_site(10, "drum-2")


@pytest.mark.parametrize(
    ("sites", "expected"),
    [
        pytest.param([], [], id="no-file"),
        pytest.param([(0, OLD)], [(100, 10)], id="one-from-before"),
        pytest.param([(500, OLD)], [(100, 10)], id="the-first-holds-for-all-that-came-before"),
        pytest.param([(0, OLD), (100, NEW)], [(100, 8)], id="new-as-the-span-begins"),
        pytest.param([(0, OLD), (150, NEW)], [(100, 10), (150, 8)], id="new-within"),
        pytest.param([(0, OLD), (200, NEW)], [(100, 10)], id="new-as-the-span-ends"),
        pytest.param(
            [(0, OLD), (120, NEW), (150, NEWEST)], [(100, 10), (120, 8), (150, 6)], id="two-within"
        ),
        pytest.param([(0, OLD), (50, ELSEWHERE)], [(100, 10)], id="gone-from-the-file"),
        pytest.param([(0, ELSEWHERE), (150, NEW)], [(100, 8)], id="named-only-later"),
        pytest.param([(0, ELSEWHERE)], [], id="never-named"),
    ],
)
def test_the_files_of_a_span(
    sites: list[tuple[float, Site]], expected: list[tuple[float, float]]
) -> None:
    held = held_in([(ns(since), site) for since, site in sites], "drum-1", ns(100), ns(200))
    assert [(each.since / ns(1), each.station.limits.limit_ohm) for each in held] == expected


def of(*sites: tuple[float, Site]) -> list[Held]:
    return [Held(ns(since), site, site.stations[0]) for since, site in sites]


@pytest.mark.parametrize(("second", "limit"), [(50, 10), (100, 10), (149, 10), (150, 8), (999, 8)])
def test_the_file_of_a_moment(second: float, limit: float) -> None:
    held = held_at(of((100, OLD), (150, NEW)), ns(second))
    assert held.station.limits.limit_ohm == limit


RENAMED = a_site(10, name="Drum filler")


@pytest.mark.parametrize(
    ("held", "begun", "expected"),
    [
        pytest.param(of((100, OLD)), [], [(100, 200, 10)], id="one"),
        pytest.param(
            of((100, OLD), (150, NEW)), [], [(100, 150, 10), (150, 200, 8)], id="at-its-moment"
        ),
        pytest.param(
            of((100, OLD), (150, NEW)),
            [(140, 170), (160, 190)],
            [(100, 170, 10), (170, 200, 8)],
            id="once-what-had-begun-is-over",
        ),
        pytest.param(
            of((100, OLD), (150, NEW)), [(140, 300)], [(100, 200, 10)], id="never-in-the-span"
        ),
        pytest.param(
            of((100, OLD), (150, NEW)),
            [(150, 300), (100, 150)],
            [(100, 150, 10), (150, 200, 8)],
            id="what-begins-or-ends-with-it-does-not-hold-it-up",
        ),
        pytest.param(of((100, OLD), (150, RENAMED)), [], [(100, 200, 10)], id="another-name"),
        pytest.param(
            of((100, OLD), (150, NEW), (160, NEWEST)),
            [(140, 180)],
            [(100, 180, 10), (180, 200, 6)],
            id="overtaken-before-its-turn",
        ),
        pytest.param(
            of((100, OLD), (150, NEW), (180, NEWEST)),
            [],
            [(100, 150, 10), (150, 180, 8), (180, 200, 6)],
            id="three",
        ),
    ],
)
def test_what_began_under_older_limits_is_read_by_them(
    held: list[Held], begun: list[Pair], expected: list[tuple[float, float, float]]
) -> None:
    found = pieces(held, (ns(100), ns(200)), [(ns(a), ns(b)) for a, b in begun])
    assert [(a / ns(1), b / ns(1), s.limits.limit_ohm) for a, b, s in found] == expected


@pytest.mark.parametrize(
    ("name", "phase"),
    [
        ("toluene", "liquid"),
        ("Toluene", "liquid"),
        ("FINE-POWDER", "powder"),
        ("fine_powder", "powder"),
        ("benzene", None),
        (None, None),
    ],
)
def test_a_product_is_found_as_a_ticket_writes_it(name: str | None, phase: str | None) -> None:
    found = product_named(OLD, name)
    assert (found.phase if found else None) == phase
