"""Transfers: which flow belongs together, and what comes with it."""

from __future__ import annotations

import pytest

from analytics.core.transfers import FlowRuns, bond_lead, ever_in, flow_runs, ticket_of
from bondtrail.results import Ticket
from tests.analytics.core.build import Pair, contact, ns, pairs, spans


def found(words: str, resume_s: float = 60, least_s: float = 10) -> list[FlowRuns]:
    return flow_runs(contact(words), ns(resume_s), ns(least_s))


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        pytest.param("off 9", [], id="no-flow"),
        pytest.param("? 9", [], id="nothing-known"),
        pytest.param("off 5 on 9.999 off 5", [], id="a-moment-too-short"),
        pytest.param("off 5 on 10 off 5", [[(5, 15)]], id="exactly-long-enough"),
        pytest.param("on 20 off 60 on 20", [[(0, 20), (80, 100)]], id="pause-exactly-short-enough"),
        pytest.param("on 20 off 60.001 on 20", [[(0, 20)], [(80.001, 100.001)]], id="too-long"),
        pytest.param("on 6 off 20 on 4 off 9", [[(0, 6), (26, 30)]], id="flowing-time-adds-up"),
        pytest.param("on 9 off 99 on 9 off 9", [], id="but-not-over-two-transfers"),
        pytest.param("on 20 ? 60 on 20", [[(0, 20), (80, 100)]], id="unknown-flow-that-comes-back"),
        pytest.param(
            "on 20 ? 40 off 30 on 20", [[(0, 20)], [(90, 110)]], id="gap-counts-as-a-whole"
        ),
    ],
)
def test_flow_runs(words: str, expected: list[list[Pair]]) -> None:
    transfers = found(words)
    assert [pairs(transfer.runs) for transfer in transfers] == expected
    assert [(t.start, t.end) for t in transfers] == [
        (ns(runs[0][0]), ns(runs[-1][1])) for runs in expected
    ]


@pytest.mark.parametrize(
    ("words", "opens", "stops"),
    [
        pytest.param("on 20 off 5", [True], [True], id="one-run"),
        pytest.param("on 20", [True], [False], id="still-flowing"),
        pytest.param("on 20 ? 5 off 5", [True], [False], id="goes-unknown-first"),
        pytest.param("on 20 off 5 on 20 ? 5", [True, True], [True, False], id="after-a-pause"),
        pytest.param(
            "on 20 ? 5 on 20 off 5", [True, False], [False, True], id="after-unknown-only"
        ),
        pytest.param("on 20 ? 5 off 1 ? 5 on 20", [True, True], [False, False], id="partly-off"),
        pytest.param("? 5 on 20 off 5", [True], [True], id="first-after-unknown"),
    ],
)
def test_which_runs_open_a_flow_and_which_are_known_to_stop(
    words: str, opens: list[bool], stops: list[bool]
) -> None:
    (transfer,) = found(words)
    assert transfer.opens.tolist() == opens
    assert transfer.stops.tolist() == stops


def test_a_run_after_a_long_unknown_gap_opens_its_own_transfer() -> None:
    assert [transfer.opens.tolist() for transfer in found("on 20 ? 99 on 20")] == [[True], [True]]


def test_resuming_within_nothing_keeps_runs_apart() -> None:
    assert len(found("on 20 off 1 on 20", resume_s=0)) == 2


(TRANSFER,) = found("off 100 on 50 off 10 on 40 off 5")
"""Flows from 100 to 150 s and from 160 to 200 s."""


@pytest.mark.parametrize(
    ("verified", "expected"),
    [
        pytest.param([], None, id="never-verified"),
        pytest.param([(60, 300)], 40, id="long-before"),
        pytest.param([(100, 300)], 0, id="exactly-as-flow-begins"),
        pytest.param([(130, 300)], -30, id="only-later"),
        pytest.param([(200, 300)], None, id="only-after-it"),
        pytest.param([(20, 100), (130, 150)], -30, id="ended-as-flow-begins"),
        pytest.param([(20, 40), (70, 110), (120, 300)], 30, id="the-one-in-force"),
    ],
)
def test_bond_lead(verified: list[Pair], expected: float | None) -> None:
    lead = bond_lead(TRANSFER, spans(*verified))
    assert lead == (None if expected is None else ns(expected))


def ticket(start: float, end: float, batch: str) -> Ticket:
    return Ticket("spot", ns(start), ns(end), batch, "", "")


@pytest.mark.parametrize(
    ("tickets", "expected"),
    [
        pytest.param([], None, id="none"),
        pytest.param([(0, 100, "A")], None, id="ends-as-the-transfer-begins"),
        pytest.param([(200, 300, "A")], None, id="begins-as-it-ends"),
        pytest.param([(0, 101, "A")], "A", id="overlaps-a-little"),
        pytest.param([(0, 140, "A"), (140, 300, "B")], "B", id="the-longest-overlap"),
        pytest.param([(0, 150, "B"), (150, 300, "A")], "B", id="of-equals-the-earlier"),
        pytest.param([(0, 300, "B"), (0, 400, "A")], "A", id="then-by-batch"),
    ],
)
def test_ticket_of(tickets: list[tuple[float, float, str]], expected: str | None) -> None:
    chosen = ticket_of(TRANSFER, [ticket(*each) for each in tickets])
    assert (chosen and chosen.batch) == expected


@pytest.mark.parametrize(
    ("given", "expected"),
    [
        pytest.param([], False, id="none"),
        pytest.param([(0, 300)], True, id="throughout"),
        pytest.param([(150, 160)], False, id="only-in-the-pause"),
        pytest.param([(90, 100), (200, 300)], False, id="up-to-it-and-from-it-on"),
        pytest.param([(155, 161)], True, id="a-part"),
    ],
)
def test_ever_in(given: list[Pair], expected: bool) -> None:
    assert ever_in(spans(*given), TRANSFER) is expected
