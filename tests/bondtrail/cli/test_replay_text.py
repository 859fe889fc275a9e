"""What people read of a replay: what was recorded, what is missing, and the order of events."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from analytics.core.events import Basis, Event, What
from analytics.core.metering import Metering
from analytics.core.situation import situation
from analytics.core.typical import Comparison, Typical
from analytics.replay import Held, Missing
from bondtrail.cli.replay_text import MOST_GAPS, print_text
from bondtrail.samples import Samples
from bondtrail.site import Point, Role, StationKind, parse_site
from bondtrail.times import parse_time
from tests.analytics.replay.by_hand import LATE, SITE, TRANSFER, TYPICAL, a_replay, at

Text = Callable[..., str]


@pytest.fixture
def text(capsys: pytest.CaptureFixture[str]) -> Text:
    """The text of the replay by hand, some fields of which are changed."""

    def printed(**changes: Any) -> str:
        print_text(a_replay(**changes))
        return capsys.readouterr().out

    return printed


def row(out: str, marks: str) -> str:
    """The one line of a text in which a pattern is found."""
    (found,) = [line for line in out.splitlines() if re.search(marks, line)]
    return found


def test_the_heading_says_who_what_when_and_by_which_limits(text: Text) -> None:
    out = text().partition("What is missing")[0]
    assert row(out, "^Station ").endswith("Road bay 1 (bay-1), road tanker; Test site (invented)")
    assert "07:00:00.000 to 07:03:20.000 (3:20). Times are Europe/Lisbon." in row(out, "^Replayed")
    assert "flow for 1:00, 812 L" in row(out, "^Transfer")
    assert row(out, "^Product").endswith("naphtha; batch B-17; operator A. Reed")
    assert "verified 8.8 s before the flow began" in row(out, "^Bond")
    assert row(out, "^Findings").endswith(
        "critical bond lost in flow; the transfer is NOT compliant"
    )
    assert "clamp changed: 2026-07-01 06:59:00.000" in row(out, "^Work")
    assert "limit_ohm 10" in row(out, "^Limits")


@pytest.mark.parametrize(
    ("lead", "said"),
    [
        pytest.param(8.75, "verified 8.8 s before the flow began; in flow", id="before"),
        pytest.param(-14.5, "verified 14.5 s after the flow began", id="after"),
        pytest.param(None, "not verified when the flow began, nor at any time in it", id="never"),
    ],
)
def test_the_lead_of_the_bond_is_told_in_words(text: Text, lead: float | None, said: str) -> None:
    out = text(transfer=replace(TRANSFER, bond_lead_s=lead))
    assert said in " ".join(out.split())


@pytest.mark.parametrize(
    ("unknown_s", "said"),
    [
        pytest.param(60.0, "not known at any time in the flow", id="all-of-it"),
        pytest.param(
            10.0, "not seen verified when the flow began, nor where it is known in it", id="some"
        ),
    ],
)
def test_a_bond_that_nobody_saw_is_not_told_as_one_that_never_was(
    text: Text, unknown_s: float, said: str
) -> None:
    unseen = replace(TRANSFER, bond_lead_s=None, no_data_s=unknown_s)
    assert said in " ".join(text(transfer=unseen).split())


STEADY = [at(second) for second in range(201)]


def steady(times: list[int], value: float) -> Samples:
    return Samples.of(times, [value] * len(times))


def recorded(
    *roles: Role, told_from: float = 0, kind: str = "road_tanker", ohm: float = 3.0
) -> Any:
    """What is known of the bay where flow runs, and its bond is told from some second on."""
    base = a_replay().station
    points = {role: Point(station="bay-1", role=role, stale_after_s=5) for role in roles}
    station = base.model_copy(update={"points": points, "kind": StationKind(kind)})
    signals = {
        Role.RESISTANCE: steady([t for t in STEADY if t >= at(told_from)], ohm),
        Role.FLOW: Samples.of(STEADY, [812.0 * (at(20) <= t < at(80)) for t in STEADY]),
        Role.BYPASS: steady([t for t in STEADY if t < at(55)], 0.0),
    }
    held = {role: signals[role] for role in roles}
    now = situation(station, held, (at(0), at(200)))
    return {"station": station, "signals": held, "now": now}


@pytest.mark.parametrize(
    ("more", "said"),
    [
        pytest.param({}, "verified when the flow began; in flow", id="verified"),
        pytest.param({"ohm": 50.0}, "not verified when the flow began; in flow", id="not"),
        pytest.param({"told_from": 30}, "not known when the flow began; in flow", id="not-known"),
    ],
)
def test_the_bond_of_a_fixed_item_is_told_as_it_was_when_flow_began(
    text: Text, more: dict[str, Any], said: str
) -> None:
    shown = recorded(Role.RESISTANCE, Role.FLOW, kind="fixed_item", **more)
    assert f"Bond {said}" in " ".join(
        text(transfer=replace(TRANSFER, bond_lead_s=None), **shown).split()
    )


def test_a_bond_that_was_unknown_before_it_was_verified_is_told_so(text: Text) -> None:
    out = text(
        transfer=replace(TRANSFER, bond_lead_s=-11.0),
        **recorded(Role.RESISTANCE, Role.FLOW, told_from=30),
    )
    assert "verified 11.0 s after the flow began, not known for 10.0 s until then" in " ".join(
        out.split()
    )


@pytest.mark.parametrize(
    ("roles", "bypassed_s", "said"),
    [
        pytest.param((), 0.0, "bypass not recorded", id="no-point"),
        pytest.param((Role.FLOW,), 0.0, "bypass not recorded", id="no-such-point"),
        pytest.param(
            (Role.FLOW, Role.BYPASS), 2.0, "bypassed for 2.0 s, bypass unknown for 21.0 s",
            id="silent-from-59-s-on",
        ),
    ],
)  # fmt: skip
def test_a_bypass_that_nobody_recorded_is_not_told_as_off(
    text: Text, roles: tuple[Role, ...], bypassed_s: float, said: str
) -> None:
    shown = recorded(*roles) if roles else {}
    out = text(transfer=replace(TRANSFER, bypassed_s=bypassed_s), **shown)
    assert f"; {said}; 1 trip" in " ".join(out.split())


WAITS = Missing("results", at(0), at(200), "readings came since")


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        pytest.param(
            {"transfer": None, "typical": None, "findings": [], "missing": [WAITS]},
            "Findings not analysed yet: bondtrail analyse",
            id="never",
        ),
        pytest.param(
            {"missing": [replace(WAITS, start=at(50))]},
            "compliant; from 2026-07-01 07:00:50 on not analysed yet: bondtrail analyse",
            id="from-within-on",
        ),
        pytest.param(
            {"missing": [WAITS]},
            "compliant, by an analysis before its last readings came: bondtrail analyse",
            id="not-since",
        ),
    ],
)
def test_what_was_not_analysed_is_not_told_as_nothing_found(
    text: Text, changes: dict[str, Any], said: str
) -> None:
    assert said in " ".join(text(waiting=True, **changes).split())


@pytest.mark.parametrize(
    ("spans_s", "said"),
    [
        pytest.param(([(20, 80)], [], []), "flow for 1:00, 812 L", id="measured"),
        pytest.param(
            ([(20, 60)], [(60, 80)], []),
            "flow for 1:00, at least 812 L: the meter told nothing for 20 s of the flow",
            id="in-part",
        ),
        pytest.param(
            ([], [(20, 80)], []),
            "flow for 1:00, volume not known: the meter told nothing of the flow",
            id="none-of-it",
        ),
    ],
)
def test_a_volume_says_what_was_not_measured(
    text: Text, spans_s: tuple[list[tuple[float, float]], ...], said: str
) -> None:
    metering = Metering(*(np.array(each, np.int64).reshape(-1, 2) * 10**9 for each in spans_s))
    assert said in " ".join(text(metering=metering).split())


def test_what_flowed_at_least_so_far_is_marked(text: Text) -> None:
    events = [Event(at(1), What.FLOW_OFF, volume=812.9, volume_is_least=True)]
    assert row(text(events=events), "flow off").split()[-1] == "812+"


def test_a_compliant_transfer_is_told_as_such_and_no_more(text: Text) -> None:
    out = text(transfer=replace(TRANSFER, compliant=True, findings=()), findings=[])
    assert "none in the span; the transfer is compliant" in out


def test_a_limit_that_changed_is_told_with_the_moment(text: Text) -> None:
    tighter = parse_site(SITE.replace("pipe_diameter_m = 0.08", "limit_ohm = 5.0"))
    held = [*a_replay().held, Held(at(50), tighter, tighter.station("bay-1"))]
    assert "from 2026-07-01 07:00:50.000 on: limit_ohm 5" in text(held=held)
    same = [*a_replay().held, Held(at(50), *(a_replay().site, a_replay().station))]
    assert "from 2026-07-01 07:00:50.000 on: as before" in text(held=same)


def missing(out: str) -> str:
    return " ".join(out.partition("What is missing")[2].partition("What happened")[0].split())


@pytest.mark.parametrize(
    ("gaps", "said"),
    [
        pytest.param([], "- Nothing of what the points", id="nothing"),
        pytest.param(
            [Missing("bypass", at(0), at(200), "no point records it")],
            "- bypass: no point records it, throughout",
            id="throughout",
        ),
        pytest.param(
            [Missing("flow", at(30), at(32.5), "silent")],
            "- flow: silent, 2026-07-01 07:00:30.000 to 07:00:32.500 (2.5 s)",
            id="a-stretch",
        ),
    ],
)
def test_what_is_missing_is_told(text: Text, gaps: Sequence[Missing], said: str) -> None:
    assert said in missing(text(missing=gaps))


def test_many_gaps_are_counted(text: Text) -> None:
    gaps = [Missing("flow", at(n), at(n + 0.5), "silent") for n in range(MOST_GAPS + 3)]
    told = missing(text(missing=gaps))
    assert told.count("- flow: silent") == MOST_GAPS
    assert "- and 3 more, 1.5 s in all: --format json has each of them" in told


def test_each_basis_has_its_word_and_its_sign(text: Text) -> None:
    out = text()
    assert row(out, "contact made").startswith("  07:00:10.000  known ")
    assert row(out, "bond verified").startswith("  07:00:11.250  ~ inferred ")
    assert row(out, "flow unknown").startswith("  07:00:30.000  ? missing ")


def test_order_that_cannot_be_told_has_its_sign(text: Text) -> None:
    out = text()
    assert row(out, "permissive opened").startswith("= 07:00:40.125")
    said = " ".join(out.split())
    assert "cannot be told, they lie closer than their points report or their clocks agree" in said


@pytest.mark.parametrize(
    ("written", "within"),
    [
        pytest.param("", "within 0 s", id="nothing-is-known-of-them"),
        pytest.param("clock_error_s = 0.25", "within 0.25 s", id="the-site-file-knows"),
    ],
)
def test_how_far_clocks_are_trusted_is_told_below_the_events(
    text: Text, written: str, within: str
) -> None:
    site = parse_site(SITE.replace("[product", f"{written}\n[product", 1))
    out = text(held=[Held(at(0), site, site.station("bay-1"))])
    below = " ".join(out.partition("\nWhat happened\n")[2].partition("\nBeside")[0].split())
    assert below.endswith(
        "Times are as the devices gave them; their clocks are taken to agree to "
        f"{within} (clock_error_s)."
    )


def test_what_should_not_be_missed_is_marked(text: Text) -> None:
    out = text()
    assert "! bond lost: open circuit" in out
    assert "! contact made" not in out


def test_figures_stand_beside_the_event(text: Text) -> None:
    assert row(text(), "! bond lost").split()[-3:] == ["open", "812.0", "270"]


def test_the_day_stands_where_a_new_one_begins(text: Text) -> None:
    midnight = parse_time("2026-07-01T23:00:00Z")
    events = [
        Event(midnight - 1_000_000, What.AT_START),
        Event(midnight, What.FLOW_ON),
        Event(midnight + 1, What.BOND_UNKNOWN, basis=Basis.MISSING),
    ]
    out = text(events=events).partition("\nWhat happened\n")[2].partition("\nBeside")[0]
    assert re.findall(r"2026-\d\d-\d\d|\d\d:\d\d:\d\d\.\d{3}", out) == [
        *("2026-07-01", "23:59:59.999"),
        *("2026-07-02", "00:00:00.000", "00:00:00.000"),
    ]


def test_the_first_difference_is_told_and_marked(text: Text) -> None:
    out = text()
    assert "Beside the typical transfer: 9 earlier good transfers of naphtha" in out
    assert row(out, "^bond lead, s").split()[3:8] == ["8.75", "61.5", "35.0", "to", "90.0"]
    assert "! yes" in row(out, "^bond lead, s")
    assert "! yes" not in row(out, "^time to bond, s")
    assert "It differed first in bond lead, s: 8.75, and theirs 35.0 to 90.0" in out
    assert (
        "no proof of a cause: by chance alone one more good transfer lies outside the range of 12 "
        "in 2 of 13 cases, for each figure"
    ) in " ".join(out.split())


@pytest.mark.parametrize(
    ("typical", "said"),
    [
        pytest.param(None, "There is no earlier good transfer", id="none"),
        pytest.param(Typical("naphtha", ()), "There is no earlier good transfer", id="empty"),
        pytest.param(
            replace(TYPICAL, first_difference=None),
            "within their range in all that could be compared, which is no proof",
            id="like-the-others",
        ),
        pytest.param(
            Typical("naphtha", ("a", "b"), (replace(LATE, of=2, differs=None),)),
            "too few",
            id="too-few",
        ),
        pytest.param(
            Typical(None, ("a",), (Comparison("trips", at(0), 1.0, None, None, None, 0, None),)),
            "1 earlier good transfer\n",
            id="no-product",
        ),
    ],
)
def test_what_cannot_be_compared_is_told(text: Text, typical: Typical | None, said: str) -> None:
    assert said in text(typical=typical)


def test_an_open_circuit_is_a_word_and_no_number(text: Text) -> None:
    lost = Comparison("resistance_ohm", at(40), math.inf, 3.0, 4.0, math.inf, 12, True)
    events = [Event(at(1), What.BOND_LOST, ohm=math.inf)]
    out = text(typical=replace(TYPICAL, comparisons=(lost,), first_difference=lost), events=events)
    said = out.partition("What the charge")[0]
    assert row(said, "^resistance, ohm").split()[2:7] == ["open", "4.00", "3.00", "to", "open"]
    assert "It differed first in resistance, ohm: open, and theirs 3.00 to open" in said
    assert not re.search(r"\binf\b", said)


def test_a_figure_that_nobody_knows_and_one_that_never_came_are_told_apart(text: Text) -> None:
    unknown = Comparison("bypassed_s", at(80), None, 0.0, 0.0, 0.0, 12, None)
    never = replace(LATE, value=None)
    out = text(typical=replace(TYPICAL, comparisons=(unknown, never), first_difference=never))
    assert row(out, "^bypassed, s").split()[2:4] == ["not", "known"]
    assert " ? " in row(out, "^bypassed, s")
    assert row(out, "^bond lead, s").split()[3] == "never"
    assert "It differed first in bond lead, s: never" in out


def test_a_span_has_no_transfer_to_compare(text: Text) -> None:
    out = text(transfer=None, typical=None)
    assert out.startswith("Replay of bay-1\n")
    assert "this is a span of the record" in out
    assert "Beside the typical" not in out


def test_every_line_fits_a_report_whatever_the_names_are(text: Text) -> None:
    long = "Wide " * 40
    station = a_replay().station.model_copy(update={"name": long})
    out = text(station=station, events=[Event(at(1), What.TRIP, long)])
    assert max(map(len, out.splitlines())) <= 100
