"""Stations and areas in the order of the cautious end of their intervals."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from operator import attrgetter
from typing import Any

from analytics.core import ranking
from analytics.core.merits import Figure
from analytics.core.shares import TOO_FEW
from analytics.kpis import KpiRow
from analytics.reports.tables import Column, Place, Sort


@dataclass(frozen=True, slots=True)
class Ranked:
    """The figures of a group, and its place among others: None where there is too little."""

    row: KpiRow
    place: int | None
    note: str

    @property
    def words(self) -> str:
        """The place, or that there is too little to rank."""
        return self.note if self.place is None else str(self.place)


def ranked(rows: Iterable[KpiRow], merit: str, *, more_is_better: bool = False) -> list[Ranked]:
    """Return rows by a figure of `analytics.core.merits.FiguresOfMerit`, the worst first.

    Which is worst the cautious end of the interval says.
    One without anything to derive the figure from comes last and says nothing.
    """
    by_name = {row.group: row for row in rows}
    figures: dict[str, Figure] = {name: getattr(row.merits, merit) for name, row in by_name.items()}
    order = ranking.worst_first(figures, more_is_better=more_is_better)
    return [
        Ranked(by_name[each.name], each.place, _note(each.place, each.figure)) for each in order
    ]


def _note(place: int | None, figure: Figure) -> str:
    return TOO_FEW if place is None and figure.of else ""


RANK: Sequence[Column[Any]] = (
    Column("rank", "Rank", attrgetter("place"), Sort.COUNT, place=Place.DATA),
    Column("rank_note", "Note on the rank", attrgetter("note"), place=Place.DATA),
    Column("rank_in_words", "Rank", attrgetter("words"), place=Place.PAGE, right=True),
)
"""For rows that have ``place``, ``note`` and ``words``."""
