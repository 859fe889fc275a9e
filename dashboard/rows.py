"""Findings, transfers and hookups as rows of a grid: a number to sort by beside each text."""

from __future__ import annotations

from zoneinfo import ZoneInfo

from bondtrail.results import Finding, Hookup, Review, Transfer
from bondtrail.site import Station
from bondtrail.times import local
from dashboard import grids
from dashboard.figures.wording import duration, ohms, words
from dashboard.parts import severity_word
from dashboard.recorded import bypassed
from dashboard.urls import transfer_url

FINDING_COLUMNS = [
    grids.severity_column(),
    grids.text("time", "Begins", 168),
    grids.text("kind", "Kind", 190),
    grids.number("seconds", "Lasts", 110, **grids.shown_as("lasts")),
    grids.text("summary", "What was seen", 520, flex=1, minWidth=300, **grids.WRAPPED),
    grids.text("review", "Review", 118, tooltipField="review_told"),
    grids.link("transfer", "Transfer", 110),
]

NOT_REVIEWED = "not reviewed"


def finding_row(finding: Finding, zone: ZoneInfo, review: Review | None = None) -> grids.Row:
    """Return a row of `FINDING_COLUMNS`; times on the site's clock."""
    return {
        "severity": severity_word(finding.severity),
        "severity_code": finding.severity,
        "time": _written(finding.start, zone),
        "kind": words(finding.kind),
        "seconds": finding.seconds,
        "lasts": duration(finding.seconds),
        "summary": finding.summary,
        "review": str(review.state) if review else NOT_REVIEWED,
        "review_told": f"{review.author}: {review.comment}" if review else "",
        "transfer": "Transfer" if finding.transfer else "",
        "href": transfer_url(finding.transfer) if finding.transfer else None,
    }


TRANSFER_COLUMNS = [
    grids.link("time", "Begins", 168),
    grids.text(
        "verdict",
        "Verdict",
        150,
        cellClassRules={
            "cell-critical": "params.data.verdict != 'compliant'",
        },
    ),
    grids.number("findings", "Findings", 100),
    grids.number("flow_s", "Flow time", 115, **grids.shown_as("flow")),
    grids.number("volume", "Quantity", 120, **grids.shown_as("quantity")),
    grids.number("not_bonded_s", "Not bonded", 110, **grids.shown_as("not_bonded")),
    grids.number("no_data_s", "Bond unknown", 110, **grids.shown_as("no_data")),
    grids.number("bypassed_s", "Bypassed", 110, **grids.shown_as("bypassed")),
    grids.number("trips", "Trips", 80),
    grids.number("lead_s", "Bonded before flow", 125, **grids.shown_as("lead")),
    grids.text("product", "Product", 130),
    grids.text("batch", "Batch", 120),
    grids.text("operator", "Operator", 120),
]


def transfer_row(transfer: Transfer, station: Station, zone: ZoneInfo) -> grids.Row:
    """Return a row of `TRANSFER_COLUMNS`; a fixed item is not clamped on, so it has no lead."""
    quantity = "-" if transfer.volume is None else f"{transfer.volume:,.0f} {transfer.unit}"
    return {
        "time": _written(transfer.start, zone),
        "href": transfer_url(transfer.id),
        "verdict": "compliant" if transfer.compliant else "not compliant",
        "findings": len(transfer.findings),
        "flow_s": transfer.flow_s,
        "flow": duration(transfer.flow_s),
        "volume": transfer.volume,
        "quantity": quantity,
        "not_bonded_s": transfer.not_bonded_s,
        "not_bonded": duration(transfer.not_bonded_s),
        "no_data_s": transfer.no_data_s,
        "no_data": duration(transfer.no_data_s),
        "bypassed_s": transfer.bypassed_s,
        "bypassed": bypassed(transfer.bypassed_s, station),
        "trips": transfer.trips,
        "lead_s": transfer.bond_lead_s,
        "lead": "-" if station.is_fixed else _lead(transfer.bond_lead_s),
        "product": transfer.product or "",
        "batch": transfer.batch or "",
        "operator": transfer.operator or "",
    }


def _lead(seconds: float | None) -> str:
    if seconds is None:
        return "never"
    return duration(seconds) if seconds >= 0 else f"{duration(-seconds)} late"


HOOKUP_COLUMNS = [
    grids.text("time", "Begins", 168),
    grids.text(
        "outcome",
        "Outcome",
        86,
        cellClassRules={"cell-minor": "params.data.outcome == 'failed'"},
    ),
    grids.text("cause", "Suspected cause", 98),
    grids.number("lowest_ohm", "Lowest", 92, **grids.shown_as("lowest")),
    grids.number("median_ohm", "Median", 92, **grids.shown_as("median")),
    grids.number("to_bond_s", "Time to bond", 80, **grids.shown_as("to_bond")),
    grids.number("seconds", "Lasts", 100, **grids.shown_as("lasts")),
]


def hookup_row(hookup: Hookup, zone: ZoneInfo) -> grids.Row:
    """Return a row of `HOOKUP_COLUMNS`."""
    seconds = (hookup.end - hookup.start) / 1e9
    return {
        "time": _written(hookup.start, zone),
        "outcome": str(hookup.outcome),
        "to_bond_s": hookup.time_to_bond_s,
        "to_bond": duration(hookup.time_to_bond_s),
        "lowest_ohm": hookup.lowest_ohm,
        "lowest": ohms(hookup.lowest_ohm),
        "median_ohm": hookup.median_ohm,
        "median": ohms(hookup.median_ohm),
        "cause": words(hookup.cause) if hookup.cause else "",
        "seconds": seconds,
        "lasts": duration(seconds),
    }


def _written(moment: int, zone: ZoneInfo) -> str:
    return f"{local(moment, zone):%Y-%m-%d %H:%M:%S}"
