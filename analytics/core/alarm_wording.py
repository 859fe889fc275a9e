"""Alarm-system figures in words: what each is called, its value, its levels, and by what rules."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from analytics.core.alarm_figures import AlarmFigures
from analytics.core.alarm_levels import SHORTEST_DAYS, Kpi, Level, Unit, is_short
from bondtrail.site import AlarmRules

LABELS: Mapping[str, str] = {
    "average_per_day": "Average per day",
    "average_per_hour": "Average per hour",
    "average_per_10_min": "Average per 10 min",
    "peak_per_10_min": "Most in 10 min",
    "hours_over_30": "Hours with over 30",
    "periods_over_10": "10 min with over 10",
    "time_in_flood": "Time in flood",
    "top_ten_share": "Share of top ten",
    "chattering": "Chattering alarms",
    "fleeting": "Fleeting alarms",
    "stale": "Stale, most on a day",
    "standing": "Standing, average",
}
"""What people call each figure."""

CUT = "Only what is on record of the period counts: the rest would thin out every average."

DIFFERENT = "An alarm is one kind at one station: chattering and fleeting count such, not calls."

SOURCES = (
    "Levels: IEC 62682 and ISA-18.2-2016; per day IEC 62682:2014, where ISA-18.2-2009 had 150 and "
    "300. Not judged: standing alarms, as the level quoted of EEMUA 191 (below 10) is not "
    "verified; the share of the top ten of 20 or fewer different alarms, which is large whatever "
    "happens (of ten or fewer different alarms it is 100 %)."
)
"""Where the levels are published."""


def percent(share: float) -> str:
    """Return a share as per cent, such as ``8.3 %``; only none reads 0, only all reads 100."""
    if share in (0, 1):
        return f"{100 * share:.0f} %"
    text = f"{100 * share:.1f} %"
    return {"0.0 %": "<0.1 %", "100.0 %": ">99.9 %"}.get(text, text)


def number(value: float) -> str:
    """Return a number with three digits, such as ``2.08`` or ``1,230``."""
    if value >= 100 or value == int(value):
        return f"{value:,.0f}"
    return f"{value:.2g}" if value < 0.1 else f"{value:.3g}"


def length_text(hours: float) -> str:
    """Return the length of a period, such as ``2 h`` or ``31 days``."""
    return f"{number(hours)} h" if hours < 48 else f"{number(round(hours / 24, 1))} days"


def value_text(kpi: Kpi) -> str:
    """Return the value of a figure; a dash where there is none."""
    return "-" if kpi.value is None else _told(kpi.value, kpi.level)


def acceptable_text(level: Level) -> str:
    """Return the acceptable level, such as ``up to 6``, ``below 1 %`` or ``0``; else a dash."""
    if not level.is_verified:
        return "-"
    if not level.acceptable:
        return "0"
    return f"{'below' if level.below else 'up to'} {_bound(level.acceptable, level)}"


def manageable_text(level: Level) -> str:
    """Return the manageable level, such as ``up to 12``; a dash where none is published."""
    return "-" if level.manageable is None else f"up to {_bound(level.manageable, level)}"


def _told(value: float, level: Level) -> str:
    return percent(value) if level.unit is Unit.SHARE else number(value)


def _bound(value: float, level: Level) -> str:
    return f"{100 * value:g} %" if level.unit is Unit.SHARE else f"{value:g}"


def detail(name: str, figures: AlarmFigures, when: Callable[[int], str]) -> str:
    """Return what stands behind a figure; ``when`` writes a moment (ns) for the reader."""
    return _DETAILS[name](figures, when) if name in _DETAILS else ""


def counted(count: int, noun: str) -> str:
    """Return a count with its noun, such as ``1 flood`` or ``3 floods``."""
    return f"{count:,} {noun}{'' if count == 1 else 's'}"


_Detail = Callable[[AlarmFigures, Callable[[int], str]], str]
_DETAILS: Mapping[str, _Detail] = {
    "average_per_day": lambda f, _: f"{f.count:,} in {length_text(f.hours)}",
    "peak_per_10_min": lambda f, when: "" if f.peak.start is None else when(f.peak.start),
    "hours_over_30": lambda f, _: f"{f.hours_over_30.count:,} of {f.hours_over_30.of:,}",
    "periods_over_10": lambda f, _: f"{f.periods_over_10.count:,} of {f.periods_over_10.of:,}",
    "time_in_flood": lambda f, _: counted(len(f.floods), "flood"),
    "top_ten_share": lambda f, _: f"of {f.tags:,} different",
    "chattering": lambda f, _: counted(f.chattering.episodes, "episode"),
    "fleeting": lambda f, _: counted(f.fleeting.episodes, "time"),
    "stale": lambda f, _: f"{f.stale.alarms:,} in all",
    "standing": lambda f, _: f"{len(f.standing):,} at the end",
}


def rules_told(rules: AlarmRules) -> list[str]:
    """Return how alarms are counted, where editions and texts differ: a sentence a choice."""
    begins = "above 10 alarms" if rules.flood_begins == "above_10" else "10 alarms or more"
    windows = (
        "fixed 10-minute periods from the start of the period on"
        if rules.flood_windows == "fixed"
        else "the last 10 minutes at any moment"
    )
    return [
        f"Flood: from {begins} in 10 minutes to fewer than {rules.flood_ends_below} "
        f"(5 is common practice), over {windows}.",
        f"Chattering: {rules.chattering_count} or more of one alarm within "
        f"{rules.chattering_s:g} s. Fleeting: cleared within {rules.fleeting_s:g} s. "
        f"Stale: active for longer than {rules.stale_h:g} h.",
    ]


def short_note(figures: AlarmFigures) -> str | None:
    """Return what is said of a period shorter than the levels are meant for, if it is."""
    if not is_short(figures):
        return None
    return (
        f"By common practice levels are held against at least {SHORTEST_DAYS} days; "
        f"this period has {length_text(figures.hours)}."
    )


def coverage_note(coverage: float | None) -> str:
    """Return how much was known of the stations: what is not known calls no one."""
    if coverage is None:
        return "There is no record of these stations in the period."
    return (
        f"The bond state was known for {percent(coverage)} of the time on record; where it is "
        "not, few alarms can begin."
    )
