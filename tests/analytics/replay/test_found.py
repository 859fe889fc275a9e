"""Which product a span is of, by its tickets."""

from __future__ import annotations

import pytest

from analytics.replay.found import product_of
from bondtrail.results import Ticket
from tests.analytics.core.build import ns, station


def ticket(start: float, end: float, product: str, batch: str = "B-1") -> Ticket:
    return Ticket("spot", ns(start), ns(end), batch, product, "")


@pytest.mark.parametrize(
    ("tickets", "expected"),
    [
        pytest.param([], "water", id="the-station-s-own"),
        pytest.param([ticket(0, 500, "")], "water", id="a-ticket-that-names-none"),
        pytest.param([ticket(0, 500, "toluene")], "toluene", id="the-ticket-s"),
        pytest.param(
            [ticket(0, 130, "toluene"), ticket(130, 500, "acetone")],
            "acetone",
            id="that-overlaps-most",
        ),
        pytest.param(
            [ticket(0, 150, "toluene"), ticket(150, 500, "acetone")],
            "toluene",
            id="of-equals-the-earlier",
        ),
        pytest.param(
            [ticket(0, 500, "toluene", "B-2"), ticket(0, 500, "acetone", "B-1")],
            "acetone",
            id="then-by-batch",
        ),
    ],
)
def test_the_product_of_a_span(tickets: list[Ticket], expected: str) -> None:
    where = station().model_copy(update={"product": "water"})
    assert product_of(where, tickets, (ns(100), ns(200))) == expected
