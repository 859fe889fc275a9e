"""Which stretch of time is replayed."""

from __future__ import annotations

import dataclasses

import pytest

from analytics.replay.spans import replayed_span, shown_span
from bondtrail.results import Hookup, Outcome, Transfer
from tests.analytics.core.build import Pair, ns
from tests.analytics.made import a_transfer

START = 10_000


def transfer(seconds: float, lead: float | None = 5.0, start: float = START) -> Transfer:
    made = a_transfer("spot", ns(start))
    return dataclasses.replace(made, end=ns(start + seconds), bond_lead_s=lead)


@pytest.mark.parametrize(
    ("seconds", "lead", "before", "after"),
    [
        pytest.param(60, 5.0, 20, 20, id="short: at least 20 s"),
        pytest.param(1000, 5.0, 100, 100, id="a tenth"),
        pytest.param(50_000, 5.0, 300, 300, id="long: 5 minutes"),
        pytest.param(60, 90.0, 100, 20, id="back to before the bond was verified"),
        pytest.param(60, 9000.0, 600, 20, id="but not hours"),
        pytest.param(60, None, 20, 20, id="never verified"),
        pytest.param(60, -4.0, 20, 20, id="verified late"),
    ],
)
def test_the_margins(seconds: float, lead: float | None, before: float, after: float) -> None:
    start, end = shown_span(transfer(seconds, lead))
    assert ((ns(START) - start) / ns(1), (end - ns(START + seconds)) / ns(1)) == (before, after)


@pytest.mark.parametrize(
    ("hookups", "others", "before", "after"),
    [
        pytest.param([], [], 20, 20, id="alone"),
        pytest.param([(-200, 150)], [], 210, 60, id="from-clamp-on-to-clamp-off"),
        pytest.param([(-2000, 150)], [], 20, 60, id="on-for-more-than-half-an-hour"),
        pytest.param([(-200, 2000)], [], 210, 20, id="on-for-more-than-half-an-hour-after"),
        pytest.param([(-1800, 1900)], [], 1810, 1810, id="just-half-an-hour"),
        pytest.param([(-200, 50), (55, 150)], [], 210, 60, id="two-clamps"),
        pytest.param([(-200, 0), (100, 900)], [], 20, 20, id="not-under-a-clamp"),
        pytest.param([(-200, 400)], [(-90, -80), (120, 130)], 80, 20, id="no-other-transfer"),
    ],
)
def test_a_transfer_is_replayed_from_clamp_on_to_clamp_off(
    hookups: list[Pair], others: list[Pair], before: float, after: float
) -> None:
    clamps = [
        Hookup("spot", ns(START + a), ns(START + b), Outcome.VERIFIED, 1.0, 2.0, 2.0, None)
        for a, b in hookups
    ]
    beside = [transfer(b - a, start=START + a) for a, b in others]
    start, end = replayed_span(transfer(100), clamps, beside)
    assert ((ns(START) - start) / ns(1), (end - ns(START + 100)) / ns(1)) == (before, after)
