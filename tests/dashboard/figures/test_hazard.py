"""The panel of the estimate: three levels told apart, the ignition energy, and what is over it."""

from __future__ import annotations

import numpy as np
import plotly.graph_objects as go
import pytest
from plotly.subplots import make_subplots

from analytics.core.electrostatics.hazard import Course, Figures, Hazard
from analytics.core.electrostatics.inputs import OPPOSITE
from analytics.core.electrostatics.spread import Level, Spread
from dashboard.figures.hazard import MIE, axis_ends, hazard_panel, thinned
from dashboard.figures.steps import Clock

S = 1_000_000_000
CLOCK = Clock(0, "UTC")
SPREAD = Spread(0.2, 0.24, 0.3, "mJ", "made up for a test")
OVER = "At or over the ignition energy"


def hazard(peaks: tuple[float, float, float], mie: Spread | None = SPREAD) -> Hazard:
    """Return an estimate that rises from nothing to a peak at 10 s and falls again to 20 s."""
    courses, figures = {}, {}
    for level, peak in zip(Level, peaks, strict=True):
        energy = np.array([0.0, peak, 0.0])
        courses[level] = Course(np.array([0, 10, 20]) * S, energy, energy, energy, np.zeros(2))
        figures[level] = Figures(peak, peak, peak, None, None, None, None, None, None)
    return Hazard({} if mie is None else {MIE: mie}, figures, courses)


def drawn(told: Hazard) -> go.Figure:
    figure = make_subplots(rows=1, cols=1)
    hazard_panel(figure, told, CLOCK, 1)
    return figure


def test_three_levels_are_told_apart_by_more_than_colour() -> None:
    lines = [t for t in drawn(hazard((0.01, 0.1, 1.0))).data if t.name.startswith("Energy")]
    styles = {(line.line.dash, line.line.width) for line in lines}
    assert {line.name for line in lines} == {"Energy, low", "Energy, typical", "Energy, high"}
    assert len(styles) == 3
    assert len({line.line.color for line in lines}) == 1
    (band,) = [line for line in lines if line.fill]
    assert (band.name, band.fill) == ("Energy, high", "tonexty")
    assert lines[lines.index(band) - 1].name == "Energy, low"  # what it is filled to


def test_the_axis_is_logarithmic_and_reaches_below_the_ignition_energy() -> None:
    figure = drawn(hazard((0.01, 0.1, 1.0)))
    assert figure.layout.yaxis.type == "log"
    assert figure.layout.yaxis.range == pytest.approx((-5, 1))
    assert {"0.00001 mJ", "1 mJ"} <= set(figure.layout.yaxis.ticktext)


@pytest.mark.parametrize(
    ("peaks", "mie", "ends"),
    [
        pytest.param((0, 0, 0), SPREAD, (1e-5, 10), id="no charge at all"),
        pytest.param((0, 0, 0), None, (1e-4, 10), id="nothing to go by"),
        pytest.param((0, 1, 5e4), SPREAD, (1e-5, 1e6), id="far over it"),
        pytest.param((0, 1, 50), None, (1e-3, 1e3), id="ignition energy not known"),
    ],
)
def test_ends_of_the_axis(
    peaks: tuple[float, float, float], mie: Spread | None, ends: tuple[float, float]
) -> None:
    assert axis_ends(hazard(peaks, mie)) == pytest.approx(ends)


def test_nothing_is_drawn_below_the_axis() -> None:
    told = hazard((0.0, 0.1, 1.0))
    low, _ = axis_ends(told)
    for line in drawn(told).data:
        assert np.nanmin(line.y) >= low


def test_the_ignition_energy_is_a_named_line_with_its_spread() -> None:
    figure = drawn(hazard((0.01, 0.1, 1.0)))
    lines = [(s.y0, s.y1) for s in figure.layout.shapes]
    assert (0.24, 0.24) in lines
    assert (0.2, 0.3) in lines
    assert [note.text for note in figure.layout.annotations] == ["ignition energy 0.24 mJ"]


def test_each_level_has_the_ignition_energy_that_goes_with_it() -> None:
    assert [SPREAD.at(OPPOSITE[level]) for level in Level] == [0.3, 0.24, 0.2]


def test_what_is_at_or_over_it_is_drawn_once_more_and_named_once() -> None:
    over = [t for t in drawn(hazard((0.01, 2.4, 24.0))).data if t.name == OVER]
    assert len(over) == 2
    assert [trace.showlegend for trace in over] == [True, False]
    typical = over[0]
    assert typical.y[0] == typical.y[2] == 0.24  # cut where the line crosses
    assert np.isnan(typical.y[-1])
    # On the log axis from 1e-5 to 2.4 mJ in ten seconds: 0.24 is 4.38 of 5.38 decades up.
    assert typical.x[0] == pytest.approx(1e4 * 4.3802 / 5.3802, abs=1)
    assert typical.x[2] == pytest.approx(2e4 - typical.x[0], abs=1)


def test_nothing_is_over_an_energy_that_is_not_known() -> None:
    names = [trace.name for trace in drawn(hazard((1.0, 10.0, 100.0), None)).data]
    assert OVER not in names


def test_exactly_the_ignition_energy_counts() -> None:
    told = hazard((0.01, 0.24, 0.24), Spread.of(0.24, "mJ", "made up for a test"))
    over = [trace for trace in drawn(told).data if trace.name == OVER]
    assert [trace.y[~np.isnan(trace.y)].tolist() for trace in over] == [[0.24] * 3, [0.24] * 3]


def test_thinning_keeps_turns_and_extremes() -> None:
    n = 100_000
    value = np.full(n, 1e-9)
    value[50_000] = 7.0
    time, kept = thinned(np.arange(n, dtype=np.int64), value, 1e-5)
    assert time.tolist() == [0, 49_999, 50_000, 50_001, n - 1]
    assert kept.tolist() == [1e-5, 1e-5, 7.0, 1e-5, 1e-5]


@pytest.mark.parametrize("n", [0, 1, 2])
def test_thinning_of_next_to_nothing(n: int) -> None:
    time, value = thinned(np.arange(n, dtype=np.int64), np.ones(n), 0.1)
    assert (time.size, value.size) == (n, n)


def test_a_noisy_course_is_thinned() -> None:
    n = 216_000
    noise = np.random.default_rng(3).uniform(1, 2, n)
    time, value = thinned(np.arange(n, dtype=np.int64), noise, 1e-5, buckets=1000)
    assert time.size <= 2002
    assert value.max() == noise.max()
