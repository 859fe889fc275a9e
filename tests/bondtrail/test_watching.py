"""What is out of order in a running service, at the exact limits."""

from __future__ import annotations

import pytest

from bondtrail.running import Job, Source
from bondtrail.watching import (
    AHEAD_S,
    FEWEST_LAGS,
    INTERVALS,
    QUIET_S,
    RESTING_DAILY_S,
    RESTING_S,
    SKEW_S,
    JobState,
    PointState,
    clock_word,
    is_off,
    is_quiet,
    is_running,
    job_state,
    point_state,
)

S = 10**9
NOW = 1_800_000_000 * S


@pytest.mark.parametrize(
    ("age_s", "stale_after_s", "expected"),
    [
        (None, 5.0, PointState.NEVER),
        (0.0, 5.0, PointState.HEARD),
        (5.0, 5.0, PointState.HEARD),
        (5.001, 5.0, PointState.SILENT),
        (-AHEAD_S, 5.0, PointState.HEARD),
        (-AHEAD_S - 0.001, 5.0, PointState.AHEAD),
        (3.0, None, PointState.UNLISTED),
        (-3600.0, None, PointState.AHEAD),
    ],
)
def test_point_state(age_s: float | None, stale_after_s: float | None, expected: str) -> None:
    assert point_state(age_s, stale_after_s) is expected


def source(median_s: float | None, count: int = 1000) -> Source:
    return Source("mqtt rail-1", 1, NOW, median_s, 0.1, count)


@pytest.mark.parametrize(
    ("seen", "off", "word"),
    [
        (source(None, 0), False, "nothing live yet"),
        (source(0.0), False, "agrees with ours"),
        (source(SKEW_S), False, "agrees with ours"),
        (source(SKEW_S + 0.01), True, "clock behind ours, or messages held up"),
        (source(-SKEW_S), False, "agrees with ours"),
        (source(-SKEW_S - 0.01), True, "clock ahead of ours"),
        (source(-600.0, FEWEST_LAGS), True, "clock ahead of ours"),
        (source(-600.0, FEWEST_LAGS - 1), False, "too few to tell"),
        (source(0.2, 1), False, "agrees with ours"),
    ],
)
def test_clock(seen: Source, off: bool, word: str) -> None:
    assert (is_off(seen), clock_word(seen)) == (off, word)


@pytest.mark.parametrize(
    ("ago_s", "expected"),
    [
        pytest.param([], False, id="nobody-publishes"),
        pytest.param([QUIET_S], False, id="at-the-limit"),
        pytest.param([QUIET_S + 1], True, id="over-it"),
        pytest.param([9 * QUIET_S, 1], False, id="one-is-heard"),
        pytest.param([9 * QUIET_S, 2 * QUIET_S], True, id="none-is-heard"),
    ],
)
def test_a_site_that_publishes_is_quiet_when_none_is_heard(
    ago_s: list[float], expected: bool
) -> None:
    sources = [Source("mqtt rail-1", 1, NOW - round(ago * S)) for ago in ago_s]
    assert is_quiet(sources, NOW) is expected


HOUR_S = 3600.0
DAY_S = 24 * HOUR_S


def job(
    every_s: float | None = None,
    *,
    started_s: float | None = 30,
    ended_s: float | None = 29,
    succeeded_s: float | None = 29,
    failures: int = 0,
) -> Job:
    """A job by how long ago things were."""

    def ago(seconds: float | None) -> int | None:
        return None if seconds is None else NOW - round(seconds * S)

    moments = ago(started_s), ago(ended_s), ago(succeeded_s)
    return Job("analyse", *moments, failures, "", "here 1", every_s)


@pytest.mark.parametrize(
    ("seen", "expected"),
    [
        (job(), JobState.WELL),
        (job(succeeded_s=RESTING_S), JobState.WELL),
        (job(succeeded_s=RESTING_S + 1), JobState.RESTING),
        (job(20.0, succeeded_s=RESTING_S), JobState.WELL),
        (job(20.0, succeeded_s=RESTING_S + 1), JobState.RESTING),
        (job(HOUR_S, succeeded_s=INTERVALS * HOUR_S), JobState.WELL),
        (job(HOUR_S, succeeded_s=INTERVALS * HOUR_S + 1), JobState.RESTING),
        (job(DAY_S, succeeded_s=RESTING_DAILY_S), JobState.WELL),
        (job(DAY_S, succeeded_s=RESTING_DAILY_S + 1), JobState.RESTING),
        (job(succeeded_s=None), JobState.RESTING),
        (job(failures=1), JobState.FAILING),
        (job(failures=3, ended_s=40), JobState.FAILING),
        (job(ended_s=None), JobState.RUNNING),
        (job(ended_s=60), JobState.RUNNING),
        (job(started_s=RESTING_S + 1, ended_s=None), JobState.UNENDED),
        (job(DAY_S, started_s=RESTING_S + 1, ended_s=None), JobState.RUNNING),
    ],
)
def test_job_state(seen: Job, expected: JobState) -> None:
    assert job_state(seen, NOW) is expected


@pytest.mark.parametrize(
    ("started", "ended", "expected"),
    [
        pytest.param(5, 7, False, id="ended"),
        pytest.param(5, 5, False, id="ended-at-once"),
        pytest.param(5, 3, True, id="began-again"),
        pytest.param(5, None, True, id="began"),
        pytest.param(None, None, False, id="never-began"),
    ],
)
def test_a_run_without_an_end_goes_on(
    started: int | None, ended: int | None, expected: bool
) -> None:
    assert is_running(Job("analyse", started, ended, None, 0, "", "host:1")) is expected
