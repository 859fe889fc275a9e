"""The page: all of it said, everything escaped, nothing from elsewhere."""

from __future__ import annotations

import json
import re
from html.parser import HTMLParser
from typing import Any

import pytest

from analytics.evidence import Package
from analytics.evidence.documents import parse_about
from analytics.evidence.manifest import sha256
from analytics.evidence.page import page
from analytics.evidence.page_events import MOST_REJECTED
from analytics.evidence.page_facts import CAN_SHOW, CANNOT_SHOW
from bondtrail.site import Role
from tests.analytics.evidence import quay


class Read(HTMLParser):
    """Which tags there are, with their attributes, and which text."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.texts: list[str] = []
        self.titles: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: Any) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.texts.append(data)
        if self.tags and self.tags[-1][0] == "h2" and data.strip():
            self.titles.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.texts).split())


@pytest.fixture(scope="module")
def files(made: Package) -> dict[str, bytes]:
    return quay.files_of(made.content)


@pytest.fixture(scope="module")
def told(files: dict[str, bytes]) -> Read:
    return Read(files["evidence.html"].decode())


def again(files: dict[str, bytes], name: str, says: Any) -> str:
    """The page, had one document said something else."""
    documents = {n: json.loads(c) for n, c in files.items() if n.endswith(".json")}
    documents[name] = says
    below = {n: c for n, c in files.items() if n not in ("evidence.html", "MANIFEST")}
    return page(parse_about(files["about.json"]), documents, below).decode()


def test_nothing_runs_and_nothing_comes_from_elsewhere(told: Read, files: dict[str, bytes]) -> None:
    tags = {tag for tag, _ in told.tags}
    assert not tags & {"script", "link", "img", "iframe", "object", "form", "image"}
    for _, attrs in told.tags:
        for name, value in attrs.items():
            assert not name.startswith("on")
            if name in ("href", "src", "xlink:href"):
                assert str(value).startswith("#")
    text = files["evidence.html"].decode()
    assert "@import" not in text
    assert "url(http" not in text
    assert "default-src 'none'" in text


def test_a_drawing_stands_alone(files: dict[str, bytes]) -> None:
    text = files["figures/record.svg"].decode()
    assert text.startswith("<?xml")
    assert 'xmlns="http://www.w3.org/2000/svg"' in text
    assert "<script" not in text
    assert "<image" not in text


def test_all_of_it_is_said(told: Read, files: dict[str, bytes]) -> None:
    for part in (
        "bond lost in flow", "confirmed", "A. Reed", "clamp replaced", "B-7", "limit_ohm",
        "not a safety function", "Good, uncertain, bad", "Not seen by it", "MANIFEST",
        sha256(files["readings/flow.parquet"]), "matplotlib", "site/1.toml",
        *CAN_SHOW, *CANNOT_SHOW,
    ):  # fmt: skip
        assert part in told.text, part


def test_what_it_is_and_can_show_comes_first_and_what_it_rests_on_last(told: Read) -> None:
    assert told.titles == [
        "1. The transfer", "2. What this can show, and what not", "3. The record", "4. Findings",
        "5. The sequence of events", "6. What is missing", "7. What the charge could have been",
        "8. Beside the typical transfer", "9. Reviews", "10. Tickets and work",
        "11. Limits in force", "12. What is on record", "13. What is enclosed, and how to check it",
    ]  # fmt: skip


def test_figures_are_told_in_words_with_their_units(told: Read) -> None:
    for part in (
        "Bore of the pipe 0.1 m site file",
        "Conductivity 1 pS/m site file",
        "Capacitance of the vessel 1,000 pF",
        "bond is low up to 10 ohm limit_ohm",
        "flow counts from 5 L/min flow_min",
        "Quantity 13,333 L",
        "3.01 ohm 800 L/min 0 L",
    ):
        assert part in told.text, part
    for name in ("conductivity_pS_m", "mie_mJ", "pipe_diameter_m", "peak_energy_mJ"):
        assert name not in told.text


@pytest.mark.parametrize("word", ["inf", "infinite", "nan", "None", "null", "True", "False"])
def test_no_word_of_a_program_is_left(told: Read, word: str) -> None:
    assert not re.search(rf"\b{word}\b", told.text)


def test_an_open_circuit_is_told_by_its_word(files: dict[str, bytes]) -> None:
    results = json.loads(files["results.json"])
    results["findings"] = results["findings"][:1]
    results["findings"][0]["evidence"] = {"highest_ohm": "infinite", "lowest_ohm": None}
    text = Read(again(files, "results.json", results)).text
    assert "highest resistance open" in text
    assert "lowest resistance" not in text.partition("4. Findings")[2].partition("5. The")[0]


def test_numbers_behind_a_finding_are_told_in_words(files: dict[str, bytes]) -> None:
    results = json.loads(files["results.json"])
    results["findings"] = results["findings"][:1]
    results["findings"][0]["evidence"] = {"cause": "no_loss_seen", "seconds": 250_770.0}
    text = Read(again(files, "results.json", results)).text
    assert "cause no loss seen; in all 2 d 21 h" in text


@pytest.mark.parametrize("recorded", [True, False])
def test_a_bypass_that_is_not_recorded_is_not_told_as_none(
    files: dict[str, bytes], recorded: bool
) -> None:
    about = parse_about(files["about.json"])
    kept = tuple(each for each in about.points if recorded or each.role is not Role.BYPASS)
    documents = {n: json.loads(c) for n, c in files.items() if n.endswith(".json")}
    text = page(about.model_copy(update={"points": kept}), documents, files).decode()
    found = Read(text).text.partition("4. Findings")[2].partition("5. The sequence")[0]
    assert ("bypassed in flow for 0 s" in found) is recorded


def test_inputs_tell_what_each_level_takes(files: dict[str, bytes]) -> None:
    replay = json.loads(files["replay.json"])
    inputs = replay["hazard"]["inputs"]
    inputs["leakage_ohm"] |= {"taken": {"low": 1e5, "typical": 1e9, "high": "infinite"}}
    spread = {"low": 100.0, "typical": 500.0, "high": 2000.0, "unit": "pF", "taken": None}
    inputs["capacitance_pF"] |= spread
    text = Read(again(files, "replay.json", replay)).text
    assert "low 100 kohm; typical 1,000 Mohm; high without end" in text
    assert "500 pF (100 pF to 2,000 pF); each figure takes what fits its level" in text


def test_events_of_each_day_stand_below_its_date(files: dict[str, bytes]) -> None:
    replay = json.loads(files["replay.json"])
    first = replay["events"][0]
    replay["events"] = [
        first | {"time": time}
        for time in (
            "2026-03-01T23:59:59.999Z",
            "2026-03-02T00:00:00.000Z",
            "2026-03-02T00:00:00.001Z",
        )
    ]
    text = Read(again(files, "replay.json", replay)).text.partition("Seen at")[2]
    told = re.findall(r"On 2026-\d\d-\d\d|\d\d:\d\d:\d\d\.\d{3}", text.partition("6. What")[0])
    assert told == [
        "On 2026-03-01", "23:59:59.999", "On 2026-03-02", "00:00:00.000", "00:00:00.001",
    ]  # fmt: skip


def test_no_estimate_tells_why_and_what_would_not_be_seen(files: dict[str, bytes]) -> None:
    replay = json.loads(files["replay.json"])
    none = {"inputs": {}, "low": None, "typical": None, "high": None, "notes": [], "wait_s": None}
    replay["hazard"] |= none | {"conductivity_class": None, "reasons": ["No bore is known."]}
    text = Read(again(files, "replay.json", replay)).text
    assert "No bore is known." in text
    assert "Not seen by it" in text
    assert "Peak potential" not in text


def with_replay(files: dict[str, bytes], **changes: Any) -> Read:
    """The page, had the replay said something else under some keys."""
    return Read(again(files, "replay.json", json.loads(files["replay.json"]) | changes))


WORDS = {
    "bond": "not known at any time in the flow",
    "bypass": "bypass not recorded",
    "volume": "volume not known: the meter told nothing of the flow",
    "unmeasured": "the meter told nothing of the flow",
}
"""What a replay says where nothing told anything."""


def test_what_is_not_known_of_a_transfer_is_not_told_as_none(files: dict[str, bytes]) -> None:
    text = with_replay(files, in_words=WORDS).text.partition("2. What this can")[0]
    assert "Quantity volume not known: the meter told nothing of the flow" in text
    assert "Bond not known at any time in the flow" in text
    assert "Bypass in flow bypass not recorded" in text
    assert "never verified" not in text


def test_without_a_meter_no_quantity_is_on_record(files: dict[str, bytes]) -> None:
    assert "Quantity not recorded" in with_replay(files, in_words=WORDS | {"volume": ""}).text


def test_what_was_measured_of_a_flow_is_the_least_that_flowed(files: dict[str, bytes]) -> None:
    results = json.loads(files["results.json"])
    some = WORDS | {"unmeasured": "the meter told nothing for 37 s of the flow"}
    replay = json.loads(files["replay.json"]) | {"in_words": some}
    results["transfer"] |= {"not_bonded_s": 20.0, "not_bonded_volume": 266.7}
    results["findings"] = results["findings"][:2]
    for row, volume in zip(results["findings"], (266.7, 0.0), strict=True):
        row["evidence"] = {"volume": volume, "unit": "L"}
    documents = {n: json.loads(c) for n, c in files.items() if n.endswith(".json")}
    documents |= {"replay.json": replay, "results.json": results}
    text = Read(page(parse_about(files["about.json"]), documents, files).decode()).text
    assert "Not bonded in flow 20 s, at least 266 L" in text
    assert "volume at least 266 L" in text
    assert "volume not known" in text.partition("4. Findings")[2]
    assert "Not all that flowed was measured: the meter told nothing for 37 s" in text


@pytest.mark.parametrize(
    ("event", "shown"),
    [
        pytest.param({"ohm": None, "bond": "open"}, "open 800 L/min", id="open"),
        pytest.param({"ohm": None, "bond": "unknown"}, "unknown 800 L/min", id="unknown"),
        pytest.param({"ohm": 4000.0, "bond": "high"}, "4 kohm 800 L/min", id="a-figure"),
        pytest.param(
            {"volume": 812.9, "volume_is_least": True}, "800 L/min at least 812 L", id="least"
        ),
    ],
)
def test_events_tell_open_from_unknown_and_least_from_all(
    files: dict[str, bytes], event: dict[str, Any], shown: str
) -> None:
    first = json.loads(files["replay.json"])["events"][0]
    told = with_replay(files, events=[first | {"flow": 800.0} | event])
    assert shown in told.text.partition("Seen at")[2].partition("6. What is missing")[0]


def test_how_far_clocks_are_trusted_stands_beside_the_order(told: Read) -> None:
    events = told.text.partition("5. The sequence of events")[2].partition("Seen at")[0]
    assert "clocks are taken to agree to within 0 s" in events


def test_lowest_and_highest_are_said_to_leave_an_open_circuit_out(told: Read) -> None:
    assert "of the readings below open: an open circuit has no figure" in told.text


def a_comparison(**changes: Any) -> dict[str, Any]:
    made = {"name": "bond_lead_s", "time": "2026-03-01T06:06:40.000Z", "value": 8.0, "low": 30.0,
            "median": 50.0, "high": 90.0, "of": 9, "differs": True, "open": False}  # fmt: skip
    return made | changes


@pytest.mark.parametrize(
    ("row", "shown"),
    [
        pytest.param({}, "8 s 30 s 50 s 90 s 9 ▲ differs", id="differs"),
        pytest.param(
            {"value": 60.0, "differs": False}, "60 s 30 s 50 s 90 s 9 within", id="within"
        ),
        pytest.param({"value": None}, "never 30 s 50 s 90 s 9 ▲ differs", id="never"),
        pytest.param(
            {"value": None, "differs": None}, "not known 30 s 50 s 90 s 9 not known", id="not-known"
        ),
        pytest.param(
            {"name": "resistance_ohm", "value": None, "open": True, "high": None},
            "open 30 ohm 50 ohm open 9 ▲ differs",
            id="open",
        ),
        pytest.param(
            {"of": 0, "low": None, "median": None, "high": None, "differs": None},
            "8 s \N{EN DASH} \N{EN DASH} \N{EN DASH} 0 too few to tell",
            id="none",
        ),
        pytest.param({"of": 4, "differs": None}, "8 s 30 s 50 s 90 s 4 too few to tell", id="few"),
    ],
)
def test_a_comparison_tells_never_not_known_and_too_few_apart(
    files: dict[str, bytes], row: dict[str, Any], shown: str
) -> None:
    one = a_comparison(**row)
    first = one if one["differs"] else None
    typical = {"transfers": ["a"] * 9, "comparisons": [one], "first_difference": first}
    text = with_replay(files, typical=typical).text.partition("8. Beside")[2]
    assert shown in text
    assert "outside the range of 9 in 2 of 10 cases" in text
    assert ("which is no proof" in text) is (first is None)


def test_no_good_transfer_is_none_to_compare_with(files: dict[str, bytes]) -> None:
    none = {"transfers": [], "comparisons": [], "first_difference": None}
    assert "There is none to compare with." in with_replay(files, typical=none).text


REPLACED = {
    "role": "resistance", "at": "2026-03-09T08:00:00.000Z", "count": 12,
    "first": "2026-03-01T06:15:00.000Z", "last": "2026-03-01T06:15:19.000Z",
    "lowest": 3.0, "highest": None, "open": True,
}  # fmt: skip


@pytest.mark.parametrize(
    ("row", "shown"),
    [
        pytest.param({}, "12 3 ohm to open 2026-03-09 08:00:00.000", id="to-open"),
        pytest.param({"lowest": None}, "12 open 2026-03-09", id="open"),
        pytest.param({"highest": 3.0, "at": None}, "12 3 ohm not known when", id="one-value"),
        pytest.param(
            {"role": "flow", "lowest": 0.0, "highest": 800.0}, "0 L/min to 800 L/min", id="flow"
        ),
        pytest.param({"role": "bypass", "lowest": 0.0, "highest": 1.0}, "12 0 to 1 ", id="contact"),
    ],
)
def test_what_was_replaced_stands_first_and_with_what_it_said(
    files: dict[str, bytes], row: dict[str, Any], shown: str
) -> None:
    one = REPLACED | row
    text = with_replay(files, replaced=[one]).text
    assert f"Mind: of {one['role']} 12 readings gave way to later values" in text
    assert shown in text.partition("6. What is missing")[2].partition("7. What the")[0]


def test_a_record_without_corrections_says_nothing_of_them(told: Read) -> None:
    assert "gave way" not in told.text
    assert "Readings that others took the place of" not in told.text
    assert "Rows that could not be taken" not in told.text


@pytest.mark.parametrize(("number", "told"), [(1, 1), (MOST_REJECTED + 2, MOST_REJECTED)])
def test_rows_that_could_not_be_taken_are_told_with_why(
    files: dict[str, bytes], number: int, told: int
) -> None:
    row = {"role": "flow", "time": "2026-03-01T06:10:00.000Z", "source": "<b>a</b>.csv",
           "where": "line 7", "reason": "flow '-1': expected 0 or more"}  # fmt: skip
    page = with_replay(files, rejected=[row] * number)
    assert page.text.count("<b>a</b>.csv, line 7 flow '-1': expected 0 or more") == told
    assert (f"the first {MOST_REJECTED} of {number}" in page.text) is (number > told)


def test_every_enclosed_file_is_told_for_what_it_is(files: dict[str, bytes]) -> None:
    below = {n: c for n, c in files.items() if n not in ("evidence.html", "MANIFEST")}
    corrected = below | {"readings/flow.replaced.csv": b"x"}
    documents = {n: json.loads(c) for n, c in files.items() if n.endswith(".json")}
    text = Read(page(parse_about(files["about.json"]), documents, corrected).decode()).text
    assert "readings/flow.replaced.csv earlier values, replaced since 1" in text
    assert "readings/flow.csv readings " in text
    assert "rejects.json rows that could not be taken" in text
    assert not re.search(r"\.\w+ \N{EN DASH} \d", text.partition("13. What is")[2])


def test_it_never_says_safe_but_to_say_that_nothing_says_so(told: Read) -> None:
    text = told.text
    found = [match.start() for match in re.finditer("safe", text)]
    assert found
    for at in found:
        near = text[max(0, at - 90) : at + 20]
        assert any(
            word in near for word in ("nothing", "never", "not a safety", "not say", "nor", "no ")
        ), near


def test_what_comes_from_outside_is_text(told: Read, files: dict[str, bytes]) -> None:
    text = files["evidence.html"].decode()
    assert "<b>& sons</b>" not in text
    assert "<i>second</i>" not in text
    assert "Test Quay (invented) <b>& sons</b>" in told.text
    assert "<i>second</i>" in told.text


@pytest.mark.parametrize("character", ["\x1b", "\x00", "\x85", "\u202e", "\u2066", "\u200f"])
def test_no_text_steers_a_screen_or_turns_the_page(files: dict[str, bytes], character: str) -> None:
    papers = json.loads(files["paperwork.json"])
    papers["tickets"][0]["operator"] = f"A{character}B"
    text = again(files, "paperwork.json", papers)
    assert character not in text
    assert "A\N{REPLACEMENT CHARACTER}B" in text


def test_times_are_those_of_the_site_to_the_millisecond(told: Read) -> None:
    assert "2026-03-01 06:06:40.000" in told.text
    assert "Times are Europe/Lisbon" in told.text


def test_no_findings_do_not_look_good(files: dict[str, bytes]) -> None:
    results = json.loads(files["results.json"])
    results["findings"] = []
    assert "does not say that anything was safe" in again(files, "results.json", results)


def test_what_the_rules_do_not_give_again_stands_first(files: dict[str, bytes]) -> None:
    about = parse_about(files["about.json"]).model_copy(
        update={"unexplained": ("finding x: lost",), "damaged": ("block 7",)}
    )
    documents = {n: json.loads(c) for n, c in files.items() if n.endswith(".json")}
    below = {n: c for n, c in files.items() if n != "evidence.html"}
    text = page(about, documents, below).decode()
    assert "finding x: lost" in text
    assert "stored readings cannot be read: block 7" in text
