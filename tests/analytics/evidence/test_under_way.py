"""A package made while something is under way: it ends where the analysis ended."""

from __future__ import annotations

import pytest

from analytics.evidence import Grade, Outcome, build, verify_bytes
from analytics.evidence.documents import Moment
from analytics.evidence.faults import NotAnalysedError
from analytics.evidence.gathering import gathered
from analytics.runs import analyse
from bondtrail.results import Ticket
from store import Store
from tests.analytics.core.build import OPEN, held, ns
from tests.analytics.evidence import quay
from tests.analytics.evidence.forging import (
    all_anew,
    edited,
    everything,
    grades,
    moment_of,
    moved,
    said,
    setting,
)
from tests.analytics.workdays import HOUR, MINUTE, MONDAY, site

pytestmark = pytest.mark.usefixtures("not_drawn")

HOLDS = 2 * HOUR
LAST = ns(MONDAY + 9 * HOUR + 9 * MINUTE)
"""The last reading before the monitor falls silent, clamp on."""


def silent(store: Store, after_s: float, flows_s: float = 30 * MINUTE) -> str:
    """Clamp on, flow from 8:10, to 8:40; all readings hold for two hours, and end at 9:09."""
    store.put_site(site("spot", stale_s=HOLDS), 0)
    store.write(
        {
            "spot.resistance": held(
                (8 * HOUR, OPEN), (70 * MINUTE, 2.0), start=MONDAY, every_s=MINUTE
            ),
            "spot.flow": held(
                (8 * HOUR + 10 * MINUTE, 0), (flows_s, 60), (HOUR - flows_s, 0),
                start=MONDAY, every_s=MINUTE,
            ),
        }
    )  # fmt: skip
    analyse(store, now=LAST + ns(after_s))
    (transfer,) = store.transfers()
    return transfer.id


ANALYSED = [
    pytest.param(0.0, 1, id="with-the-last-reading"),
    pytest.param(30.0, ns(30), id="soon-after-it"),
    pytest.param(30 * MINUTE, ns(30 * MINUTE), id="long-after-it"),
    pytest.param(HOLDS, ns(HOLDS), id="when-it-holds-no-more"),
    pytest.param(9 * HOUR, ns(HOLDS), id="long-after-it-held"),
]


@pytest.mark.parametrize("margin_s", [0.0, 300.0, 3 * HOUR])
@pytest.mark.parametrize(("after_s", "ended"), ANALYSED)
def test_it_ends_where_the_analysis_ended(
    store: Store, after_s: float, ended: int, margin_s: float
) -> None:
    transfer = silent(store, after_s)
    found = gathered(store, transfer, margin_s)
    assert [each for each in found.differences if not each.beyond] == []
    assert found.window.end <= LAST + ended
    if margin_s > HOUR:
        assert found.shown[1] == found.window.end == LAST + ended
    checked = verify_bytes(build(store, transfer, margin_s=margin_s).content)
    assert checked.outcome is not Outcome.WRONG, everything(checked)


def test_what_is_shown_cannot_end_before_the_readings_do(store: Store) -> None:
    """Where the analysis ended is believed only from the last enclosed reading on."""
    files = quay.files_of(build(store, silent(store, 30.0), margin_s=3 * HOUR).content)
    assert moment_of(files, "shown_until") == LAST + ns(30)
    earlier = LAST - ns(60)
    forged = moved(files, shown_until=earlier, until=earlier, end=earlier)
    for point in range(2):
        heard = Moment.of(earlier).model_dump()
        forged = edited(forged, "about.json", setting("points", point, "heard_until", heard))
    checked = verify_bytes(quay.remade(all_anew(forged)))
    assert grades(checked)["rules"] is Grade.WRONG
    assert "what is shown ends too early" in said(checked, "rules")


@pytest.mark.parametrize("paper_s", [0.0, HOUR + 10 * MINUTE], ids=["in-it", "as-flow-still-holds"])
def test_papers_of_the_transfer_that_came_since_ask_for_an_analysis(
    store: Store, paper_s: float
) -> None:
    transfer = silent(store, 30 * MINUTE, flows_s=HOUR)
    assert gathered(store, transfer, 300.0).transfer.end == LAST + ns(30 * MINUTE)
    start = ns(MONDAY + 8 * HOUR + paper_s)
    store.put_tickets([Ticket("spot", start, start + ns(HOUR), "B-1", "toluene", "A. Reed")])
    with pytest.raises(NotAnalysedError):
        gathered(store, transfer, 300.0)


def test_papers_from_after_the_transfer_are_not_in_its_way(store: Store) -> None:
    transfer = silent(store, HOUR)
    start = LAST + ns(30 * MINUTE)
    store.put_tickets([Ticket("spot", start, start + ns(HOUR), "B-1", "toluene", "A. Reed")])
    found = gathered(store, transfer, 3.0 * HOUR)
    assert found.shown[1] == start
    assert [str(each) for each in found.differences if not each.beyond] == []
