"""What is wrong with a site file, in words that say what would be right."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong: in which table, at which key, what, and what would be right."""

    table: str
    key: str
    wrong: str
    right: str


class SiteError(Exception):
    """A site file that cannot be used; ``problems`` holds everything that is wrong with it."""

    def __init__(self, source: str, problems: Sequence[Problem]) -> None:
        self.source = source
        self.problems = tuple(problems)
        super().__init__(f"{source}: {len(self.problems)} problems")
