"""What people said of findings, in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from analytics.reports import words
from bondtrail.results import Finding, Review

NONE = "not reviewed"


def in_words(findings: Sequence[Finding], reviews: Mapping[str, Review]) -> str:
    """Return the latest review of each finding; the kind stands before it where there are several.

    ``reviews`` are by the id of the finding.
    """
    told = [_told(reviews.get(row.id)) for row in findings]
    if len(set(told)) == 1:
        return told[0]
    kinds = (words.plain(row.kind) for row in findings)
    return "; ".join(
        dict.fromkeys(f"{kind}: {said}" for kind, said in zip(kinds, told, strict=True))
    )


def state(findings: Sequence[Finding], reviews: Mapping[str, Review]) -> str:
    """Return the state of each finding, one a word; what all have in common once."""
    states = [reviews[row.id].state if row.id in reviews else NONE for row in findings]
    return "; ".join(dict.fromkeys(states))


def _told(review: Review | None) -> str:
    return NONE if review is None else f"{review.state} by {review.author}: {review.comment}"
