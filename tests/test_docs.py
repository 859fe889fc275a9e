"""The documents say what is so: their commands exist, their files work, nothing is left out."""

from __future__ import annotations

import re
import tomllib
from importlib import resources
from pathlib import Path

import click
import pytest

from bondtrail import __version__, cli
from bondtrail.results import Kind, TripCause
from bondtrail.site import Limits, parse_site

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
RULES = (ROOT / "docs" / "rules.md").read_text(encoding="utf-8")
MAKEFILE = (ROOT / "Makefile").read_text(encoding="utf-8")

CODE = re.compile(r"```\w*\n(.*?)```|`([^`\n]+)`", re.DOTALL)


def commands_of(text: str, program: str) -> list[list[str]]:
    """Return the words of each command line of ``program`` in a document's code."""
    lines = [line for pair in CODE.findall(text) for line in (pair[0] or pair[1]).splitlines()]
    split = [line.removeprefix(".venv/bin/").split() for line in lines]
    return [words[1:] for words in split if words[:1] == [program] and len(words) > 1]


NAMED = [*commands_of(README, "bondtrail"), *commands_of(DEVELOPERS, "bondtrail")]


@pytest.mark.parametrize("words", NAMED, ids=" ".join)
def test_every_command_in_the_documents_is_understood(words: list[str]) -> None:
    name, *rest = words
    try:
        cli.bondtrail.commands[name].make_context(name, rest, resilient_parsing=False)
    except click.exceptions.Exit:
        pytest.fail(f"bondtrail {' '.join(words)} ends early")


def test_the_readme_names_every_command() -> None:
    assert {words[0] for words in NAMED} == set(cli.bondtrail.commands)


@pytest.mark.parametrize("text", [README, DEVELOPERS], ids=["README", "DEVELOPERS"])
def test_every_make_target_in_the_documents_exists(text: str) -> None:
    targets = {words[0] for words in commands_of(text, "make")}
    assert targets
    assert targets <= set(re.findall(r"^([a-z-]+):", MAKEFILE, re.MULTILINE))


def block(text: str, language: str) -> str:
    found = re.search(rf"```{language}\n(.*?)```", text, re.DOTALL)
    assert found is not None
    return found[1]


def test_the_site_file_of_the_readme_is_a_whole_one() -> None:
    site = parse_site(block(README, "toml"))
    assert [point.name for point in site.points()] == [
        "bay-1.resistance",
        "bay-1.permissive",
        "bay-1.flow",
    ]


def test_the_readme_puts_its_commands_on_the_path_before_it_calls_them() -> None:
    commands = next(lines for lines, _ in CODE.findall(README) if "bondtrail check" in lines)
    assert commands.startswith(". .venv/bin/activate\nbondtrail ")
    assert re.search(r"^VENV := \.venv$", MAKEFILE, re.MULTILINE)


@pytest.mark.parametrize(
    "path", [*ROOT.glob("*.md"), *ROOT.glob("docs/*.md")], ids=lambda path: path.name
)
def test_the_lines_of_a_document_are_wrapped(path: Path) -> None:
    lines = path.read_text(encoding="utf-8").splitlines()
    rows = [line for line in lines if line.startswith("|")]  # a row of a table stays on one line
    assert [line for line in lines if len(line) > 100 and line not in rows] == []


def test_the_readings_of_the_readme_load_with_its_site_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("site.toml").write_text(block(README, "toml"), encoding="utf-8")
    Path("readings.csv").write_text(block(README, "csv"), encoding="utf-8")
    commands = [words for words in commands_of(README, "bondtrail") if words[0] != "demo"]
    begin = commands.index(["check", "--site", "site.toml"])
    for words in commands[begin : begin + 5]:
        assert cli.main(words) == 0, words
    assert [words[0] for words in commands[begin : begin + 6]] == [
        *("check", "load", "analyse", "show", "report", "serve"),
    ]


def test_the_readme_is_in_the_order_of_a_newcomers_questions() -> None:
    marks = ["three people", "make demo", "![", "Your own readings", "Cautions", "pip install"]
    places = [README.index(mark) for mark in marks]
    assert places == sorted(places)


@pytest.mark.parametrize("text", [README, DEVELOPERS, RULES], ids=["README", "DEVELOPERS", "rules"])
def test_what_a_document_links_to_is_there(text: str) -> None:
    targets = re.findall(r"\]\(([^)#:]+)\)", text)
    missing = [target for target in targets if not (ROOT / target).exists()]
    assert missing == []


@pytest.mark.parametrize("path", [*ROOT.glob("docs/*.md")], ids=lambda path: path.name)
def test_what_a_page_links_to_is_there_and_so_is_the_section(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    for target, section in re.findall(r"\]\(([^)#:]*)(?:#([^)]*))?\)", text):
        page = path.parent / target if target else path
        assert page.exists(), target
        headings = re.findall(r"^#+ (.*)$", page.read_text(encoding="utf-8"), re.MULTILINE)
        assert section in ("", *(_anchor(heading) for heading in headings))


def _anchor(heading: str) -> str:
    return re.sub(r"[^\w -]", "", heading.lower()).replace(" ", "-")


def test_developers_are_pointed_to_files_that_are_there() -> None:
    named = re.findall(r"`((?:\w+/)+[\w.]*)`", DEVELOPERS)
    assert [name for name in named if not (ROOT / name).exists()] == []


@pytest.mark.parametrize("name", [*Kind, *TripCause, *Limits.model_fields])
def test_the_rules_page_covers_every_kind_cause_and_limit(name: str) -> None:
    assert f"`{name}`" in RULES


def test_the_version_is_one_and_in_the_changelog() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    changes = (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")
    assert project["version"] == __version__
    assert f"\n## {__version__} " in changes


def test_what_was_tested_is_pinned_by_name_and_version_only() -> None:
    lines = (ROOT / "constraints.txt").read_text(encoding="utf-8").splitlines()
    assert [line for line in lines if not re.fullmatch(r"[A-Za-z0-9._-]+==[\w.]+", line)] == []
    pinned = {line.partition("==")[0].lower().replace("_", "-") for line in lines}
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = project["optional-dependencies"].values()
    wanted = [*project["dependencies"], *(item for extra in extras for item in extra)]
    names = {re.match(r"[A-Za-z0-9._-]+", item)[0].lower().replace("_", "-") for item in wanted}  # type: ignore[index]
    assert names <= pinned


@pytest.mark.parametrize(
    ("package", "file"),
    [
        ("bondtrail", "py.typed"),
        ("replay_data", "site.toml"),
        ("replay_data", "work.csv"),
        ("replay_data", "batch.csv"),
        ("replay_data", "README.md"),
        ("store", "migrations/env.py"),
    ],
)
def test_what_an_installed_bondtrail_needs_is_package_data(package: str, file: str) -> None:
    assert resources.files(package).joinpath(file).is_file()


def test_the_same_checks_run_by_hand_on_commit_and_in_ci() -> None:
    hooks = (ROOT / ".pre-commit-config.yaml").read_text(encoding="utf-8")
    entries = re.findall(r"entry: \.venv/bin/(.*)", hooks)
    recipe = MAKEFILE.partition("\ncheck:")[2].partition("\n\n")[0]
    made = [line.removesuffix(" .") for line in re.findall(r"\$\(BIN\)/(.*)", recipe)]
    assert entries == made
    ci = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    assert re.findall(r"^make \w+", ci, re.MULTILINE) == ["make check", "make compile", "make test"]
    assert 'if ! wait "$checks"' in ci
