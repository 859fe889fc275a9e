"""Compliance of groups, failing transfers and nuisance trips as rows of a grid."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any
from zoneinfo import ZoneInfo

from analytics.core.shares import Share
from analytics.core.worst import Worst
from bondtrail.results import TripCause
from bondtrail.site import Site, Station
from bondtrail.times import local
from dashboard import grids
from dashboard.figures.wording import duration, share, words
from dashboard.parts import rate_text
from dashboard.period import Period
from dashboard.queries.compliance import ComplianceView, Failed, Group, Nuisance, Place
from dashboard.recorded import NOT_RECORDED, bypassed
from dashboard.rows import NOT_REVIEWED
from dashboard.urls import compliance_url, station_url, transfer_url

OUTSIDE = "outside the shifts"
"""The time outside any shift, for people."""

WORST_WORDS = {
    Worst.BAD_BOND: "◆ Bad bond",
    Worst.BYPASSED: "▲ Bypassed",
    Worst.UNVERIFIABLE: "? Not verifiable",
}
"""Sign and words of what is behind a transfer that is not compliant."""

_SHARE_COLUMNS = [
    grids.number("compliant", "Compliant", 104, **grids.shown_as("compliant_text")),
    grids.number("share", "Share", 82, **grids.shown_as("share_text")),
    grids.text("interval", "95 % interval", 128),
]

SHIFT_COLUMNS = [grids.link("name", "Shift", 150), *_SHARE_COLUMNS]


def place_columns(group: str) -> list[grids.Column]:
    """Return the columns of a table of stations or areas, named by what a row is about."""
    return [
        grids.link("name", group, 174, pinned="left"),
        *_SHARE_COLUMNS,
        grids.text("rank", "Rank", 118),
        grids.number("not_bonded_s", "Flow not bonded", 104, **grids.shown_as("not_bonded")),
        grids.number("no_data_s", "Flow, bond unknown", 104, **grids.shown_as("no_data")),
        grids.number("bypassed_s", "Flow bypassed", 104, **grids.shown_as("bypassed")),
        grids.number("flow_s", "Flow time", 104, **grids.shown_as("flow")),
        grids.number("unknown_s", "Bond state unknown", 104, **grids.shown_as("unknown")),
        grids.number("no_record_s", "No record at all", 104, **grids.shown_as("no_record")),
    ]


def group_row(place: Place, view: ComplianceView) -> grids.Row:
    """Return a row of `place_columns`: a station leads to its page, an area to this one."""
    group = place.group
    return {
        "name": group.station.name if group.station else group.name,
        "href": _href(group, view),
        **share_cells(group.compliance),
        "rank": place.rank,
        **{f"{name}_s": getattr(group, f"{name}_s") for name in _TIMES},
        **{name: duration(round(getattr(group, f"{name}_s"), 1)) for name in _TIMES},
        **(_unseen(group, group.station) if group.station else {}),
    }


_TIMES = ("not_bonded", "no_data", "bypassed", "flow", "unknown", "no_record")


def _unseen(group: Group, station: Station) -> dict[str, Any]:
    """Return the cells that a station's points cannot fill, so that none looks good."""
    cells = {"bypassed": bypassed(group.bypassed_s, station)}
    if not station.tells_flow and not group.compliance.of:
        told = ("compliant_text", "rank", "not_bonded", "no_data", "flow")
        cells |= dict.fromkeys(told, NOT_RECORDED)
    return cells


def _href(group: Group, view: ComplianceView) -> str | None:
    if group.station is not None:
        return station_url(group.station.id, view.period)
    if group.name in view.area_names:
        return compliance_url(view.period, group.name, view.scope.shift)
    return None


def shift_row(group: Group, view: ComplianceView) -> grids.Row:
    """Return a row of `SHIFT_COLUMNS`."""
    return {
        "name": group.name or OUTSIDE,
        "href": compliance_url(view.period, view.scope.area, group.name),
        **share_cells(group.compliance),
    }


def share_cells(part: Share) -> dict[str, Any]:
    """Return the cells of a share: its count, its value and its interval."""
    if part.value is None:
        return {"compliant": None, "compliant_text": "no transfers", "share": None,
                "share_text": "-", "interval": "-"}  # fmt: skip
    low, high = share(part.low).removesuffix(" %"), share(part.high)
    return {
        "compliant": part.count,
        "compliant_text": f"{part.count:,} of {part.of:,}",
        "share": part.value,
        "share_text": share(part.value),
        "interval": f"{low} to {high}",
    }


FAILED_COLUMNS = [
    grids.link("time", "Begins", 160),
    grids.text("station", "Station", 130),
    grids.text(
        "worst",
        "What it is",
        132,
        cellClassRules={
            "cell-critical": f"params.data.worst == '{WORST_WORDS[Worst.BAD_BOND]}'",
            "cell-major": f"params.data.worst != '{WORST_WORDS[Worst.BAD_BOND]}'",
        },
    ),
    grids.text("cause", "Cause", 420, flex=1, minWidth=300, **grids.WRAPPED),
    grids.number("not_bonded_s", "Not bonded", 100, **grids.shown_as("not_bonded")),
    grids.number("no_data_s", "Bond unknown", 100, **grids.shown_as("no_data")),
    grids.number("bypassed_s", "Bypassed", 110, **grids.shown_as("bypassed")),
    grids.text("review", "Review", 118),
    grids.text("batch", "Batch", 100),
    grids.text("product", "Product", 110),
    grids.text("operator", "Operator", 110),
]


def failed_rows(failed: Sequence[Failed], site: Site) -> list[grids.Row]:
    """Return rows of `FAILED_COLUMNS`; times on the site's clock."""
    known = {station.id: station for station in site.stations}
    return [_failed_row(each, known, site.zone) for each in failed]


def _failed_row(failed: Failed, known: Mapping[str, Station], zone: ZoneInfo) -> grids.Row:
    row = failed.transfer
    station = known.get(row.station)
    return {
        "time": f"{local(row.start, zone):%Y-%m-%d %H:%M:%S}",
        "href": transfer_url(row.id),
        "station": station.name if station else row.station,
        "worst": WORST_WORDS[failed.worst],
        "cause": " ".join(finding.summary for finding in failed.findings),
        "not_bonded_s": row.not_bonded_s,
        "not_bonded": duration(row.not_bonded_s),
        "no_data_s": row.no_data_s,
        "no_data": duration(row.no_data_s),
        "bypassed_s": row.bypassed_s,
        "bypassed": (bypassed(row.bypassed_s, station) if station else duration(row.bypassed_s)),
        "review": _reviews(failed),
        "batch": row.batch or "",
        "product": row.product or "",
        "operator": row.operator or "",
    }


def _reviews(failed: Failed) -> str:
    """Return the state of each finding, what all have in common once."""
    states = [str(each.state) if each else NOT_REVIEWED for each in failed.reviews]
    return ", ".join(dict.fromkeys(states))


_CAUSES = (TripCause.BRIEF_CONTACT_LOSS, TripCause.MONITOR_FAULT, TripCause.NO_LOSS_SEEN)

NUISANCE_COLUMNS = [
    grids.link("name", "Station", 174, pinned="left"),
    grids.number("count", "Nuisance trips", 90),
    grids.number("cumulative", "Of it and all above", 96, **grids.shown_as("cumulative_text")),
    grids.number("per_100", "Per 100 transfers (95\u00a0%)", 176, **grids.shown_as("per_100_text")),
    grids.number(
        "per_1000", "Per 1000 flow hours (95\u00a0%)", 190, **grids.shown_as("per_1000_text")
    ),
    grids.text("rank", "Rank", 118),
    *(grids.number(str(cause), words(cause).capitalize(), 104) for cause in _CAUSES),
]


def nuisance_row(each: Nuisance, cumulative: float, period: Period) -> grids.Row:
    """Return a row of `NUISANCE_COLUMNS`; ``cumulative`` is the share of it and all above."""
    return {
        "name": each.name,
        "href": station_url(each.station, period),
        "count": each.count,
        "cumulative": cumulative,
        "cumulative_text": share(cumulative),
        "per_100": each.per_100_transfers.value,
        "per_100_text": rate_text(each.per_100_transfers),
        "per_1000": each.per_1000_flow_h.value,
        "per_1000_text": rate_text(each.per_1000_flow_h),
        "rank": each.rank,
        **{str(cause): each.causes.get(cause, 0) for cause in _CAUSES},
    }
