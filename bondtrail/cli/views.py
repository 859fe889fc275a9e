"""What can be shown: how each thing is read from the store, and how it leaves."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Generic, TypeVar
from zoneinfo import ZoneInfo

from bondtrail.cli import output
from bondtrail.objects import Fields

if TYPE_CHECKING:
    from bondtrail.site import Site
    from store import Store

Row = TypeVar("Row")


@dataclass(frozen=True, slots=True)
class Query:
    """What was asked for: moments in ns, ``[start, end)``."""

    site: Site
    now: int
    station: str | None = None
    start: int | None = None
    end: int | None = None
    kinds: frozenset[str] = frozenset()
    options: Mapping[str, Any] = field(default_factory=dict)
    """What only some views take: by, per, area, shift, by_shift, interval, position, listed."""

    @property
    def zone(self) -> ZoneInfo:
        """The site's own clock."""
        return self.site.zone

    @property
    def span(self) -> dict[str, Any]:
        """The part that the store selects by."""
        return {"station": self.station, "start": self.start, "end": self.end}


@dataclass(frozen=True, slots=True)
class View(Generic[Row]):
    """One thing that can be shown: how it is read, and how it leaves."""

    read: Callable[[Store, Query], list[Row]]
    fields: Callable[[Query], Fields[Row]]
    columns: Callable[[Query], list[output.Column[Row]]]
    options: frozenset[str]
    kinds: tuple[str, ...] = ()
    flat: Callable[[Query], Fields[Row]] | None = None
    """As CSV has it, where that is not as JSON has it."""
    notes: tuple[str, ...] = (output.CAUTION,)
    remarks: Callable[[Query, Sequence[Any]], Sequence[str]] | None = None
    """What is said above the notes once the rows are there."""
    title: str | None = None
    judged: bool = True
    """Whether it comes from an analysis."""


SPAN = frozenset({"station", "start", "end"})
"""The options of whatever has a station and a time."""
