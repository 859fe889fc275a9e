"""What people said of a finding stands beside it."""

from __future__ import annotations

import pytest

from analytics.reports import reviews
from bondtrail.results import Finding, Review
from tests.analytics.reports.quay import BOTH, FINDINGS

START, BYPASS = (row for row in FINDINGS if row.transfer == BOTH.id)


def said(finding: Finding, state: str, comment: str = "Seen.") -> Review:
    return Review(
        1, 0, "B. Warden", finding.id, finding.kind, finding.station, finding.start, finding.end,
        state, comment, "", "",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("held", "words", "state"),
    [
        pytest.param([], "not reviewed", "not reviewed", id="nobody-looked"),
        pytest.param(
            [said(START, "confirmed"), said(BYPASS, "confirmed")],
            "confirmed by B. Warden: Seen.",
            "confirmed",
            id="the-same-of-both",
        ),
        pytest.param(
            [said(START, "explained", "Wet clamp.")],
            "unbonded start: explained by B. Warden: Wet clamp.; bypassed flow: not reviewed",
            "explained; not reviewed",
            id="of-one-of-them",
        ),
    ],
)
def test_reviews_in_words(held: list[Review], words: str, state: str) -> None:
    by_finding = {review.finding: review for review in held}
    assert reviews.in_words([START, BYPASS], by_finding) == words
    assert reviews.state([START, BYPASS], by_finding) == state
