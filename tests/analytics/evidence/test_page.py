"""The page: all of it said, everything escaped, nothing from elsewhere."""

from __future__ import annotations

import json
from html.parser import HTMLParser
from typing import Any

import pytest

from analytics.evidence import Package
from analytics.evidence.documents import parse_about
from analytics.evidence.manifest import sha256
from analytics.evidence.page import page
from tests.analytics.evidence import quay


class Read(HTMLParser):
    """Which tags there are, with their attributes, and which text."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.texts: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: Any) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.texts.append(data)

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
        "not a safety function", "Of quality", "Not seen:", "MANIFEST",
        sha256(files["readings/flow.parquet"]), "matplotlib", "site/1.toml",
    ):  # fmt: skip
        assert part in told.text, part


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


@pytest.mark.parametrize("character", ["\x1b", "\x00", "\x85", "\u202e", "\u2066"])
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
