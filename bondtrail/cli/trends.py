"""``bondtrail show trends``: whether trips come faster or slower, and how sure that is."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from operator import attrgetter
from typing import TYPE_CHECKING, Any

from bondtrail.cli import figures, output
from bondtrail.cli.output import Column
from bondtrail.cli.views import SPAN, Query, View
from bondtrail.objects import Fields, iso
from bondtrail.results import TripCause, TripClass
from bondtrail.times import local_day

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from analytics.core.power_law import PowerLaw
    from analytics.core.trends import EventTrend
    from analytics.trends import TripTrend
    from store import Store

WHOLE = "(all stations)"
"""What the row of all stations is called where people read."""


def read(store: Store, query: Query) -> list[TripTrend]:
    """Return the trend of trips of all stations together and of each."""
    from analytics.trends import CONFIDENCE, trip_trends

    per_cent = query.options.get("confidence")
    return trip_trends(
        store,
        query.site,
        query.start,
        query.end,
        kinds=query.kinds,
        station=query.station,
        confidence=CONFIDENCE if per_cent is None else per_cent / 100,
        ends_with_trip=bool(query.options.get("ends_with_trip")),
    )


def _laplace(trend: EventTrend) -> dict[str, object] | None:
    found = trend.laplace
    return None if found is None else {"u": found.value, "p_value": found.p_value}


def _chi_squared(trend: EventTrend) -> dict[str, object] | None:
    found = trend.chi_squared
    if found is None:
        return None
    return {
        "chi_squared": found.value,
        "degrees_of_freedom": found.freedom,
        "below": found.below,
        "p_value": found.p_value,
    }


def _reversals(trend: EventTrend) -> dict[str, object] | None:
    found = trend.reversals
    return None if found is None else {"count": found.count, "of": found.of, "z": found.z}


def _power_law(law: PowerLaw | None) -> dict[str, object] | None:
    if law is None:
        return None
    estimates = {"maximum_likelihood": law.likelihood, "modified": law.modified}
    return {
        "beta_low": law.beta_low,
        "beta_high": law.beta_high,
        **{
            name: None
            if found is None
            else {
                "beta": found.beta,
                "lambda_per_h": found.scale,
                "intensity_per_h": found.intensity,
                "mtbf_h": found.mtbf,
                "mtbf_low_h": found.mtbf_low,
                "mtbf_high_h": found.mtbf_high,
            }
            for name, found in estimates.items()
        },
        "cramer_von_mises": law.cramer_von_mises,
    }


def _mcf(row: TripTrend) -> list[dict[str, object]] | None:
    found = row.mean_cumulative()
    if found is None:
        return None
    columns = (found.times, found.watched, found.mean, found.low, found.high)
    names = ("h", "stations", "mean", "low", "high")
    told = zip(*(column.tolist() for column in columns), strict=True)
    return [dict(zip(names, values, strict=True)) for values in told]


FIELDS: Fields[TripTrend] = {
    "station": attrgetter("station"),
    "stations": attrgetter("trend.systems"),
    "from": lambda row: iso(row.start),
    "to": lambda row: iso(row.end),
    "known": attrgetter("trend.known"),
    "trips": attrgetter("trend.count"),
    "verdict": lambda row: str(row.trend.verdict),
    "words": attrgetter("trend.words"),
    "confidence": attrgetter("confidence"),
    "mtbf_h": lambda row: {
        "value": row.mtbf.value,
        "low": row.mtbf.low,
        "high": row.mtbf.high,
        "count": row.mtbf.count,
        "of": row.mtbf.total,
    },
    "laplace": lambda row: _laplace(row.trend),
    "mil_hdbk_189": lambda row: _chi_squared(row.trend),
    "reverse_arrangements": lambda row: _reversals(row.trend),
    "power_law": lambda row: _power_law(row.trend.power_law),
    "mcf": _mcf,
}
"""The keys of a trend; ``station`` is null for all stations together, which alone have ``mcf``."""


def flat_fields() -> Fields[TripTrend]:
    """Return the columns of a trend in CSV: the parts of its objects under joined names."""
    found: dict[str, Callable[[TripTrend], object]] = {}
    for name, read in FIELDS.items():
        if name == "mcf":
            continue
        parts = _PARTS.get(name)
        if parts is None:
            found[name] = read
        else:
            found |= {f"{name}.{part}": figures.part(read, part) for part in parts}
    return found


_ESTIMATE = ("beta", "lambda_per_h", "intensity_per_h", "mtbf_h", "mtbf_low_h", "mtbf_high_h")
_PARTS = {
    "mtbf_h": figures.PARTS,
    "laplace": ("u", "p_value"),
    "mil_hdbk_189": ("chi_squared", "degrees_of_freedom", "below", "p_value"),
    "reverse_arrangements": ("count", "of", "z"),
    "power_law": (
        "beta_low",
        "beta_high",
        *(f"{name}.{part}" for name in ("maximum_likelihood", "modified") for part in _ESTIMATE),
        "cramer_von_mises",
    ),
}


def columns(query: Query) -> list[Column[TripTrend]]:
    """Return the columns of a table for people."""
    zone = query.zone
    return [
        Column("Station, time\non record", lambda row: _watched(row, zone), wraps=True),
        Column("Trips", lambda row: f"{row.trend.count:,}", right=True),
        Column("Trend", lambda row: _trend_words(row.trend), wraps=True),
        Column("Mean time\nbetween trips", _mtbf, right=True),
        Column("Power law: beta", _beta, right=True),
        Column("Latest mean\ntime between", _latest, right=True),
    ]


def _watched(row: TripTrend, zone: ZoneInfo) -> str:
    name = WHOLE if row.station is None else row.station
    days = f"{local_day(row.start, zone)} to\n{local_day(row.end - 1, zone)}"
    return f"{name}\n{days}\n{figures.percent(row.trend.known)} % known"


def _is_few(trend: EventTrend) -> bool:
    from analytics.core.trends import Verdict

    return trend.verdict is Verdict.FEW


def _trend_words(trend: EventTrend) -> str:
    lines = [trend.words]
    if trend.chi_squared is not None and not _is_few(trend):
        lines.append(f"MIL-HDBK-189: p {_chance(trend.chi_squared.p_value)}")
    return "\n".join(lines)


def _chance(p_value: float) -> str:
    return "< 0.001" if p_value < 0.001 else f"= {p_value:.3f}"


def _mtbf(row: TripTrend) -> str:
    found = row.mtbf
    if found.value is None:
        return "-" if found.low is None else f"over {_length(found.low)}"
    return _length(found.value, found.low, found.high)


def _length(hours: float, *ends: float | None) -> str:
    """Return a time between trips and its interval in h, or in days where it is 100 h or more."""
    size, unit = (1, "h") if hours < 100 else (24, "d")
    value = f"{figures.rate(hours / size)} {unit}"
    if not ends:
        return value
    told = ("?" if end is None else figures.rate(end / size) for end in ends)
    return f"{value}\n({'-'.join(told)})"


def _beta(row: TripTrend) -> str:
    law = row.trend.power_law
    if law is None or _is_few(row.trend):
        return "-"
    modified = "" if law.modified is None else f"\nmodified {law.modified.beta:.3g}"
    return f"{law.likelihood.beta:.3g}\n({law.beta_low:.3g}-{law.beta_high:.3g}){modified}"


def _latest(row: TripTrend) -> str:
    law = row.trend.power_law
    if law is None or _is_few(row.trend):
        return "-"
    found = law.likelihood
    ends = () if found.mtbf_low is None else (found.mtbf_low, found.mtbf_high)
    return _length(found.mtbf, *ends)


def remarks(query: Query, found: Sequence[TripTrend]) -> list[str]:
    """Return what is said below the table: by which tests, with which intervals."""
    from analytics.core.trends import BY_CHANCE

    share = f"{100 * found[0].confidence:g} %"
    ends = "trip, which ends it" if query.options.get("ends_with_trip") else "reading"
    told = [
        "The two-sided Laplace test decides, at 5 %: above 0, trips come faster. MIL-HDBK-189's "
        "chi-squared test stands beside it. Power law (Crow-AMSAA) by maximum likelihood, and its "
        "beta with the bias taken out (modified): above 1, trips come faster.",
        f"Each station is watched from its first reading to its last {ends}. Known: share of that "
        "time, by whole days, in which it is known whether product flowed; below 90 % no trend is "
        "told.",
        f"Intervals are {share} ones; over X: no trip, one-sided {share}.",
        BY_CHANCE,
        "--format json has the mean cumulative function of all stations (mcf).",
    ]
    return [output.wrapped(line) for line in told]


VIEW: View[Any] = View(
    read,
    lambda _: FIELDS,
    columns,
    SPAN | {"kinds", "confidence", "ends_with_trip"},
    (*TripClass, *TripCause),
    flat=lambda _: flat_fields(),
    remarks=remarks,
    title="Trips over time",
)
