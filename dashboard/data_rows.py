"""Rows of the data page: points, stations, sources, jobs and what was not taken."""

from __future__ import annotations

from collections.abc import Mapping
from zoneinfo import ZoneInfo

from bondtrail.results import Reject, Severity
from bondtrail.running import Job, Source
from bondtrail.samples import Quality, Status
from bondtrail.site import Role, Site
from bondtrail.times import local, local_day, offset_if_repeated, seconds
from bondtrail.watching import JobState, PointState, clock_word, is_off, is_running, job_state
from dashboard import grids
from dashboard.figures.palette import SEVERITY_SIGN
from dashboard.figures.wording import duration, ohms, share, significant, words
from dashboard.queries.data import PointLine, StationLine

POINT_MARKS = {PointState.AHEAD: Severity.MAJOR, PointState.SILENT: Severity.MINOR}
JOB_MARKS = {
    JobState.FAILING: Severity.MAJOR,
    JobState.UNENDED: Severity.MINOR,
    JobState.RESTING: Severity.MINOR,
}


def marked(field: str, header: str, width: int, **more: object) -> grids.Column:
    """Return a column of words, coloured where the row says how grave it is."""
    rules = {
        f"cell-{severity}": f"params.data.gravity == '{severity}'"
        for severity in (Severity.MAJOR, Severity.MINOR)
    }
    return grids.text(field, header, width, cellClassRules=rules, **more)


def _mark(word: str, severity: Severity | None) -> dict[str, str | None]:
    """Return a word with the sign of how grave it is, as the first field of a row."""
    shown = word if severity is None else f"{SEVERITY_SIGN[severity]} {word}"
    return {"state": shown, "gravity": severity}


POINT_COLUMNS = [
    grids.link("point", "Point", 190),
    marked("state", "State", 178),
    grids.number("last", "Last reading", 168, **grids.shown_as("last_text")),
    grids.number("age_s", "Age", 140, **grids.shown_as("age")),
    grids.text("value", "Value", 100),
    grids.text(
        "quality", "Quality", 92, cellClassRules={"cell-minor": "params.data.is_bad === true"}
    ),
    grids.number("holds_s", "A reading holds", 100, **grids.shown_as("holds")),
    grids.number("samples", "Readings", 112, **grids.shown_as("samples_text")),
    grids.number("first", "First reading", 112, **grids.shown_as("first_text")),
]


def point_row(
    line: PointLine, zone: ZoneInfo, pages: Mapping[str, str], *, is_still: bool = False
) -> grids.Row:
    """Return a row of `POINT_COLUMNS`; times on the site's clock.

    Where nothing speaks at all (``is_still``), silence is nothing out of order. ``pages`` are the
    addresses of stations by their ids.
    """
    held = line.held
    is_usual = is_still and line.state is PointState.SILENT
    holds_s = None if line.named is None else line.named.stale_after_s
    return {
        **_mark(str(line.state), None if is_usual else POINT_MARKS.get(line.state)),
        "point": line.name,
        "href": pages.get(line.station),
        "last": None if held is None else held.last // 1_000_000,
        "last_text": "-" if held is None else written(held.last, zone),
        "first": None if held is None else held.first // 1_000_000,
        "first_text": "-" if held is None else str(local_day(held.first, zone)),
        "age_s": line.age_s,
        "age": age(line.age_s),
        "value": "-" if held is None else value_text(line.role, held.value),
        "quality": "-" if held is None else Quality(held.quality).name.lower(),
        "is_bad": held is not None and held.quality == Quality.BAD,
        "holds_s": holds_s,
        "holds": duration(holds_s),
        "samples": 0 if held is None else held.samples,
        "samples_text": "0" if held is None else f"{held.samples:,}",
    }


def value_text(role: str, value: float) -> str:
    """Return the value of a point in the words of its role."""
    if role == Role.RESISTANCE:
        return ohms(value)
    if role == Role.STATUS and value in set(Status):
        return words(Status(int(value)).name.lower())
    if role in (Role.RUNNING, Role.BYPASS):
        return "on" if value else "off"
    if role == Role.PERMISSIVE:
        return "closed" if value else "open"
    return significant(value, 3)


STATION_COLUMNS = [
    grids.link("station", "Station", 190),
    grids.number("coverage", "Bond state known", 110, **grids.shown_as("coverage_text")),
    grids.number("unknown_s", "Unknown for", 120, **grids.shown_as("unknown")),
    grids.number("heard", "Points heard", 88),
    grids.number("silent", "Silent", 80),
    grids.number("never", "Never seen", 80),
    grids.number("last", "Last reading", 168, **grids.shown_as("last_text")),
]


def station_row(line: StationLine, site: Site, names: Mapping[str, str], url: str) -> grids.Row:
    """Return a row of `STATION_COLUMNS`, which leads to an address."""
    return {
        "station": names[line.station],
        "href": url,
        "coverage": -1.0 if line.coverage is None else line.coverage,
        "coverage_text": "no record" if line.coverage is None else share(line.coverage),
        "unknown_s": line.unknown_s,
        "unknown": "-" if line.coverage is None else duration(line.unknown_s),
        "heard": line.states[PointState.HEARD],
        "silent": line.states[PointState.SILENT],
        "never": line.states[PointState.NEVER],
        "last": None if line.last is None else line.last // 1_000_000,
        "last_text": "-" if line.last is None else written(line.last, site.zone),
    }


SOURCE_COLUMNS = [
    grids.text("source", "Source", 200),
    marked("state", "Its clock", 340),
    grids.number("median_s", "Median lag", 96, **grids.shown_as("median")),
    grids.number("spread_s", "Spread", 90, **grids.shown_as("spread")),
    grids.number("count", "Of readings", 90),
    grids.number("heard", "Last heard", 168, **grids.shown_as("heard_text")),
    grids.number("readings", "Readings", 112, **grids.shown_as("readings_text")),
]


def source_row(source: Source, zone: ZoneInfo) -> grids.Row:
    """Return a row of `SOURCE_COLUMNS`."""
    return {
        **_mark(clock_word(source), Severity.MAJOR if is_off(source) else None),
        "source": source.name,
        "median_s": source.lag_median_s,
        "median": signed(source.lag_median_s),
        "spread_s": source.lag_spread_s,
        "spread": duration(source.lag_spread_s),
        "count": source.lag_count,
        "heard": source.heard // 1_000_000,
        "heard_text": written(source.heard, zone),
        "readings": source.readings,
        "readings_text": f"{source.readings:,}",
    }


_PLAIN: grids.Column = {"cellDataType": "text"}
"""As text alone: else one that looks like a date makes all others of its column disappear."""
_LINES: grids.Column = {**grids.WRAPPED, **_PLAIN}

JOB_COLUMNS = [
    grids.text("job", "Job", 100),
    marked("state", "State", 150),
    grids.text("begun", "Last begun", 168),
    grids.text("took", "Took", 90),
    grids.text("succeeded", "Last ended well", 168),
    grids.number("failures", "Failures in a row", 92),
    grids.text("said", "What the last run came to", 320, flex=1, minWidth=260, **_LINES),
    grids.text("by", "By", 150),
]


def job_row(job: Job, zone: ZoneInfo, now: int) -> grids.Row:
    """Return a row of `JOB_COLUMNS`; ``now`` in ns."""
    state = job_state(job, now)
    took_s = None
    if job.started is not None and job.ended is not None and not is_running(job):
        took_s = seconds(job.ended - job.started)
    return {
        **_mark(str(state), JOB_MARKS.get(state)),
        "job": job.name,
        "begun": "-" if job.started is None else written(job.started, zone),
        "took": duration(took_s),
        "succeeded": "never" if job.succeeded is None else written(job.succeeded, zone),
        "failures": job.failures,
        "said": job.said,
        "by": job.by,
    }


REJECT_COLUMNS = [
    grids.text("at", "First taken up", 168),
    grids.text("last_at", "Last", 168),
    grids.text("source", "Source", 200, tooltipField="source", **_PLAIN),
    grids.text("where", "Where", 160, tooltipField="where", **_PLAIN),
    grids.number("count", "Rows", 84, **grids.shown_as("count_text")),
    grids.text("reason", "Why it was not taken", 380, flex=2, minWidth=260, **_LINES),
    grids.text("raw", "As it came", 200, flex=1, minWidth=160, **_LINES),
]
RAW_SHOWN = 120
"""Characters of a rejected text that leave the server."""


def reject_row(reject: Reject, zone: ZoneInfo) -> grids.Row:
    """Return a row of `REJECT_COLUMNS`."""
    return {
        "at": written(reject.at, zone),
        "last_at": "-" if reject.last_at is None else written(reject.last_at, zone),
        "source": reject.source,
        "where": reject.where,
        "count": reject.count,
        "count_text": f"{reject.count:,}",
        "reason": reject.reason,
        "raw": reject.raw if len(reject.raw) <= RAW_SHOWN else f"{reject.raw[:RAW_SHOWN]}...",
    }


def written(moment: int, zone: ZoneInfo) -> str:
    """Return a moment on the site's clock; where an hour comes twice, which of the two."""
    here = local(moment, zone)
    return f"{here:%Y-%m-%d %H:%M:%S}{offset_if_repeated(here)}"


def age(age_s: float | None) -> str:
    """Return how old a reading is; one in the future says so."""
    if age_s is None:
        return "never"
    return duration(round(age_s)) if age_s >= 0 else f"{duration(round(-age_s))} ahead"


def signed(lag_s: float | None) -> str:
    """Return a lag with its sign, such as ``+0.4 s``."""
    if lag_s is None:
        return "-"
    return f"{'-' if lag_s < 0 else '+'}{duration(abs(lag_s))}"
