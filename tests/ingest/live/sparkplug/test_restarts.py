"""After a restart: what was heard before is known again, so that a death finds its points.

Published: NDEATH is the will of the connection, at QoS 1, so that the broker keeps it for a
listener that is away; births have QoS 0, and are not kept. What is remembered is ours.

Sections beside tests are those of the Sparkplug specification 3.0.0 (ISO/IEC 20237); their titles
are from memory.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import pytest

from bondtrail.running import Given
from bondtrail.site import parse_site
from ingest.live.sparkplug import SparkplugHost, known
from ingest.live.sparkplug.host import KEEP_NS
from ingest.live.sparkplug.missed import ASK_EVERY_NS, MOST_ASKED
from ingest.live.sparkplug.reasons import Wrong
from ingest.live.sparkplug.sparkplug_pb2 import Payload
from tests.ingest.live.sparkplug.edge import (
    DOUBLE,
    FLOAT,
    FLOW,
    OHM,
    PERMISSIVE,
    SITE,
    T,
    Talk,
    born,
    metric,
    ns,
    told,
)

RES, FLO, PERM, KEY = "rail-1.resistance", "rail-1.flow", "rail-1.permissive", "rail-1.bypass"
KEEP = KEEP_NS // 1_000_000
UNTOLD = (Wrong.UNBORN, Wrong.LOST)
ASK_EVERY = ASK_EVERY_NS // 1_000_000
GATE = "sparkplug plant/gate"


def given(
    point: str,
    metric: str,
    *,
    device: str = "m1",
    source: str = GATE,
    at: int = -1000,
    quality: int = 0,
) -> Given:
    """What the store says, with a reading of 5 at ``at`` ms after `T`."""
    return Given(point, source, device, metric, ns(T + at), 5.0, quality)


HEARD = [
    given(RES, "Bond/Ohm"),
    given(FLO, "FT-1"),
    given(KEY, "KEY-1", device=""),
    given("rail-2.flow", "FT-2", device="m2"),
]


def by_alias(point: str, what: tuple[str, int, int], session: int = 0) -> Given:
    """What a birth of device m1 lets it give by an alias."""
    name, alias, datatype = what
    return Given(point, GATE, "m1", name, alias=alias, datatype=datatype, session=session)


KNOWN = [
    replace(by_alias(point, what), time=ns(T - 1000), value=5.0)
    for point, what in ((RES, OHM), (FLO, FLOW))
]
"""The same of device m1, with the aliases of its last birth."""


def again(told: Iterable[Given] = HEARD) -> Talk:
    """Return a talk with a host that was just started."""
    host = SparkplugHost(SITE)
    host.remember(told)
    return Talk(host)


def marked(at: int) -> list[tuple[str, int, float, int]]:
    return [(each.point, at, 5.0, 2) for each in sorted(HEARD, key=lambda each: each.point)]


# What is told to be remembered


def test_a_point_is_told_once_when_it_is_first_heard() -> None:
    talk = Talk()
    talk.nbirth(metric("KEY-1", datatype=DOUBLE, double_value=1.0))
    first = talk.dbirth(born(OHM, 1.0), born(FLOW, 100.0), born(PERMISSIVE)).taken.given
    assert first == [by_alias(RES, OHM), by_alias(FLO, FLOW)]
    assert talk.ddata(told(FLOW, 1.0), seq=2).taken.given == []
    late = talk.ddata(told(PERMISSIVE, True), seq=3).taken.given
    assert late == [by_alias(PERM, PERMISSIVE)]
    talk.nbirth(at=9)
    assert talk.dbirth(born(OHM, 1.0), born(FLOW, 1.0), at=9).taken.given == []


def test_another_alias_type_or_session_of_a_point_is_told() -> None:
    talk = Talk()
    talk.births()
    talk.nbirth(bd=1, at=9)
    again = talk.dbirth(born(FLOW, 1.0), at=9).taken.given
    assert again == [by_alias(FLO, FLOW, session=1)]
    name, _, datatype = FLOW
    for seq, other in enumerate([(name, 77, datatype), (name, 77, FLOAT)], 2):
        found = talk.dbirth(born(other, 1.0), seq=seq, at=9 + seq).taken.given
        assert found == [by_alias(FLO, other, session=1)]
    unnumbered = metric(name, datatype=DOUBLE, double_value=1.0)
    found = talk.dbirth(unnumbered, seq=4, at=13).taken.given
    assert found == [Given(FLO, GATE, "m1", "FT-1")]


def test_an_alias_that_no_store_can_hold_is_not_told() -> None:
    talk = Talk()
    talk.nbirth()
    told_of = talk.dbirth(born(("FT-1", 2**63, DOUBLE), 1.0)).taken.given
    assert told_of == [Given(FLO, GATE, "m1", "FT-1")]


def test_a_point_of_the_node_itself_is_told() -> None:
    heard = Talk().nbirth(metric("KEY-1", datatype=DOUBLE, double_value=1.0))
    assert heard.taken.given == [Given(KEY, GATE, "", "KEY-1")]


def test_history_tells_nothing_to_remember() -> None:
    talk = Talk()
    talk.nbirth()
    assert talk.dbirth(born(FLOW, 1.0, is_historical=True)).taken.given == []


def test_what_is_remembered_is_not_told_again() -> None:
    talk = again(KNOWN)
    talk.nbirth()
    assert talk.dbirth(born(OHM, 1.0), born(FLOW, 100.0)).taken.given == []


# Data by alias before any birth. What is remembered is ours; that nobody knows an alias before a
# birth is section "Data Messages", from memory.


def test_data_by_alias_since_a_restart_wait_for_the_birth_that_says_the_same() -> None:
    talk = again(KNOWN)
    heard = talk.ddata(told(FLOW, 7.0), told(OHM, 2.0), seq=9, at=5)
    assert (heard.rows, heard.faults, len(heard.asked)) == ([], [], 1)
    assert talk.nbirth(at=6).rows == []
    rows = talk.dbirth(born(OHM, 3.0), born(FLOW, 8.0), at=7).rows
    assert (FLO, 5, 7.0, 0) in rows
    assert (RES, 5, 2000.0, 0) in rows
    assert rows[-4:-2] == [(RES, 7, 3000.0, 0), (FLO, 7, 8.0, 0)]


@pytest.mark.parametrize(
    ("session", "births"),
    [
        pytest.param(1, [born(OHM, 1.0), born(FLOW, 8.0)], id="another-session"),
        pytest.param(0, [born(("FT-1", 77, DOUBLE), 8.0)], id="another-alias"),
        pytest.param(0, [born(("FT-1", 11, FLOAT), 8.0)], id="another-type"),
        pytest.param(0, [born(("PRM-1", 11, DOUBLE), 1.0)], id="the-alias-of-another"),
    ],
)
def test_data_by_alias_since_a_restart_are_refused_where_the_birth_says_otherwise(
    session: int, births: list[Payload.Metric]
) -> None:
    talk = again(KNOWN)
    assert talk.ddata(told(FLOW, 7.0), seq=9, at=5).rows == []
    heard = [talk.nbirth(bd=session, at=6), talk.dbirth(*births, at=7)]
    assert 7.0 not in [value for each in heard for _, _, value, _ in each.rows]
    assert sum(count for each in heard for wrong, count in each.faults if wrong in UNTOLD) == 1


def test_data_by_alias_that_no_birth_follows_are_refused_in_the_end() -> None:
    talk = again(KNOWN)
    talk.ddata(told(FLOW, 7.0), seq=9, at=5)
    assert talk.tick(4 + KEEP).faults == []
    heard = talk.tick(5 + KEEP)
    assert (heard.rows, heard.faults) == ([], [(Wrong.UNBORN, 1)])


def test_data_by_an_alias_that_was_not_known_before_a_restart_are_refused_at_once() -> None:
    heard = again().ddata(told(FLOW, 7.0), seq=9, at=5)
    assert (heard.rows, heard.faults) == ([], [(Wrong.UNBORN, 1)])


# Deaths before any birth


@pytest.mark.parametrize("session", [0, 7], ids=["one-session", "another"])
def test_death_of_a_node_before_any_birth_marks_what_it_gave(session: int) -> None:
    # Section "Death Message (NDEATH)".
    talk = again()
    heard = talk.ndeath(bd=session, at=5)
    assert (sorted(heard.rows), heard.faults) == (marked(5), [])
    assert talk.ndeath(bd=session, at=9).rows == []


def test_death_of_a_device_before_any_birth_marks_what_it_gave() -> None:
    # Section "Death Message (DDEATH)".
    talk = again()
    assert talk.say("DDEATH", seq=9, device="m2", at=5).rows == [("rail-2.flow", 5, 5.0, 2)]
    assert len(talk.ndeath(at=6).rows) == len(HEARD) - 1


def test_death_of_a_node_that_sent_by_name_marks_what_it_did_not_send_too() -> None:
    talk = again()
    talk.ddata(metric("FT-1", double_value=8.0), seq=9, at=4)
    assert sorted(talk.ndeath(at=5).rows) == sorted(
        [row for row in marked(5) if row[0] != FLO] + [(FLO, 5, 8.0, 2)]
    )


def test_mark_stands_after_what_is_stored_of_a_point() -> None:
    talk = again([given(FLO, "FT-1", at=60_000)])
    assert talk.ndeath(at=5).rows == [(FLO, 60_001, 5.0, 2)]


def test_what_a_death_marked_before_the_restart_is_not_marked_again() -> None:
    talk = again([given(FLO, "FT-1", quality=2)])
    assert talk.ndeath(at=5).rows == []


def test_birth_after_a_restart_ends_a_death_from_before_it() -> None:
    talk = again([given(PERM, "PRM-1", quality=2)])
    talk.nbirth()
    old = born(PERMISSIVE, True, timestamp=T - 60_000)
    assert talk.dbirth(old).rows == [(PERM, -60_000, 1.0, 0), (PERM, 0, 1.0, 1)]


def test_will_of_an_earlier_session_that_is_believed_is_put_right_by_the_birth() -> None:
    talk = again([given(PERM, "PRM-1"), given(FLO, "FT-1")])
    assert len(talk.ndeath(bd=3, at=5).rows) == 2
    assert talk.tick(6).asked == ["spBv1.0/plant/NCMD/gate"]
    talk.nbirth(bd=4, at=7)
    old = born(PERMISSIVE, True, timestamp=T - 1000)
    assert talk.dbirth(old, born(FLOW, 3.0), at=8).rows == [
        (PERM, -1000, 1.0, 0),
        (PERM, 8, 1.0, 1),
        (FLO, 8, 3.0, 0),
    ]
    assert talk.ndeath(bd=3, at=9).faults == [(Wrong.OTHER_DEATH, 1)]


def test_device_that_is_not_born_with_its_node_after_a_restart_is_marked() -> None:
    talk = again()
    talk.nbirth(metric("KEY-1", datatype=DOUBLE, double_value=1.0), at=10)
    talk.dbirth(born(OHM, 1.0), born(FLOW, 100.0), at=11)
    assert talk.tick(9 + KEEP).rows == []
    assert talk.tick(10 + KEEP).rows == [("rail-2.flow", 10, 5.0, 2)]
    assert talk.tick(20 + 2 * KEEP).rows == []


def test_node_that_is_silent_is_left_as_it_is() -> None:
    assert again().tick(10 * KEEP).rows == []


# Whose a point is by now


def test_point_that_another_device_gives_by_now_is_not_marked() -> None:
    talk = again([given(FLO, "FT-1", device="m9")])
    talk.nbirth()
    heard = talk.dbirth(born(FLOW, 100.0), at=1)
    assert heard.rows == [(FLO, 1, 100.0, 0)]
    assert heard.taken.given == [by_alias(FLO, FLOW)]
    assert talk.say("DDEATH", seq=2, device="m9", at=2).rows == []


def test_point_that_another_gives_by_its_path_is_not_marked() -> None:
    talk = again([given(RES, "rail-1.resistance", source="sparkplug plant/old")])
    talk.births()
    assert talk.say("NDEATH", node="old", at=2).rows == []


@pytest.mark.parametrize(
    "stored",
    [
        pytest.param(given(FLO, "FT-9"), id="metric-that-the-site-file-no-longer-has"),
        pytest.param(given(FLO, "FT-2"), id="metric-of-another-point-by-now"),
        pytest.param(given("rail-9.flow", "FT-9"), id="point-that-is-gone"),
        pytest.param(given(FLO, "FT-1", source="mqtt rail-1"), id="no-node"),
        pytest.param(given(FLO, "FT-1", source="sparkplug plant"), id="half-a-node"),
        pytest.param(replace(given(FLO, "FT-1"), time=None), id="no-reading"),
    ],
)
def test_what_the_site_file_no_longer_says_is_not_remembered(stored: Given) -> None:
    talk = again([stored])
    assert talk.tick(0).asked == []
    assert talk.ndeath(at=5).rows == []


@pytest.mark.parametrize(
    ("before", "after", "expected"),
    [
        pytest.param('"Quay (invented)"', '"Quay"', marked(5), id="as-before"),
        pytest.param('"FT-1"', '"FT-9"', [r for r in marked(5) if r[0] != FLO], id="other-metric"),
    ],
)
def test_another_site_file_leaves_what_is_remembered_where_it_still_says_so(
    before: str, after: str, expected: list[tuple[str, int, float, int]]
) -> None:
    talk = again()
    talk.host.follow(parse_site(SITE.text.replace(before, after)))
    assert sorted(talk.ndeath(at=5).rows) == expected


def test_what_was_marked_stays_so_by_another_site_file() -> None:
    talk = again()
    talk.ndeath(at=5)
    talk.host.follow(parse_site(SITE.text.replace("Quay (invented)", "Quay")))
    talk.host.remember(HEARD)
    assert talk.ndeath(at=6).rows == []


# Asking for births


def test_nodes_of_before_are_asked_for_their_births_a_few_at_a_time() -> None:
    # Section "Command (NCMD)".
    nodes = [f"n{n:02}" for n in range(2 * MOST_ASKED + 1)]
    site = parse_site(_site_of(nodes))
    host = SparkplugHost(site)
    host.remember(
        given(f"{node}.flow", f"{node}-FT", source=f"sparkplug plant/{node}") for node in nodes
    )
    talk = Talk(host)
    talk.nbirth(node="n00")
    counts = [len(talk.tick(at).asked) for at in (0, 1, ASK_EVERY, 2 * ASK_EVERY, 9 * ASK_EVERY)]
    assert counts == [MOST_ASKED - 1, 0, MOST_ASKED, 1, 0]


def _site_of(nodes: Iterable[str]) -> str:
    head = SITE.text.partition("[[station]]")[0]
    return head + "".join(
        f'[[station]]\nid = "{node}"\nname = "{node}"\nkind = "drum"\n'
        f'points = {{ flow = {{ alias = ["{node}-FT"], unit = "L/min" }} }}\n'
        for node in nodes
    )


def test_node_of_before_is_asked_once_a_minute_at_most() -> None:
    talk = again()
    assert len(talk.tick(0).asked) == 1
    assert talk.ddata(told(FLOW, 1.0), seq=9, at=KEEP - 1).asked == []
    assert len(talk.ddata(told(FLOW, 1.0), seq=9, at=KEEP).asked) == 1


# A connection that was lost, and is there again


def reconnected() -> Talk:
    talk = Talk()
    talk.births()
    talk.host.doubt()
    return talk


def test_death_of_a_session_whose_birth_was_missed_is_believed() -> None:
    heard = reconnected().ndeath(bd=1, at=5)
    assert (sorted(heard.rows), heard.faults) == ([(FLO, 5, 100.0, 2), (RES, 5, 1000.0, 2)], [])


def test_birth_makes_sessions_certain_again() -> None:
    # Section "Death Message (NDEATH)".
    talk = reconnected()
    talk.births(bd=1, at=5)
    assert talk.ndeath(bd=0, at=6).faults == [(Wrong.OTHER_DEATH, 1)]
    assert talk.tick(7).asked == []


def test_aliases_wait_for_the_birth_that_is_asked_for() -> None:
    talk = reconnected()
    heard = talk.ddata(told(FLOW, 3.0), seq=2, at=5)  # the number that was due before, by chance
    assert (heard.rows, heard.asked) == ([], ["spBv1.0/plant/NCMD/gate"])
    talk.nbirth(at=6)
    assert (FLO, 5, 3.0, 0) in talk.dbirth(born(OHM, 1.0), born(FLOW, 3.0), at=7).rows


def test_aliases_that_changed_meanwhile_are_not_taken_for_what_they_were() -> None:
    talk = reconnected()
    talk.ddata(told(FLOW, 3.0), seq=2, at=5)
    talk.nbirth(at=6)
    swapped = [(OHM[0], FLOW[1], DOUBLE), (FLOW[0], OHM[1], DOUBLE)]
    heard = talk.dbirth(*(born(what, 2.0) for what in swapped), at=7)
    assert heard.faults == [(Wrong.LOST, 1)]
    assert (FLO, 5, 3.0, 0) not in heard.rows


def test_silent_nodes_are_asked_too() -> None:
    talk = reconnected()
    assert talk.tick(5).asked == ["spBv1.0/plant/NCMD/gate"]
    assert talk.tick(6).asked == []


def test_nodes_that_are_dead_are_not_asked_again() -> None:
    talk = Talk()
    talk.births()
    talk.ndeath(at=5)
    talk.host.doubt()
    assert talk.tick(6).asked == []


# Bounds


def test_nodes_whose_points_are_known_do_not_make_room(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(known, "MOST_NODES", 3)
    talk = again()
    for n in range(10):
        talk.say("NDATA", metric(alias=1), seq=0, node=f"n{n}")
    assert len(talk.ndeath(at=5).rows) == len(HEARD)


def test_more_than_is_followed_is_not_remembered(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(known, "MOST_NODES", 1)
    monkeypatch.setattr(known, "MOST_DEVICES", 1)
    talk = again([*HEARD, given(PERM, "PRM-1", source="sparkplug plant/yard")])
    assert {row[0] for row in talk.ndeath(at=5).rows} == {RES, FLO}
    assert talk.say("NDEATH", node="yard", at=6).rows == []
