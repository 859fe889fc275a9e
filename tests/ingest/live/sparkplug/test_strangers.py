"""Nodes that are none of the site's: left in peace, and nothing is told of them.

All of this is ours. The specification has a host application hear all edge nodes of its groups.
"""

from __future__ import annotations

import pytest

from bondtrail.running import Given
from bondtrail.site import Site, parse_site
from ingest.live.sparkplug import SparkplugHost
from ingest.live.sparkplug.host import KEEP_NS
from ingest.live.sparkplug.order import REORDER_NS
from ingest.live.sparkplug.reasons import Wrong
from tests.ingest.live.sparkplug.edge import DOUBLE, FLOW, SITE, Talk, born, metric, ns, told

FLO = "rail-1.flow"
KEEP = KEEP_NS // 1_000_000
WINDOW = REORDER_NS // 1_000_000
LEVEL = ("LEVEL", 3, DOUBLE)


def site_with(groups: str) -> Site:
    return parse_site(f"{SITE.text}\n[sparkplug]\ngroups = {groups}\n")


@pytest.fixture
def others() -> Talk:
    """A node of a group that no alias names."""
    return Talk(group="others")


def live(talk: Talk, *, at: int = 0, bd: int = 0) -> None:
    talk.nbirth(born(("Fan", 1, DOUBLE), 1.0), at=at, bd=bd)
    talk.dbirth(born(LEVEL, 1.0), at=at)


# Asking for births


def test_node_of_which_nothing_is_known_is_asked_once(others: Talk) -> None:
    asked = [others.ddata(told(LEVEL, 1.0), seq=9, at=n * KEEP).asked for n in range(9)]
    assert asked == [["spBv1.0/others/NCMD/gate"]] + [[]] * 8


def test_node_whose_births_name_nothing_of_ours_is_never_asked(others: Talk) -> None:
    live(others)
    others.ddata(told(LEVEL, 1.0), seq=50, at=10)  # of lost order
    assert others.tick(10 + WINDOW).asked == []
    assert others.ddata(metric(alias=99, double_value=1.0), seq=51, at=KEEP).asked == []
    others.host.doubt()
    assert others.tick(2 * KEEP).asked == []
    others.ndeath(at=3 * KEEP)
    assert others.say("NDATA", metric(alias=1), seq=1, at=4 * KEEP).asked == []


def test_node_that_an_alias_names_is_asked_again_and_again() -> None:
    talk = Talk()
    asked = [talk.ddata(told(LEVEL, 1.0), seq=9, at=n * KEEP).asked for n in (0, 1, 2, 3)]
    assert [len(topics) for topics in asked] == [1, 1, 0, 1]


def test_node_that_gives_a_point_is_asked(others: Talk) -> None:
    live(others)
    others.ddata(metric("FT-1", double_value=1.0), seq=2, at=1)
    others.ddata(told(LEVEL, 1.0), seq=50, at=10)
    assert len(others.tick(10 + WINDOW).asked) == 1


def test_node_that_gave_a_point_before_a_restart_is_asked(others: Talk) -> None:
    others.host.remember([Given(FLO, "sparkplug others/gate", "m1", "FT-1", ns(0), 5.0, 0)])
    asked = [others.ddata(told(FLOW, 1.0), seq=9, at=n * KEEP).asked for n in (0, 1)]
    assert [len(topics) for topics in asked] == [1, 1]


def test_node_that_may_be_ours_by_another_site_file_is_asked_once(others: Talk) -> None:
    live(others)
    others.host.follow(parse_site(SITE.text.replace("FT-1", "FT-9")))
    asked = [others.tick(n * KEEP).asked for n in range(1, 5)]
    assert [len(topics) for topics in asked] == [1, 0, 0, 0]
    live(others, at=5 * KEEP, bd=1)
    assert others.ddata(told(LEVEL, 1.0), seq=50, at=6 * KEEP).asked == []


def test_device_of_a_strange_node_may_be_ours_until_it_is_born(others: Talk) -> None:
    live(others)
    heard = others.ddata(told(FLOW, 1.0), seq=2, device="m9", at=5)
    assert (heard.faults, len(heard.asked)) == ([(Wrong.UNBORN, 1)], 1)


# Rejects


def test_nothing_is_told_of_a_node_of_which_nothing_is_ours(others: Talk) -> None:
    assert others.nbirth(born(("Fan", 1, DOUBLE), 1.0)).faults == []
    assert others.dbirth(born(LEVEL, 1.0), born(("?", 3, DOUBLE), 1.0)).faults == []
    assert others.ddata(metric("new", double_value=1.0), metric(), seq=2, at=1).faults == []
    assert others.raw("spBv1.0/others/DDATA/gate/m1", b"{}").faults == []
    others.ddata(told(LEVEL, 1.0), seq=50, at=10)
    assert others.tick(10 + WINDOW).faults == []
    assert others.tick(10 + WINDOW + KEEP).faults == []
    assert others.end(2 * KEEP).faults == []


def test_unknown_metrics_are_told_of_a_node_that_gives_a_point(others: Talk) -> None:
    others.nbirth()
    assert others.dbirth(born(LEVEL, 1.0), born(FLOW, 1.0)).faults == [(Wrong.UNKNOWN, 1)]


def test_second_device_of_one_bare_name_is_told_though_it_gives_nothing(others: Talk) -> None:
    talk = Talk(others.host)
    talk.births()
    others.nbirth()
    assert others.dbirth(born(FLOW, 9.0)).faults == [(Wrong.CLAIMED, 1)]


# Groups that the site file names


def test_node_of_a_named_group_is_ours_whatever_it_gives() -> None:
    talk = Talk(SparkplugHost(site_with('["others"]')), group="others")
    talk.nbirth()
    assert talk.dbirth(born(LEVEL, 1.0)).faults == [(Wrong.UNKNOWN, 1)]
    talk.ddata(told(LEVEL, 1.0), seq=50, at=10)
    assert len(talk.tick(10 + WINDOW).asked) == 1


@pytest.mark.parametrize("groups", ["[]", '["yard"]'])
def test_what_still_comes_of_other_groups_is_nobodys_business(groups: str) -> None:
    talk = Talk(SparkplugHost(site_with(groups)))
    heard = [
        talk.nbirth(),
        talk.dbirth(born(FLOW, 1.0)),
        talk.ddata(told(FLOW, 2.0), seq=9),
        talk.raw("spBv1.0/plant/x", b"?"),
    ]
    assert all(not (each.rows or each.faults or each.asked) for each in heard)


def test_nodes_of_a_group_that_is_left_out_by_now_are_let_go() -> None:
    talk = Talk()
    talk.births()
    yard = Talk(talk.host, group="yard")
    yard.nbirth()
    yard.dbirth(metric("FT-2", 1, datatype=DOUBLE, double_value=1.0))
    given = [Given(FLO, "sparkplug plant/gate", "m1", "FT-1", ns(0), 5.0, 0)]
    talk.host.follow(site_with('["yard"]'))
    talk.host.remember(given)
    assert talk.tick(KEEP).asked == ["spBv1.0/yard/NCMD/gate"]
    assert talk.ndeath(at=KEEP + 1).rows == []
    assert yard.dbirth(born(FLOW, 3.0), seq=2, at=KEEP + 2).rows == [(FLO, KEEP + 2, 3.0, 0)]
