from __future__ import annotations

from typing import Any

import pytest

from bondtrail.site import Role, Site, SiteError, parse_site
from bondtrail.site_aliases import AliasError, whole_alias

M1 = {"unit": "M1", "channel": 4}


@pytest.mark.parametrize(
    ("alias", "whole"),
    [
        pytest.param("FT-101", "FT-101", id="tag"),
        pytest.param("A/+/B", "A/+/B", id="tag-without-field"),
        pytest.param("monitor/4#ohm", "monitor/4#ohm", id="topic-without-plus"),
        pytest.param("monitor/+#ohm", "monitor/4#ohm", id="channel"),
        pytest.param("+/ohm#", "4/ohm#", id="channel-first"),
        pytest.param("+#", "4#", id="channel-alone"),
        pytest.param("monitor/+/in/+#ohm", "monitor/M1/in/4#ohm", id="unit-then-channel"),
        pytest.param("+/+#r.+/+", "M1/4#r.+/+", id="field-as-it-is"),
        pytest.param("P+1/+#ohm", "P+1/4#ohm", id="plus-inside-a-level"),
        pytest.param("P+1#ohm", "P+1#ohm", id="plus-inside-a-level-alone"),
    ],
)
def test_plus_stands_for_what_the_station_is(alias: str, whole: str) -> None:
    assert whole_alias(alias, M1) == whole


@pytest.mark.parametrize(
    ("alias", "own", "wrong", "right"),
    [
        pytest.param("m/+#r", {"unit": "M1"}, "no channel", "channel in this", id="no-channel"),
        pytest.param("m/+/+#r", {"channel": 4}, "no unit", "unit in this", id="no-unit"),
        pytest.param("+/+/+#r", M1, "3 levels that are +", "one + for the channel", id="three"),
        pytest.param("+/+#r", {**M1, "unit": "M/1"}, "'M/1' cannot stand", "without /", id="slash"),
        pytest.param("+/+#r", {**M1, "unit": "M+1"}, "'M+1' cannot stand", "without /", id="plus"),
        pytest.param("+/+#r", {**M1, "unit": "M#"}, "'M#' cannot stand", "without /", id="hash"),
        pytest.param("+/+#r", {**M1, "unit": " M"}, "' M' cannot stand", "blanks", id="blank"),
        pytest.param(f"{'x' * 240}/+/+#r", {**M1, "unit": "M" * 20}, "is too long", "at most 256",
                     id="too-long"),
    ],
)  # fmt: skip
def test_plus_that_stands_for_nothing_is_an_error(
    alias: str, own: dict[str, Any], wrong: str, right: str
) -> None:
    with pytest.raises(AliasError) as caught:
        whole_alias(alias, own)
    assert wrong in caught.value.wrong
    assert right in caught.value.right


def site_of(first: str, second: str, alias: str = "monitor/+/in/+#ohm") -> str:
    stations = "".join(
        f'[[station]]\nid = "s-{number}"\nname = "S"\nkind = "drum"\n{own}\n'
        f'[station.points]\nresistance = {{ alias = ["{alias}"] }}\n'
        for number, own in enumerate((first, second), 1)
    )
    header = '[site]\nid = "quay"\nname = "Quay (invented)"\ntimezone = "Europe/Lisbon"\n'
    return f"schema = 1\n{header}{stations}"


def point_of(site: Site, alias: str) -> str | None:
    point = site.point(alias)
    return None if point is None else point.name


def test_one_alias_serves_several_stations() -> None:
    site = parse_site(site_of('unit = "M1"\nchannel = 1', 'unit = "M1"\nchannel = 2'))
    assert point_of(site, "monitor/M1/in/1#ohm") == "s-1.resistance"
    assert point_of(site, "monitor/M1/in/2#ohm") == "s-2.resistance"
    assert point_of(site, "monitor/+/in/+#ohm") is None
    assert site.stations[0].points[Role.RESISTANCE].aliases == ("monitor/M1/in/1#ohm",)


@pytest.mark.parametrize(
    ("second", "alias", "said"),
    [
        pytest.param(
            'unit = "M1"',
            "monitor/+/in/+#ohm",
            "[[station]] s-2 points.resistance.alias: 'monitor/+/in/+#ohm' has a + for the "
            "channel, but this station has no channel: expected channel in this [[station]], "
            "or an alias without +",
            id="nothing-to-stand-for-it",
        ),
        pytest.param(
            'unit = "M2"\nchannel = 1',
            "monitor/+#ohm",
            "[[station]] s-2 points.resistance.alias: 'monitor/1#ohm' already belongs to "
            "resistance of [[station]] s-1: expected it at one point only",
            id="the-same-when-whole",
        ),
        pytest.param(
            'unit = "M1"\nchannel = -2',
            "monitor/+#ohm",
            "[[station]] s-2 channel: -2 is negative: expected a number of 0 or more, e.g. 1",
            id="faulty-channel-is-one-problem",
        ),
    ],
)
def test_error_names_table_and_key(second: str, alias: str, said: str) -> None:
    with pytest.raises(SiteError) as caught:
        parse_site(site_of('unit = "M1"\nchannel = 1', second, alias))
    assert [str(problem) for problem in caught.value.problems] == [said]
