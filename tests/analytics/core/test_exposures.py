"""Flow without a verified bond: where, and when it is more than is allowed."""

from __future__ import annotations

import numpy as np
import pytest

from analytics.core.bond import losses, not_low, verified
from analytics.core.exposures import (
    Flaw,
    exposures,
    longer_than,
    losses_in_flow,
    unbonded_starts,
    unverified_from,
)
from analytics.core.situation import situation
from analytics.core.spans import Spans, intersection
from analytics.core.transfers import FlowRuns, flow_runs
from tests.analytics.core.build import (
    GAP,
    OPEN,
    Pair,
    bond,
    contact,
    ns,
    pairs,
    spans,
    station,
    told,
)

Expected = list[tuple[float, float, float]]
"""From, to, and for how long it is known. [s]"""


def test_exposures_are_kept_apart() -> None:
    signals = told(
        resistance=[(5, OPEN), (10, 2.0), (5, GAP), (10, 2.0)],
        flow=[(2, 0.0), (28, 60.0)],
        bypass=[(25, 0.0), (5, 1.0)],
    )
    now = situation(station(*signals), signals, (0, ns(30)))
    found = exposures(now, now.flowing)
    # Low from 5 s and from 20 s on, verified a second later.
    assert pairs(found.not_bonded) == [(2, 6), (20, 21)]
    assert pairs(found.no_data) == [(15, 20)]
    assert pairs(found.bypassed) == [(25, 30)]


def test_flow_that_belongs_to_no_transfer_is_no_exposure() -> None:
    signals = told(resistance=[(9, OPEN)], flow=[(9, 60.0)])
    now = situation(station(*signals), signals, (0, ns(9)))
    found = exposures(now, np.zeros(now.edges.size - 1, bool))
    assert [len(part) for part in (found.not_bonded, found.no_data, found.bypassed)] == [0, 0, 0]


def parts(flow: str, state: str) -> tuple[FlowRuns, Spans, Spans, Spans, Spans]:
    """A transfer, and where the bond is verified, away in flow, lost and not low; hold 1 s."""
    (transfer,) = flow_runs(contact(flow), ns(600), 0)
    line = bond(state)
    held = verified(line, ns(1))
    known = line.where(0, 1, 2)
    edges = np.unique(np.concatenate((known.ravel(), held.ravel(), transfer.runs.ravel())))
    away = [
        (a, b)
        for a, b in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True)
        if not len(intersection(held, np.array([[a, b]])))
    ]
    unheld = np.array(away, np.int64).reshape(-1, 2)
    bad = intersection(intersection(known, unheld), transfer.runs)
    return transfer, held, bad, losses(line), not_low(line)


def told_of(flaws: list[Flaw]) -> Expected:
    return [(flaw.start / 1e9, flaw.end / 1e9, flaw.known / 1e9) for flaw in flaws]


@pytest.mark.parametrize(
    ("flow", "state", "expected"),
    [
        pytest.param("off 5 on 50", "low 55", [], id="bonded-throughout"),
        # low from 6 s on is verified from 7 s on: 2 s of flow without
        pytest.param("off 5 on 50", "open 6 low 49", [], id="exactly-the-allowance"),
        pytest.param("off 5 on 50", "open 6.5 low 49", [(5, 7.5, 2.5)], id="over-the-allowance"),
        pytest.param("off 5 on 50", "open 55", [(5, 55, 50)], id="never-bonded"),
        pytest.param("off 5 on 50", "? 55", [], id="unknown-counts-neither-way"),
        pytest.param(
            "off 5 on 50", "? 8 open 2 low 50", [(5, 11, 3)], id="unknown-first-is-skipped"
        ),
        pytest.param(
            "off 5 on 50", "low 4 ? 4 open 9 low 50", [], id="unknown-then-a-loss-is-no-such-start"
        ),
        pytest.param(
            "off 5 on 50", "low 5 open 9 low 50", [(5, 15, 10)], id="lost-at-the-very-first-moment"
        ),
        pytest.param(
            "on 20 off 5 on 20", "low 21 open 9 low 20", [(25, 31, 6)], id="run-after-a-pause"
        ),
        pytest.param("on 20 ? 5 on 20", "low 21 open 9 low 20", [], id="run-after-unknown-only"),
        pytest.param("off 5 on 50", "low 9 open 9 low 50", [], id="lost-later"),
        pytest.param(
            "off 5 on 50",
            "open 7 ? 5 open 1 low 50",
            [(5, 14, 4)],
            id="known-time-adds-up-over-unknown",
        ),
    ],
)
def test_unbonded_starts(flow: str, state: str, expected: Expected) -> None:
    transfer, held, bad, lost, _ = parts(flow, state)
    assert told_of(unbonded_starts(transfer, held, bad, lost, ns(2))) == expected


@pytest.mark.parametrize(
    ("flow", "state", "expected"),
    [
        pytest.param("off 5 on 50", "low 55", [], id="never-lost"),
        pytest.param("on 25 off 9", "low 20 open 14", [], id="flow-on-for-exactly-the-allowance"),
        pytest.param("on 25.5 off 9", "low 20 open 14", [(20, 25.5, 5.5)], id="over-the-allowance"),
        pytest.param("on 50", "low 20 high 5 low 25", [(20, 26, 6)], id="until-verified-again"),
        pytest.param("on 50", "low 20 high 4 low 26", [], id="hold-brings-it-to-the-allowance"),
        pytest.param("on 50", "low 20 ? 30", [], id="unknown-is-no-loss"),
        pytest.param("on 50", "low 20 ? 10 open 20", [(30, 50, 20)], id="found-lost-after-unknown"),
        pytest.param(
            "on 50",
            "low 20 open 3 ? 10 open 3 low 20",
            [(20, 37, 7)],
            id="known-time-adds-up-over-unknown",
        ),
        pytest.param("off 5 on 50", "open 30 low 25", [], id="begins-without-a-bond"),
        pytest.param(
            "off 5 on 50", "low 4 ? 4 open 9 low 50", [(8, 18, 10)], id="unknown-then-a-loss"
        ),
        pytest.param(
            "off 5 on 50", "low 5 open 9 low 50", [], id="lost-at-the-very-first-moment-is-a-start"
        ),
        pytest.param(
            "on 20 ? 5 on 20", "low 21 open 9 low 20", [(25, 31, 6)], id="run-after-unknown-goes-on"
        ),
        pytest.param("on 20 off 5 on 20", "low 21 open 9 low 20", [], id="lost-in-the-pause"),
        pytest.param(
            "on 90",
            "low 20 open 9 low 20 open 9 low 32",
            [(20, 30, 10), (49, 59, 10)],
            id="each-loss-for-itself",
        ),
        pytest.param(
            "on 50",
            "low 10 open 3 low 1 open 3 low 33",
            [(10, 18, 8)],
            id="a-low-too-short-for-its-hold-counts",
        ),
    ],
)
def test_losses_in_flow(flow: str, state: str, expected: Expected) -> None:
    transfer, held, bad, lost, away = parts(flow, state)
    assert told_of(losses_in_flow(transfer, held, bad, lost, away, ns(5))) == expected


@pytest.mark.parametrize(
    ("given", "expected"),
    [
        pytest.param([], [], id="none"),
        pytest.param([(0, 10)], [], id="exactly-the-allowance"),
        pytest.param([(0, 10.001)], [(0, 10.001)], id="a-moment-over"),
        pytest.param([(0, 9), (20, 31)], [(20, 31)], id="each-for-itself"),
    ],
)
def test_longer_than(given: list[Pair], expected: list[Pair]) -> None:
    assert pairs(longer_than(spans(*given), ns(10))) == expected


@pytest.mark.parametrize(
    ("given", "expected"),
    [
        pytest.param([], 50, id="never"),
        pytest.param([(0, 10)], 50, id="ended-as-it-begins"),
        pytest.param([(0, 11)], 10, id="at-once"),
        pytest.param([(20, 30)], 20, id="later"),
        pytest.param([(60, 70)], 50, id="only-after-the-end"),
    ],
)
def test_unverified_from_10_to_50(given: list[Pair], expected: float) -> None:
    assert unverified_from(ns(10), ns(50), spans(*given)) == ns(expected)
