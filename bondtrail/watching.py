"""What is out of order in a running service: clocks that are wrong, jobs that fail or rest.

Pure: what a store remembers of its sources, jobs and points goes in with the time it is now, plain
words come out. Where nothing is out of order there is nothing to say.
"""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum

from bondtrail.running import Job, Source
from bondtrail.times import seconds

AHEAD_S = 60.0
"""A reading this far in the future means that a clock is wrong; less may be the network's doing."""
SKEW_S = 5.0
"""A median lag beyond this, either way, means that a clock is wrong or a way is slow. [s]"""
FEWEST_LAGS = 5
"""Of fewer readings a lag says nothing yet."""

QUIET_S = 600.0
"""After so long without a message of anybody, nothing comes in any more. [s]"""

RESTING_S = 900.0
"""After so long without success a job that is done all the time rests, or later: [s]"""
INTERVALS = 3.0
"""so many of its intervals."""
RESTING_DAILY_S = 26 * 3600.0
"""The same for one that is done once a day: on a day with 25 hours, and an hour late. [s]"""
DAY_S = 86_400.0


class PointState(StrEnum):
    """How a point stands now."""

    AHEAD = "ahead of the clock"
    SILENT = "silent"
    NEVER = "never seen"
    UNLISTED = "not in the site file"
    HEARD = "heard"


def point_state(age_s: float | None, stale_after_s: float | None) -> PointState:
    """Return how a point stands.

    Parameters
    ----------
    age_s : float or None
        Of its last reading; None where it never had one. [s]
    stale_after_s : float or None
        How long a reading holds; None where the site file does not name the point. [s]
    """
    if age_s is None:
        return PointState.NEVER
    if age_s < -AHEAD_S:
        return PointState.AHEAD
    if stale_after_s is None:
        return PointState.UNLISTED
    return PointState.SILENT if age_s > stale_after_s else PointState.HEARD


def is_off(source: Source) -> bool:
    """Tell whether the clock of a source seems wrong, or its readings take too long to come."""
    median_s = source.lag_median_s
    return median_s is not None and source.lag_count >= FEWEST_LAGS and abs(median_s) > SKEW_S


def heard_ago_s(sources: Sequence[Source], now: int) -> float | None:
    """Return how long ago anybody was heard; None where nobody ever was. [s]"""
    newest = max((source.heard for source in sources), default=None)
    return None if newest is None else seconds(now - newest)


def is_quiet(sources: Sequence[Source], now: int) -> bool:
    """Tell whether nothing comes in although there are sources; ``now`` in ns."""
    ago_s = heard_ago_s(sources, now)
    return ago_s is not None and ago_s > QUIET_S


def clock_word(source: Source) -> str:
    """Return in plain words how the clock of a source stands to ours."""
    median_s = source.lag_median_s
    if median_s is None:
        return "nothing live yet"
    if not is_off(source):
        few = source.lag_count < FEWEST_LAGS
        return "too few to tell" if few and abs(median_s) > SKEW_S else "agrees with ours"
    if median_s < 0:
        return "clock ahead of ours"
    return "clock behind ours, or messages held up"


class JobState(StrEnum):
    """How a job stands now."""

    FAILING = "failing"
    UNENDED = "begun and not ended"
    RESTING = "not done for long"
    RUNNING = "running"
    WELL = "well"


def job_state(job: Job, now: int) -> JobState:
    """Return how a job stands at a time in ns."""
    longest_s = _longest_s(job.every_s)
    if job.failures:
        return JobState.FAILING
    if is_running(job):
        begun_s = seconds(now - (job.started or 0))
        return JobState.RUNNING if begun_s <= longest_s else JobState.UNENDED
    rests_s = None if job.succeeded is None else seconds(now - job.succeeded)
    return JobState.RESTING if rests_s is None or rests_s > longest_s else JobState.WELL


def _longest_s(every_s: float | None) -> float:
    """Return how long a job may go without success, by how often it is done. [s]"""
    if every_s is None:
        return RESTING_S
    return RESTING_DAILY_S if every_s >= DAY_S else max(RESTING_S, INTERVALS * every_s)


def is_running(job: Job) -> bool:
    """Tell whether the last run has no end: it goes on, or its process is gone."""
    return job.started is not None and (job.ended is None or job.ended < job.started)
