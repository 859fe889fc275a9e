"""The published levels that alarm-system figures are held against, and what that says."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import StrEnum

from analytics.core.alarm_figures import TOP, AlarmFigures

SHORTEST_DAYS = 30
"""By common practice levels are held against at least so many days. From memory."""
DIFFERENT_MIN = 21
"""The top ten of fewer different alarms are most of them whatever happens: that is arithmetic."""


class Judgement(StrEnum):
    """How a figure compares with the published levels, and nothing more."""

    ACCEPTABLE = "within acceptable"
    MANAGEABLE = "within manageable"
    OVER = "over"


class Unit(StrEnum):
    """What a figure counts."""

    NUMBER = "number"
    SHARE = "share"


@dataclass(frozen=True, slots=True)
class Level:
    """What is published of one figure.

    Attributes
    ----------
    name : str
        Of the figure.
    unit : Unit
    acceptable : float
        Up to here, or only below it where ``below``.
    manageable : float or None
        The most that can be managed, where a second level is published.
    below : bool
        Whether the acceptable level itself is over.
    source : str
        Where the levels are published.
    remark : str
        What else is published of it.
    is_verified : bool
        Whether the level was read where it is published. One that was not judges nothing.
    """

    name: str
    unit: Unit
    acceptable: float
    manageable: float | None
    below: bool
    source: str
    remark: str = ""
    is_verified: bool = True


@dataclass(frozen=True, slots=True)
class Kpi:
    """One figure beside its levels; no value and no judgement where there is nothing to tell.

    ``not_judged`` says why there is no judgement of a value, and is empty where there is one.
    """

    level: Level
    value: float | None
    judgement: Judgement | None
    not_judged: str = ""


_BOTH = "IEC 62682, ISA-18.2-2016"

LEVELS = (
    Level(
        "average_per_day", Unit.NUMBER, 144, 288, False, "IEC 62682:2014",
        "ISA-18.2-2009 had 150 and 300; the edition of 2016 has none",
    ),
    Level("average_per_hour", Unit.NUMBER, 6, 12, False, _BOTH),
    Level("average_per_10_min", Unit.NUMBER, 1, 2, False, _BOTH),
    Level("peak_per_10_min", Unit.NUMBER, 10, None, False, _BOTH),
    Level("hours_over_30", Unit.SHARE, 0.01, None, True, _BOTH),
    Level("periods_over_10", Unit.SHARE, 0.01, None, True, _BOTH),
    Level("time_in_flood", Unit.SHARE, 0.01, None, True, _BOTH),
    Level(
        "top_ten_share", Unit.SHARE, 0.01, 0.05, True, _BOTH,
        "with an action plan; not judged with 20 or fewer different alarms, of which ten are most",
    ),
    Level("chattering", Unit.NUMBER, 0, None, False, _BOTH, "with an action plan for each"),
    Level("fleeting", Unit.NUMBER, 0, None, False, _BOTH, "with an action plan for each"),
    Level("stale", Unit.NUMBER, 5, None, True, _BOTH, "on any day"),
    # From memory, and with little confidence: standing alarms fewer than 10 on average.
    Level(
        "standing", Unit.NUMBER, 10, None, True, "EEMUA 191, from memory: not verified",
        "on average; not judged", is_verified=False,
    ),
)  # fmt: skip
"""Approximate levels ("about 144") are taken at their number."""

_BY_NAME = {level.name: level for level in LEVELS}

VALUES: Mapping[str, Callable[[AlarmFigures], float | None]] = {
    "average_per_day": lambda figures: figures.per_day,
    "average_per_hour": lambda figures: figures.per_hour,
    "average_per_10_min": lambda figures: figures.per_10_min,
    "peak_per_10_min": lambda figures: figures.peak.count,
    "hours_over_30": lambda figures: figures.hours_over_30.value,
    "periods_over_10": lambda figures: figures.periods_over_10.value,
    "time_in_flood": lambda figures: figures.flood_share,
    "top_ten_share": lambda figures: figures.top_share,
    "chattering": lambda figures: figures.chattering.tags,
    "fleeting": lambda figures: figures.fleeting.tags,
    "stale": lambda figures: figures.stale.most_on_a_day,
    "standing": lambda figures: figures.standing_mean,
}
"""How each figure is read."""


def kpis(figures: AlarmFigures) -> list[Kpi]:
    """Return every figure beside its published levels, in the order of `LEVELS`."""
    return [_kpi(level, figures) for level in LEVELS]


def kpi(name: str, figures: AlarmFigures) -> Kpi:
    """Return one figure beside its published levels."""
    return _kpi(_BY_NAME[name], figures)


def _kpi(level: Level, figures: AlarmFigures) -> Kpi:
    value = VALUES[level.name](figures)
    reason = "" if value is None else _not_judged(level, figures)
    return Kpi(level, value, None if reason else judged(value, level), reason)


def _not_judged(level: Level, figures: AlarmFigures) -> str:
    if not level.is_verified:
        return "the level is not verified"
    if level.name == "top_ten_share" and figures.tags < DIFFERENT_MIN:
        few = "ten" if figures.tags <= TOP else str(DIFFERENT_MIN - 1)
        return f"{few} or fewer different alarms"
    return ""


def judged(value: float | None, level: Level) -> Judgement | None:
    """Return how a value compares with its levels; None without a value."""
    if value is None:
        return None
    if value < level.acceptable or (value == level.acceptable and not level.below):
        return Judgement.ACCEPTABLE
    if level.manageable is not None and value <= level.manageable:
        return Judgement.MANAGEABLE
    return Judgement.OVER


def is_short(figures: AlarmFigures) -> bool:
    """Tell whether the period is shorter than the levels are meant for."""
    return figures.hours < SHORTEST_DAYS * 24
