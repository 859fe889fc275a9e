"""One transfer's figure: limit, open circuit, unknown, exposures, findings and trips."""

from __future__ import annotations

import math

import numpy as np
import pytest

from analytics.core.bond import Bond
from analytics.core.runs import Contact, Timeline
from bondtrail.results import Finding, Kind, Severity, Trip, TripCause, TripClass
from bondtrail.samples import Samples
from bondtrail.site import Limits
from dashboard.figures import palette
from dashboard.figures.picture import Lane, Picture, Signal
from dashboard.figures.resistance import FLOOR_OHM, axis_ends
from dashboard.figures.steps import Clock
from dashboard.figures.transfer import replay

S = 1_000_000_000
LIMITS = Limits(limit_ohm=10.0, open_ohm=1000.0, flow_min=5.0)
CLOCK = Clock(3600 * S, "Europe/Lisbon, UTC+01:00")


def states(*runs: tuple[float, int]) -> Timeline:
    """Return a timeline of (until, state) runs from 0 on; seconds."""
    edges = [0, *(round(until * S) for until, _ in runs)]
    return Timeline(np.array(edges, np.int64), np.array([state for _, state in runs], np.uint8))


def picture(**other: object) -> Picture:
    told: dict[str, object] = {
        "start": 0,
        "end": 100 * S,
        "transfer": (20 * S, 80 * S),
        "clock": CLOCK,
        "limits": LIMITS,
        "bond": states((100, Bond.LOW)),
        "flow_unit": "L/min",
    }
    return Picture(**(told | other))  # type: ignore[arg-type]


def signal(values: dict[float, float], stale_s: float = 1000) -> Signal:
    samples = Samples.of([round(t * S) for t in values], list(values.values()))
    return Signal(samples, round(stale_s * S))


def traces(figure, name: str):  # type: ignore[no-untyped-def]
    found = [trace for trace in figure.data if trace.name == name]
    assert len(found) == 1, [trace.name for trace in figure.data]
    return found[0]


def seconds(trace) -> list[float]:  # type: ignore[no-untyped-def]
    """Return where a trace is, in seconds of UTC."""
    return (np.asarray(trace.x, float) / 1000 - 3600).tolist()


def test_resistance_is_on_a_log_axis_with_its_limit_named() -> None:
    figure = replay(picture(resistance=signal({0: 4.0})))
    assert figure.layout.yaxis.type == "log"
    (limit,) = [shape for shape in figure.layout.shapes if shape.line.dash == "dash"]
    assert (limit.y0, limit.y1) == (10.0, 10.0)
    (note,) = [n for n in figure.layout.annotations if "limit" in n.text]
    assert note.text == "limit 10 ohm"
    assert note.y == pytest.approx(1.0)  # the logarithm of 10, as a log axis places notes


def test_open_circuit_is_drawn_at_the_top_and_not_dropped() -> None:
    figure = replay(picture(resistance=signal({0: 4.0, 30: math.inf, 50: 5000.0, 70: 4.0})))
    _, top = axis_ends(picture())
    drawn = traces(figure, "Open circuit")
    assert seconds(drawn) == [30, 50, 50, 70]
    assert set(drawn.y.tolist()) == {top}
    assert figure.layout.yaxis.ticktext[-1] == "open"
    assert figure.layout.yaxis.tickvals[-1] == top
    assert np.isfinite(np.concatenate([t.y for t in figure.data if t.name == "Resistance"])).all()
    assert top > LIMITS.open_ohm


@pytest.mark.parametrize(
    ("lowest", "low"),
    [
        pytest.param(4.0, 1.0, id="a decade below the limit at least"),
        pytest.param(0.3, 0.1, id="the decade of the lowest reading"),
        pytest.param(0.0, FLOOR_OHM, id="zero has no place on a log axis"),
        pytest.param(1e-9, FLOOR_OHM, id="next to nothing"),
    ],
)
def test_the_axis_begins_at_a_decade(lowest: float, low: float) -> None:
    shown = picture(resistance=signal({0: lowest, 10: 4.0}))
    assert axis_ends(shown)[0] == pytest.approx(low)
    line = traces(replay(shown), "Resistance")
    assert line.y.min() >= low * (1 - 1e-9)
    assert line.y[0] == pytest.approx(max(lowest, low))


def test_unknown_is_hatched_and_named() -> None:
    bond = states((10, Bond.LOW), (30, Bond.UNKNOWN), (60, Bond.OPEN), (100, Bond.UNKNOWN))
    hatched = traces(replay(picture(bond=bond)), "Bond unknown")
    assert hatched.fillpattern.shape == "/"
    assert hatched.showlegend
    assert np.nanmin(seconds(hatched)) == 10
    assert np.isnan(hatched.x).sum() == 2


def test_nothing_is_hatched_when_all_is_known() -> None:
    hatched = traces(replay(picture()), "Bond unknown")
    assert len(hatched.x) == 0
    assert not hatched.showlegend


def test_only_flow_without_a_verified_bond_is_coloured() -> None:
    values = {0: math.inf, 10: 4.0, 40: math.inf, 60: 40.0, 70: 4.0, 90: math.inf}
    exposed = np.array([[40 * S, 65 * S]], np.int64)
    figure = replay(picture(resistance=signal(values), exposed=exposed))
    assert seconds(traces(figure, "Flow, open circuit")) == [40, 60]
    assert seconds(traces(figure, "Flow, bond not verified")) == [60, 65]
    grey = [t for t in figure.data if t.name in ("Resistance", "Open circuit", "Above the limit")]
    assert {trace.line.color for trace in grey} == {palette.LINE}


def test_flow_is_drawn_in_its_unit_and_a_missing_meter_is_said() -> None:
    flow = traces(replay(picture(flow=signal({0: 0.0, 20: 800.0, 80: 0.0}))), "Flow")
    assert flow.y.tolist() == [0, 0, 800, 800, 0, 0]
    assert "L/min" in flow.hovertemplate
    said = [note.text for note in replay(picture()).layout.annotations]
    assert "Flow is not measured here" in said


def test_a_lane_shows_on_off_and_unknown_apart() -> None:
    contact = states((20, Contact.OFF), (50, Contact.ON), (100, Contact.UNKNOWN))
    lane = Lane("Permissive", contact, Contact.ON, Contact.UNKNOWN, "closed")
    figure = replay(picture(lanes=[lane]))
    by_text = {trace.hovertemplate: trace for trace in figure.data if trace.hovertemplate}
    closed = by_text["Permissive: closed<extra></extra>"]
    assert seconds(closed)[:2] == [20, 50]
    assert closed.line.width > by_text["Permissive: not closed<extra></extra>"].line.width
    assert by_text["Permissive: unknown<extra></extra>"].line.dash == "dot"


def finding(kind: Kind, severity: Severity, start_s: float, end_s: float) -> Finding:
    span = (round(start_s * S), round(end_s * S))
    return Finding(kind, severity, "rail-1", None, *span, "It was so.", {}, {})


def test_findings_have_a_lane_a_kind_with_colour_and_shape() -> None:
    found = [
        finding(Kind.BOND_LOST_IN_FLOW, Severity.CRITICAL, 40, 60),
        finding(Kind.PERMISSIVE_WITHOUT_BOND, Severity.CRITICAL, -500, 500),
        finding(Kind.NUISANCE_TRIP, Severity.MINOR, 45, 46),
    ]
    figure = replay(picture(findings=found))
    critical, minor = traces(figure, "Critical finding"), traces(figure, "Minor finding")
    assert seconds(critical)[:2] == [40, 60]
    assert seconds(critical)[3:5] == [0, 100]  # cut at the ends of what is shown
    assert set(critical.y) == {"Bond lost in flow", "Permissive without bond"}
    assert critical.marker.symbol != minor.marker.symbol
    assert critical.line.color != minor.line.color
    assert "Nuisance trip" in figure.layout.yaxis4.categoryarray


def test_trips_are_marked_in_every_panel_and_named() -> None:
    trip = Trip("rail-1", 50 * S, "t", TripClass.NUISANCE, TripCause.NO_LOSS_SEEN, False, None, 1.0)
    figure = replay(picture(trips=[trip]))
    marked = traces(figure, "Trip")
    assert seconds(marked) == [50]
    assert marked.hovertext == ("nuisance trip: no loss seen",)
    assert "text" in marked.mode
    lines = [shape for shape in figure.layout.shapes if shape.line.dash == "dot"]
    assert len(lines) == 4


def test_the_time_axis_is_the_sites_and_named() -> None:
    figure = replay(picture(resistance=signal({0: 4.0})))
    assert "Europe/Lisbon, UTC+01:00" in figure.layout.xaxis4.title.text
    assert figure.layout.xaxis4.range == (3600_000.0, 3700_000.0)
    assert figure.layout.xaxis.matches == figure.layout.xaxis3.matches == "x4"


def test_what_lies_outside_the_transfer_is_faded_in_every_panel() -> None:
    faded = [s for s in replay(picture()).layout.shapes if s.fillcolor == palette.FAINT]
    ends = {(s.x0 / 1000 - 3600, s.x1 / 1000 - 3600) for s in faded}
    assert ends == {(0, 20), (80, 100)}
    assert len(faded) == 8


def test_a_transfer_without_any_signal_still_has_a_figure() -> None:
    figure = replay(picture(bond=states((100, Bond.UNKNOWN)), lanes=[]))
    said = [note.text for note in figure.layout.annotations]
    assert "No contacts are recorded here" in said


def test_long_series_are_thinned_and_keep_their_extremes() -> None:
    n = 100_000
    ohm = np.full(n, 4.0)
    ohm[77_777] = 3.21
    ohm[50_001] = math.inf
    samples = Samples.of(np.arange(n) * S // 1000, ohm)
    figure = replay(picture(resistance=Signal(samples, S)))
    line = traces(figure, "Resistance")
    assert line.x.size < 30_000
    assert line.y.min() == pytest.approx(3.21)
    assert seconds(traces(figure, "Open circuit")) == pytest.approx([50.001, 50.002])
