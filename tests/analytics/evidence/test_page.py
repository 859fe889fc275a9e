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
from analytics.evidence.page_facts import CAN_SHOW, CANNOT_SHOW
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


def test_it_never_says_safe_but_to_say_that_nothing_says_so(told: Read) -> None:
    for at in range(len(told.text)):
        if told.text.startswith("safe", at):
            near = told.text[max(0, at - 90) : at + 20]
            assert any(
                word in near
                for word in ("nothing", "never", "not a safety", "not say", "nor", "no ")
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
