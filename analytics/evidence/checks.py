"""What a check of a package says: one thing that was checked, and what all of them come to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum


class Grade(StrEnum):
    """What a check came to."""

    GOOD = "good"
    WRONG = "wrong"
    UNTOLD = "not told"
    """It cannot tell: not wrong, and no proof of anything."""


class Outcome(StrEnum):
    """What all checks of a package come to."""

    SOUND = "sound"
    """All of its content was checked, and nothing is wrong."""
    UNCHECKED = "unchecked"
    """Nothing wrong was found, but not all of it can be checked here."""
    WRONG = "wrong"


OF_ORIGIN = frozenset({"signature", "SHA-256"})
"""Checks that need something from outside: what a package says can be checked without it."""


@dataclass(frozen=True, slots=True)
class Check:
    """One thing that was checked, and what it came to, in sentences."""

    about: str
    grade: Grade
    said: Sequence[str]


@dataclass(frozen=True, slots=True)
class Verification:
    """What the check of a package came to.

    Attributes
    ----------
    sha256 : str
        Of the zip.
    manifest_sha256 : str
        Of its MANIFEST.
    transfer : str or None
        What it is about, as far as that can be read.
    checks : sequence of Check
        In the order in which they rest on each other.
    """

    sha256: str
    manifest_sha256: str
    transfer: str | None
    checks: Sequence[Check]

    @property
    def outcome(self) -> Outcome:
        """What the checks come to."""
        if any(check.grade is Grade.WRONG for check in self.checks):
            return Outcome.WRONG
        content = [check for check in self.checks if check.about not in OF_ORIGIN]
        if any(check.grade is Grade.UNTOLD for check in content):
            return Outcome.UNCHECKED
        return Outcome.SOUND

    @property
    def sound(self) -> bool:
        """Whether all of its content was checked, and nothing is wrong."""
        return self.outcome is Outcome.SOUND


def graded(about: str, wrong: Sequence[str], good: str) -> Check:
    """Return a check that is wrong for these reasons, or good if there are none."""
    return Check(about, Grade.WRONG if wrong else Grade.GOOD, wrong or [good])
