"""What people said of findings."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from analytics.reports.source import Source
from bondtrail.results import Finding


@dataclass(frozen=True, slots=True)
class Told:
    """The latest review of a finding; without a state nobody has looked at it."""

    state: str = ""
    author: str = ""
    comment: str = ""

    def __str__(self) -> str:
        if not self.state:
            return "not reviewed"
        comment = f": {self.comment}" if self.comment else ""
        return f"{self.state} by {self.author}{comment}"


def reviews_of(source: Source, findings: Iterable[Finding]) -> Mapping[str, Told]:
    """Return the review of each finding by its id."""
    return {row.id: Told() for row in findings}
