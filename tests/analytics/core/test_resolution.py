"""Since when a change may have been so, and which order of events is sure."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.core.resolution import (
    AROUND,
    NEVER,
    Resolution,
    Seen,
    clocks_words,
    order_certain,
    reports_on_change,
)
from bondtrail.samples import Samples
from bondtrail.site import Point, Role
from tests.analytics.core.build import moments, ns

FLOW, BOND, KEY = Role.FLOW, Role.RESISTANCE, Role.BYPASS


@pytest.mark.parametrize(
    ("seconds", "looked_at", "expected"),
    [
        pytest.param([0, 1], None, False, id="two-readings"),
        pytest.param([0, 1, 2, 3, 4], None, False, id="evenly"),
        pytest.param([0, 1, 2.1, 2.9, 4, 5.2, 6], None, False, id="jitter-is-even"),
        pytest.param([0, 1, 2, 3, 10, 11, 12], None, False, id="a-hole-does-not-count"),
        pytest.param([0, 60, 60.5, 120, 180, 240], None, True, id="heartbeat-and-changes"),
        pytest.param([0, 60, 85, 145, 205], None, True, id="changes-seldom"),
        pytest.param([0, 1800, 3100, 4000], None, True, id="a-few-readings-off-the-beat"),
        pytest.param([0, 1800, 3600], None, False, id="heartbeats-alone"),
        pytest.param([0, 1, 2, 4, 5, 8, 10, 11], None, False, id="many-were-lost"),
        pytest.param([0, 4, 8, 13], None, False, id="off-the-beat-by-a-quarter"),
        pytest.param([0, 4, 8, 13.1], None, True, id="off-the-beat-by-more"),
        pytest.param([0, 60, 85, 145, 205], 0.1, True, id="the-site-file-knows"),
        pytest.param([0, 3600], 0.1, True, id="the-site-file-knows-of-two-readings-too"),
        pytest.param([0, 1, 2, 3, 4], 1, False, id="every-look-is-reported"),
        pytest.param([0, 1.5, 3, 4.5], 1, False, id="just-every-look"),
        pytest.param([0, 1.6, 3.2, 4.8], 1, True, id="not-every-look"),
        pytest.param([0, 1, 2, 3, 4], 5, False, id="more-often-than-it-is-looked-at"),
    ],
)
def test_a_point_reports_on_change_or_evenly(
    seconds: list[float], looked_at: float | None, expected: bool
) -> None:
    looked_at_ns = None if looked_at is None else ns(looked_at)
    assert reports_on_change(moments(*seconds), looked_at_ns) is expected


def test_one_quick_pair_among_many_even_readings_is_jitter() -> None:
    times = np.sort(np.append(np.arange(100) * ns(1), ns(50.1)))
    assert not reports_on_change(times)


def since(
    seconds: list[float],
    seen: float,
    *,
    interval: float | None = None,
    stale: float = 5,
    bad: tuple[int, ...] = (),
    uncertain: tuple[int, ...] = (),
) -> float | None:
    quality = [2 if k in bad else int(k in uncertain) for k in range(len(seconds))]
    samples = Samples.of(moments(*seconds), np.zeros(len(seconds)), quality)
    point = Point(station="spot", role=FLOW, stale_after_s=stale, interval_s=interval)
    (found,) = Resolution.of(point, samples).since(moments(seen)).tolist()
    return None if found == NEVER else found / ns(1)


@pytest.mark.parametrize(
    ("seconds", "seen", "more", "expected"),
    [
        pytest.param([0, 1, 2, 3], 3, {}, 2, id="the-reading-before"),
        pytest.param([0, 1, 2, 2.75], 2.75, {}, 2, id="and-no-earlier"),
        pytest.param([0, 1, 2, 6], 6, {}, 2, id="where-readings-were-lost: since-the-last"),
        pytest.param([0, 1, 2, 6], 6, {"interval": 1.0}, 2, id="lost-whatever-the-site-file-says"),
        pytest.param([0, 2, 4], 4, {"interval": 0.5}, 3.5, id="reported-on-change"),
        pytest.param([0, 3, 3.2, 6], 6, {}, 3.2, id="how-often-it-is-looked-at-is-not-known"),
        pytest.param([0, 3, 3.2, 6], 3.2, {"interval": 0.5}, 3, id="no-earlier-than-the-last"),
        pytest.param([0, 1, 2, 8], 8, {}, 2, id="after-a-silence: since-it-began"),
        pytest.param([0, 1, 2, 8], 8, {"interval": 0.5}, 2, id="silence: whatever-the-interval"),
        pytest.param([0, 1, 2, 7], 7, {"interval": 0.5}, 6.5, id="just-no-silence"),
        pytest.param([0, 1, 2, 3], 3, {"bad": (2,)}, 1, id="after-bad-data: the-last-known"),
        pytest.param([0, 1, 2, 3], 3, {"bad": (0, 1, 2)}, None, id="nothing-known-before"),
        pytest.param([0, 1, 2], 7, {}, 2, id="went-stale: since-the-last-reading"),
        pytest.param([0, 1, 2], 7, {"bad": (2,)}, 1, id="went-stale: since-the-last-known"),
        pytest.param([0, 1, 2, 3], 3, {"uncertain": (3,)}, 2, id="uncertain: the-last-good"),
        pytest.param([0, 1, 2, 3], 3, {"uncertain": (2, 3)}, 1, id="uncertain: not-the-one-before"),
        pytest.param([0, 1, 2, 3], 3, {"uncertain": (2,)}, 1, id="good-after-an-uncertain-one"),
        pytest.param(
            [0, 2, 4],
            4,
            {"uncertain": (2,), "interval": 0.5},
            2,
            id="uncertain: no-interval-counts",
        ),
        pytest.param([0, 2, 4], 4, {"uncertain": (0, 1, 2)}, None, id="none-is-good"),
        pytest.param([0, 1, 2], 7, {"uncertain": (2,)}, 1, id="went-stale: since-the-last-good"),
        pytest.param([3], 3, {}, None, id="the-first-reading-of-all"),
        pytest.param([3, 4], 2, {}, None, id="before-the-first"),
        pytest.param([], 2, {}, None, id="no-reading-at-all"),
    ],
)
def test_since_when_a_change_may_have_been_so(
    seconds: list[float], seen: float, more: dict[str, float], expected: float | None
) -> None:
    assert since(seconds, seen, **more) == expected  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("codes", "interval", "expected"),
    [
        pytest.param([1, 1, 1, 0], None, 2, id="the-reading-before"),
        pytest.param([1, 1, 3, 0], None, 1, id="the-monitor-was-off"),
        pytest.param([1, 1, 2, 0], None, 1, id="or-in-fault"),
        pytest.param([1, 2, 3, 0], 0.5, 0, id="whatever-the-interval"),
        pytest.param([3, 3, 3, 0], None, None, id="never-told-before"),
    ],
)
def test_a_status_of_fault_or_off_tells_nothing_of_the_bond(
    codes: list[int], interval: float | None, expected: float | None
) -> None:
    samples = Samples.of(moments(*range(len(codes))), codes)
    point = Point(station="spot", role=Role.STATUS, stale_after_s=5, interval_s=interval)
    status = Resolution.of(point, samples)
    (found,) = status.of_bond().since(moments(3)).tolist()
    assert (None if found == NEVER else found / ns(1)) == expected
    assert status.since(moments(3)).item() >= ns(2)  # of the monitor itself it tells


def test_how_a_point_reports_is_told_by_the_readings_around() -> None:
    """Every look of 0.5 s at first, on change later: heartbeats with a change between them."""
    even = np.arange(2 * AROUND) * ns(0.5)
    beats = even[-1] + np.arange(1, 2 * AROUND) * ns(4)
    time = np.sort(np.concatenate((even, beats, beats[::3] + ns(0.1))))
    resolution = Resolution(Samples.of(time, np.zeros(time.size)), ns(60), ns(0.5))
    lost = np.delete(time, AROUND - 1)  # what a reading that was lost would have shown is not known
    with_a_gap = Resolution(Samples.of(lost, np.zeros(lost.size)), ns(60), ns(0.5))
    early, late = even[AROUND], beats[-2]
    assert (early - with_a_gap.since(np.array([early]))).item() == ns(1)
    assert (late - resolution.since(np.array([late]))).item() == ns(0.5)


def test_a_quick_pair_does_not_show_how_often_a_signal_is_looked_at() -> None:
    """Twice 0.1 s apart by chance, looked at every 10 s else: the bound is the reading before."""
    time = moments(0, 60, 60.1, 120, 150, 150.1, 210)
    resolution = Resolution(Samples.of(time, np.zeros(time.size)), ns(100))
    assert resolution.since(time).tolist() == [NEVER, *time[:-1].tolist()]


@pytest.mark.parametrize(
    ("told", "expected"),
    [
        pytest.param([], [], id="nothing"),
        pytest.param([(1, BOND, None)], [True], id="the-first"),
        pytest.param([(1, BOND, 0), (2, BOND, 0)], [True, True], id="one-points-own"),
        pytest.param([(1, BOND, 0), (2, FLOW, 1)], [True, True], id="just-certain"),
        pytest.param([(1, BOND, 0), (2, FLOW, 0.9)], [True, False], id="closer"),
        pytest.param([(1, BOND, 0), (1, FLOW, 0)], [True, False], id="one-moment"),
        pytest.param([(1, BOND, 0), (9, FLOW, None)], [True, False], id="nobody-knows-since-when"),
        pytest.param(
            [(1, BOND, 0), (1.5, None, None), (2, FLOW, 0.9)],
            [True, True, False],
            id="what-is-written-down-says-nothing",
        ),
        pytest.param(
            [(1, BOND, 0), (1.5, FLOW, 0), (2, FLOW, 0), (3, FLOW, 2)],
            [True, False, False, True],
            id="its-own-between-does-not-help",
        ),
        pytest.param(
            [(1, BOND, 0), (2, FLOW, 1.5), (3, KEY, 1.7)],
            [True, True, False],
            id="the-latest-of-others-counts",
        ),
        pytest.param(
            [(1, FLOW, 0), (2, BOND, 1.5), (3, FLOW, 2.5)],
            [True, True, True],
            id="back-and-forth",
        ),
    ],
)
def test_order_is_certain_only_beyond_the_resolution(
    told: list[tuple[float, Role | None, float | None]], expected: list[bool]
) -> None:
    events = [
        Seen(ns(time), role, None if since is None else ns(since)) for time, role, since in told
    ]
    assert order_certain(events).tolist() == expected


STATE = Role.STATUS


@pytest.mark.parametrize(
    ("told", "certain"),
    [
        pytest.param([(1, BOND, 0), (2, FLOW, 1.25)], True, id="just-as-far-as-clocks-may-differ"),
        pytest.param([(1, BOND, 0), (2, FLOW, 1.2)], False, id="closer-than-clocks-may-differ"),
        pytest.param([(1, BOND, 0), (2, BOND, 1)], True, id="one-points-own"),
        pytest.param([(1, BOND, 0), (2, STATE, 1)], True, id="one-monitor-unit-has-one-clock"),
        pytest.param([(1, STATE, 0), (2, BOND, 1)], True, id="and-the-other-way-round"),
        pytest.param([(1, STATE, 0), (2, BOND, 0.9)], False, id="which-does-not-sharpen-readings"),
        pytest.param([(1, STATE, 0), (2, FLOW, 1.2)], False, id="flow-has-another-clock"),
        pytest.param(
            [(1, FLOW, 0), (1.1, STATE, 0), (2, BOND, 1.15)],
            False,
            id="the-same-clock-between-does-not-help",
        ),
    ],
)
def test_between_devices_order_is_certain_only_beyond_what_their_clocks_differ(
    told: list[tuple[float, Role, float]], certain: bool
) -> None:
    events = [Seen(ns(time), role, ns(since)) for time, role, since in told]
    assert order_certain(events, ns(0.25))[-1] == certain


@pytest.mark.parametrize(
    ("error_s", "told"), [(0.0, "within 0 s"), (0.05, "within 0.05 s"), (86_400.0, "86400 s")]
)
def test_how_far_clocks_are_trusted_is_one_sentence(error_s: float, told: str) -> None:
    words = clocks_words(error_s)
    assert words.startswith("Times are as the devices gave them; their clocks are taken to agree")
    assert words.endswith(f"{told} (clock_error_s).")


@pytest.mark.parametrize("page", ["replay.md", "rules.md"])
def test_the_pages_say_it_too(page: str) -> None:
    text = (Path(__file__).parents[3] / "docs" / page).read_text(encoding="utf-8")
    said = clocks_words(0).partition(" 0 s ")[0]
    assert f"{said} N s (`clock_error_s` of the site file" in " ".join(text.split())


@st.composite
def tellings(draw: st.DrawFn) -> list[Seen]:
    times = sorted(draw(st.lists(st.integers(0, 40), max_size=12)))
    roles = st.sampled_from([FLOW, BOND, STATE, KEY, None])
    back = st.one_of(st.none(), st.integers(0, 15))
    return [
        Seen(time, draw(roles), None if (b := draw(back)) is None else time - b) for time in times
    ]


@given(tellings(), st.integers(0, 5))
def test_order_agrees_with_asking_every_pair(told: list[Seen], error: int) -> None:
    def apart(a: Role, b: Role) -> int:
        return 0 if {a, b} == {BOND, STATE} else error

    expected = [
        seen.role is None
        or all(
            seen.since is not None and seen.since - other.time >= apart(other.role, seen.role)
            for other in told[:k]
            if other.role is not None and other.role is not seen.role
        )
        for k, seen in enumerate(told)
    ]
    assert order_certain(told, error).tolist() == expected


@given(tellings())
def test_worse_clocks_make_no_order_certain(told: list[Seen]) -> None:
    good, worse = order_certain(told, 1), order_certain(told, 2)
    assert (good | ~worse).all()
