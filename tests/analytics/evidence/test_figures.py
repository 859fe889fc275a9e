"""Drawings: every extreme is drawn, gaps stay gaps, and the same values give the same bytes."""

from __future__ import annotations

import dataclasses
import xml.etree.ElementTree as ET
from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analytics.evidence import figures
from analytics.evidence.figures import drawings, thinned
from analytics.evidence.gathering import Gathered, gathered
from bondtrail.samples import Samples
from bondtrail.site_tables import Limits
from store import open_store
from tests.analytics.evidence import quay

S = 1_000_000_000
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def found(quay_file: Path) -> Gathered:
    with open_store(f"sqlite:///{quay_file}") as store:
        return gathered(store, quay.TRANSFER, 300.0)


@pytest.fixture(scope="module")
def drawn(found: Gathered) -> Mapping[str, bytes]:
    return drawings(found.replay, found.shown)


@settings(max_examples=25)
@given(st.integers(0, 2**32 - 1))
def test_thinning_keeps_every_extreme_and_both_ends(seed: int) -> None:
    value = np.random.default_rng(seed).lognormal(0, 2, 5000)
    samples = Samples.of(np.arange(5000) * S, value)
    few = thinned(samples, bins=50)
    assert len(few) <= 4 * 50
    assert few.value.max() == value.max()
    assert few.value.min() == value.min()
    assert few.time[[0, -1]].tolist() == [0, 4999 * S]
    assert set(zip(few.time.tolist(), few.value.tolist(), strict=True)) <= set(
        zip(samples.time.tolist(), value.tolist(), strict=True)
    )


def test_few_readings_are_all_drawn() -> None:
    samples = Samples.of([0, S], [1.0, 2.0])
    assert thinned(samples) is samples
    assert len(thinned(Samples.empty())) == 0


def test_a_reading_that_no_longer_holds_ends_the_line() -> None:
    time, value = figures._lines(Samples.of([0, S, 60 * S], [1.0, 2.0, 3.0]), 5 * S)
    assert time.tolist() == [0, 1, 6, 60, 65]
    assert np.isnan(value[[2, 4]]).all()


def test_a_gap_between_many_readings_stays_one() -> None:
    second = np.arange(20_000)
    second = second[(second < 9000) | (second > 9600)]
    time, value = figures._lines(Samples.of(second * S, np.ones(second.size)), 5 * S)
    assert time[np.isnan(value)].tolist() == [8999 + 5, 19_999 + 5]


def test_readings_of_bad_quality_are_not_drawn() -> None:
    _, value = figures._lines(Samples.of([0, S, 2 * S], [1.0, 2.0, 3.0], [0, 2, 0]), 5 * S)
    assert np.isnan(value).tolist() == [False, True, False, True]


def test_the_same_replay_gives_the_same_bytes(found: Gathered, drawn: Mapping[str, bytes]) -> None:
    assert drawings(found.replay, found.shown) == drawn
    for content in drawn.values():
        assert ET.fromstring(content).tag.endswith("svg")
        assert b"mathdefault" not in content


def _texts(content: bytes) -> list[str]:
    return ["".join(each.itertext()).strip() for each in ET.fromstring(content).iter(f"{SVG}text")]


def test_axes_are_named_in_plain_numbers_with_open_on_top(drawn: Mapping[str, bytes]) -> None:
    texts = {name: _texts(svg) for name, svg in drawn.items()}
    assert {"1 ohm", "10 ohm", "10 kohm", "open"} <= set(texts["record"])
    assert {"0.000001", "0.0001", "0.01", "1"} <= set(texts["hazard"])
    assert not [text for every in texts.values() for text in every if "$" in text or "inf" in text]


def test_all_that_is_drawn_is_explained(drawn: Mapping[str, bytes]) -> None:
    texts = {name: _texts(svg) for name, svg in drawn.items()}
    findings = {"critical finding begins", "finding lasts"}
    assert findings | {"reading", "limit", "is so", "not known"} <= set(texts["record"])
    levels = {"low", "typical", "high", "minimum ignition energy"}
    assert findings | levels <= set(texts["hazard"])


def test_no_finding_is_explained_where_there_is_none(found: Gathered) -> None:
    bare = dataclasses.replace(found.replay, findings=())
    assert "finding lasts" not in _texts(drawings(bare, found.shown)["record"])


LIMITS = Limits(limit_ohm=10.0, open_ohm=1e5)


@pytest.mark.parametrize(
    ("ohm", "limits", "expected"),
    [
        pytest.param([2.0, 50.0, np.inf], LIMITS, (1.0, 4e5), id="below-the-limit"),
        pytest.param([np.inf, np.nan], LIMITS, (1.0, 4e5), id="only-open"),
        pytest.param([], LIMITS, (1.0, 4e5), id="none"),
        pytest.param([0.0, 0.3], LIMITS, (0.1, 4e5), id="lower"),
        pytest.param([1e-9], LIMITS, (0.01, 4e5), id="next-to-nothing"),
        pytest.param([1e5], Limits(limit_ohm=1e-4, open_ohm=1), (1e-5, 4.0), id="tiny-limit"),
    ],
)
def test_the_axis_of_resistance_holds_limit_and_readings(
    ohm: list[float], limits: Limits, expected: tuple[float, float]
) -> None:
    assert figures._ends(np.array(ohm), limits) == pytest.approx(expected)


def test_silent_signals_can_be_drawn(found: Gathered) -> None:
    silent = dict.fromkeys(found.replay.signals, Samples.empty())
    bare = dataclasses.replace(found.replay, signals=silent, findings=())
    assert set(drawings(bare, found.shown)) >= {"record"}


DAY = 86_400 * S


@pytest.mark.parametrize(
    ("start", "marked"),
    [
        pytest.param(quay.START - 3 * DAY, False, id="days-before"),
        pytest.param(quay.START + 900 * S, True, id="within"),
    ],
)
def test_a_finding_that_began_before_leaves_the_drawing_its_room(
    found: Gathered, start: int, marked: bool
) -> None:
    lasting = dataclasses.replace(found.findings[0], start=start, end=quay.START + DAY)
    long = dataclasses.replace(found.replay, findings=(lasting,))
    record = _texts(drawings(long, found.shown)["record"])  # a plot without room warns
    assert "finding lasts" in record
    assert (f"{lasting.severity} finding begins" in record) is marked
