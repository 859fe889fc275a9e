"""Which is worst, by the cautious end of the interval: never by a raw rate of one in one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from operator import itemgetter

from analytics.core.merits import Figure
from analytics.core.shares import TOO_FEW


@dataclass(frozen=True, slots=True)
class Ranked:
    """A figure and its place among others, 1 being the worst; None where there is too little."""

    name: str
    figure: Figure
    place: int | None

    @property
    def words(self) -> str:
        """The place, or that there is too little to rank."""
        return TOO_FEW if self.place is None else f"{self.place}"


def worst_first(figures: Mapping[str, Figure], *, more_is_better: bool = False) -> list[Ranked]:
    """Return the figures worst first, and last those with too little to rank.

    They go by the cautious end of the 95 % interval, on the good side of the value.

    Parameters
    ----------
    figures : mapping of str to Share, Rate or TimeShare
        All of one sort, by name.
    more_is_better : bool
        Whether a high figure is good, as a compliance, rather than bad, as a rate of trips.

    Returns
    -------
    list of Ranked
        Figures with the same cautious end share a place, the worse value first; what else is
        equal stays in the order given.

    Notes
    -----
    The cautious end of the 95 % interval is the lower one of a bad rate, and the upper one of a
    compliance. So 20 of 100 goes before 2 of 5.
    """
    known = {name: _badness(figure, more_is_better) for name, figure in figures.items()}
    told = [(worse, name) for name, worse in known.items() if worse is not None]
    told.sort(key=itemgetter(0), reverse=True)
    places: dict[float, int] = {}
    for place, ((end, _), _) in enumerate(told, 1):
        places.setdefault(end, place)
    few = [Ranked(name, figures[name], None) for name, worse in known.items() if worse is None]
    return [Ranked(name, figures[name], places[end]) for (end, _), name in told] + few


def _badness(figure: Figure, more_is_better: bool) -> tuple[float, float] | None:
    """Return how bad a figure is by its cautious end and by its value, or None if not known."""
    if figure.is_few or figure.value is None:
        return None
    end = figure.high if more_is_better else figure.low
    cautious = figure.value if end is None else end  # time is no sample: it is as it is
    return (-cautious, -figure.value) if more_is_better else (cautious, figure.value)
