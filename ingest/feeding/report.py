"""What a feed came to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from bondtrail.results import Reject
from ingest.errors import Unreadable

SHOWN = 20
"""Rejects that are kept to be shown; more are counted."""


@dataclass(slots=True)
class FeedReport:
    """The counts of a feed.

    Once it has come to its end, ``read = published + left_out + rejected``, and what was refused.

    Attributes
    ----------
    read : int
        Readings seen in the files; a row that cannot be taken as a whole counts as one.
    published, messages : int
        Readings, and messages that carried them, that the broker has acknowledged.
    left_out : int
        Readings of other stations or times than were asked for.
    rejected : int
        Readings that could not be taken.
    refused : int
        Messages that the broker acknowledged with a refusal: its rules forbid the topic.
    unheard : int
        Messages that had no subscriber, where the broker says so (MQTT 5).
    rejects : list of Reject
        The first of what was rejected.
    notes : list of str
        What to say of files that hold no readings.
    errors : list of Unreadable
        Files that could not be read.
    is_stopped : bool
        It was interrupted before it had come to the end.
    """

    read: int = 0
    published: int = 0
    messages: int = 0
    left_out: int = 0
    rejected: int = 0
    refused: int = 0
    unheard: int = 0
    rejects: list[Reject] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    errors: list[Unreadable] = field(default_factory=list)
    is_stopped: bool = False

    @property
    def is_clean(self) -> bool:
        """Whether every reading was taken, and every message of them."""
        return not (self.rejected or self.refused or self.errors)

    def keep(self, rejects: Sequence[Reject]) -> None:
        """Keep rejects to show, as far as there is room."""
        self.rejects += rejects[: max(0, SHOWN - len(self.rejects))]
