"""What a running Bondtrail remembers: its jobs, the sources that it hears, what they give."""

from __future__ import annotations

from dataclasses import dataclass

LINGERING_S = 60.0
"""A station without new readings, whose last ones still hold, is judged again as often. [s]"""


@dataclass(frozen=True, slots=True)
class Job:
    """A job of the schedule, and how its last run went.

    Attributes
    ----------
    name : str
        Such as ``analyse``.
    started, ended : int or None
        When its last run began and ended; ``ended`` is before ``started`` while it runs, or where
        the process that ran it is gone. [ns]
    succeeded : int or None
        When it last ended well. [ns]
    failures : int
        How many runs in a row failed.
    said : str
        What the last run came to, or why it failed.
    by : str
        The process that ran it: host and process id.
    every_s : float or None
        How often that process does it; None where it did not say. [s]
    """

    name: str
    started: int | None
    ended: int | None
    succeeded: int | None
    failures: int
    said: str
    by: str
    every_s: float | None = None


@dataclass(frozen=True, slots=True)
class Source:
    """Who sends readings, and how its clock stands to ours.

    Attributes
    ----------
    name : str
        Such as ``mqtt rail-1`` or ``sparkplug plant/gateway-2``.
    readings : int
        How many were taken since the last word of it; in the store, in all.
    heard : int
        When the last message of it arrived. [ns]
    lag_median_s, lag_spread_s : float or None
        Arrival minus time of the reading: median and interquartile range of the newest readings
        that came live. None while there are none. [s]
    lag_count : int
        Over how many readings.
    """

    name: str
    readings: int
    heard: int
    lag_median_s: float | None = None
    lag_spread_s: float | None = None
    lag_count: int = 0


@dataclass(frozen=True, slots=True)
class Given:
    """Who gives a point: when that one is gone, nothing is known of the point any more.

    Attributes
    ----------
    point : str
        Its name.
    source : str
        Such as ``sparkplug plant/gateway-2``.
    device : str
        The part of the source that gives it; empty where it is the source itself.
    metric : str
        What the source calls the point.
    time : int or None
        Of the newest reading of the point; None where nobody looked it up. [ns]
    value : float
        That reading.
    quality : int
        Code of its `bondtrail.samples.Quality`.
    alias : int or None
        By which the source may give it instead of the metric; None where by none.
    datatype : int
        Code of the type that it has by that alias.
    session : int or None
        In which the source gave it that alias; None where it numbers none.
    """

    point: str
    source: str
    device: str
    metric: str
    time: int | None = None
    value: float = 0.0
    quality: int = 0
    alias: int | None = None
    datatype: int = 0
    session: int | None = None
