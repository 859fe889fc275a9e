"""Whether trips come faster or slower over the period, in words, with what stands behind them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from operator import attrgetter

from analytics.core.rates import Rate
from analytics.core.trends import Verdict
from analytics.reports import words
from analytics.reports.source import Source
from analytics.reports.tables import Column, Place, Sort, Table, figure, frame
from analytics.trends import TripTrend, trip_trends
from bondtrail.results import Severity, TripClass

ALL = "all together"
KINDS = {"all trips": (), "nuisance trips": (TripClass.NUISANCE,)}


@dataclass(frozen=True, slots=True)
class _Beta:
    value: float | None = None
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True)
class _Trend:
    kind: str
    found: TripTrend

    @property
    def hours(self) -> Rate:
        """Mean time between trips, as if they came at a steady rate. [h]"""
        it = self.found.mtbf
        return Rate(it.value, it.low, it.high, it.count, it.total)


_COLUMNS: Sequence[Column[_Trend]] = (
    Column("trips", "Trips", attrgetter("kind")),
    Column("station", "Station", lambda row: row.found.station or ALL),
    Column(
        "verdict",
        "Trend",
        lambda row: str(row.found.trend.verdict),
        marks={Verdict.WORSE: Severity.MINOR},
    ),
    *figure(
        "mean_time_between",
        "Mean time between",
        attrgetter("hours"),
        Sort.NUMBER,
        "h",
        of=Sort.NUMBER,
    ),
    Column("words", "In words", attrgetter("found.trend.words"), place=Place.DATA),
    Column("test", "Laplace test", lambda row: _test(row), place=Place.PAGE, right=True),
    Column(
        "beta_in_words", "Power law beta", lambda row: _betas(row), place=Place.PAGE, right=True
    ),
    Column("beta", "Power law beta", lambda row: _beta(row).value, Sort.NUMBER, place=Place.DATA),
    Column("beta_low", "Beta, low", lambda row: _beta(row).low, Sort.NUMBER, place=Place.DATA),
    Column("beta_high", "Beta, high", lambda row: _beta(row).high, Sort.NUMBER, place=Place.DATA),
)


def _test(row: _Trend) -> str:
    return row.found.trend.words.partition("(")[2].removesuffix(")").removeprefix("Laplace test, ")


def _beta(row: _Trend) -> _Beta:
    law = row.found.trend.power_law
    return _Beta(law.likelihood.beta, law.beta_low, law.beta_high) if law else _Beta()


def _betas(row: _Trend) -> str:
    found = _beta(row)
    if found.value is None or row.found.trend.verdict is Verdict.FEW:
        return words.NOTHING
    return f"{words.number(found.value)} ({words.interval(Sort.NUMBER, found.low, found.high)})"


def table(source: Source) -> Table:
    """Return the trend of trips of all stations together, and of each that had any."""
    return Table(
        "trip_trends",
        "Trend of trips over the period",
        _COLUMNS,
        frame(_COLUMNS, _rows(source), source.site.zone),
        note=(
            "The Laplace test decides, two-sided at 5 %; below five trips there are too few to "
            "tell. Beside it the power law (Crow-AMSAA, maximum likelihood) with its 95 % "
            "interval: beta above 1 is faster and faster. Mean time between: by the calendar, as "
            "if at a steady rate, with the exact 95 % interval. Of many stations about one in 20 "
            "shows a trend by chance."
        ),
        empty="No trip in this period.",
    )


def _rows(source: Source) -> list[_Trend]:
    if source.recorded is None:
        return []
    return [
        _Trend(kind, found)
        for kind, classes in KINDS.items()
        for found in trip_trends(source.store, source.site, *source.recorded, kinds=classes)
        if found.trend.count and _is_told(source, found.station)
    ]


def _is_told(source: Source, station: str | None) -> bool:
    """Return whether a row is about stations of the report, all of them together where it is."""
    return source.stations is None if station is None else source.is_wanted(station)
