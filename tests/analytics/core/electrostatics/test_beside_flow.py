"""Where flow that is unknown can belong to flow on record."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from analytics.core.electrostatics.beside_flow import Heard, beside_flow
from bondtrail.site import Role
from tests.analytics.core.build import Pair, Stretch, contact, held, ns, pairs, station

OF = station(Role.FLOW, Role.RESISTANCE, resume_within_s=10)
SPAN = 0, ns(100)
WHOLE: Heard = {Role.FLOW: (0, ns(100))}

CASES = [
    pytest.param("? 100", [(0, 100)], id="nothing-tells-of-flow"),
    pytest.param("? 40 off 20 ? 40", [], id="flow-nowhere-on-record"),
    pytest.param("? 40 on 20 ? 40", [(30, 70)], id="reaches-both-ways"),
    pytest.param("? 5 on 90 ? 5", [(0, 100)], id="not-beyond-the-span"),
    pytest.param("on 20 ? 10 on 20 ? 50", [(0, 60)], id="joined-at-the-limit"),
    pytest.param("on 20 ? 20 on 20 ? 40", [(0, 70)], id="both-reach-the-same-moment"),
    pytest.param("on 20 ? 21 on 19 ? 40", [(0, 30), (31, 70)], id="too-far-apart"),
    pytest.param("on 10 off 50 on 10 ? 30", [(0, 20), (50, 80)], id="a-pause-is-known"),
]


@pytest.mark.parametrize(("words", "expected"), CASES)
def test_flow_reaches_as_far_as_the_rules_join_it(words: str, expected: list[Pair]) -> None:
    assert pairs(beside_flow(OF, {}, contact(words), SPAN, WHOLE)) == expected


HEARD = [
    pytest.param({Role.FLOW: (35, 90)}, (35, 70), id="first-heard-in-reach"),
    pytest.param({Role.FLOW: (40, 65)}, (40, 65), id="heard-last-in-reach"),
    pytest.param({Role.FLOW: (40, 60), Role.RESISTANCE: (0, 99)}, (40, 70), id="another-goes-on"),
    pytest.param({Role.RUNNING: (35, 90), Role.FLOW: (40, 60)}, (40, 70), id="the-meter-tells"),
    pytest.param({Role.RUNNING: (35, 90), Role.FLOW: (150, 160)}, (35, 70), id="not-a-later-one"),
    pytest.param({Role.RUNNING: (35, 90)}, (35, 70), id="the-contact-alone"),
    pytest.param({Role.FLOW: (-900, 900)}, (30, 70), id="heard-long-before-and-after"),
]


@pytest.mark.parametrize(("heard", "expected"), HEARD)
def test_it_never_reaches_beyond_the_record(heard: dict[Role, Pair], expected: Pair) -> None:
    record = {role: (ns(first), ns(last)) for role, (first, last) in heard.items()}
    assert pairs(beside_flow(OF, {}, contact("? 40 on 20 ? 40"), SPAN, record)) == [expected]


@pytest.mark.parametrize(
    ("flow", "resistance", "expected"),
    [
        pytest.param([(35, "gap"), (25, 60)], [(100, 2)], (35, 70), id="flow-begins-the-record"),
        pytest.param([(60, 60)], [(65, 2)], (0, 64), id="the-bond-ends-it"),
    ],
)
def test_left_out_the_record_is_that_of_the_signals(
    flow: Sequence[Stretch], resistance: Sequence[Stretch], expected: Pair
) -> None:
    signals = {Role.FLOW: held(*flow), Role.RESISTANCE: held(*resistance)}
    line = contact("? 40 on 20 ? 40" if flow[0][1] == "gap" else "on 60 ? 40")
    assert pairs(beside_flow(OF, signals, line, SPAN)) == [expected]


def test_flow_before_the_span_reaches_into_it() -> None:
    line = contact("on 20 ? 60 off 20")
    assert pairs(beside_flow(OF, {}, line, (ns(25), ns(90)), WHOLE)) == [(25, 30)]


def test_a_span_in_which_nothing_tells_of_flow_is_unknown_throughout() -> None:
    line = contact("on 20 ? 60 off 20")
    assert pairs(beside_flow(OF, {}, line, (ns(25), ns(80)), WHOLE)) == [(25, 80)]
