"""The page of a transfer and `bondtrail replay` tell the same of the demo's transfers."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from analytics.core.typical import by_chance
from analytics.runs import analyse
from bondtrail.cli import main
from bondtrail.site import load_site
from bondtrail.times import NS_PER_S, parse_time
from dashboard.figures.wording import significant, words
from ingest import load_files
from replay_data import demo_files
from store import open_store
from tests.dashboard.conftest import sqlite_url
from tests.dashboard.pages.conftest import Page, Shown

LEVELS = ("low", "typical", "high")
ZONE = ZoneInfo("Europe/Lisbon")
NOW = parse_time("2026-04-10T00:00:00Z")

TRANSFERS = (
    pytest.param("road-1/20260310T063308.610Z", id="clamp off in flow"),
    pytest.param("road-4/20260326T101112.748Z", id="bond unknown"),
    pytest.param("dryer-sieve/20260324T103446.115Z", id="powder through an isolated sieve"),
)


@dataclass(frozen=True)
class Both:
    """One transfer as the page shows it and as the command has it in JSON."""

    page: Shown
    told: dict[str, Any]


@pytest.fixture(scope="session")
def demo_url(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The address of a store with the demo, analysed."""
    url = sqlite_url(tmp_path_factory.mktemp("demo"))
    files = demo_files()
    site = load_site(files.site)
    with open_store(url) as store:
        store.put_site(site, 0)
        load_files(store, site, [*files.readings, files.work, files.batch], now=NOW)
        analyse(store, now=NOW)
    return url


@pytest.fixture
def both(page: Page, demo_url: str, capsys: pytest.CaptureFixture[str]) -> Callable[[str], Both]:
    def told(transfer: str) -> Both:
        capsys.readouterr()
        assert main(["replay", transfer, "--format", "json", "--db", demo_url]) == 0
        return Both(page("transfer", demo_url, id=transfer), json.loads(capsys.readouterr().out))

    return told


def clock(time: str) -> str:
    """Return a time of JSON as the page has it: the site's, cut to milliseconds."""
    second, part = divmod(parse_time(time), NS_PER_S)
    return f"{_local(second):%H:%M:%S}.{part // 1_000_000:03d}"


def _local(second: int) -> Any:
    import datetime as dt

    return dt.datetime.fromtimestamp(second, ZONE)


@pytest.mark.parametrize("transfer", TRANSFERS)
def test_the_same_events_in_the_same_order(both: Callable[[str], Both], transfer: str) -> None:
    found = both(transfer)
    items = [Shown(item).text for item in found.page.by_id("transfer-event-list").children]
    assert len(items) == len(found.told["events"]) > 5
    for item, event in zip(items, found.told["events"], strict=True):
        assert item.startswith(clock(event["time"]))
        said = event["finding"].split("/")[1] if event["finding"] else event["what"]
        assert words(said) in item.lower()
        assert event["finding"] or event["detail"] in item
        assert ("order not certain" in item) is not event["order_certain"]
        assert ("inferred" in item, "nothing known" in item) == (
            event["basis"] == "inferred",
            event["basis"] == "missing",
        )


@pytest.mark.parametrize("transfer", TRANSFERS)
def test_the_same_words(both: Callable[[str], Both], transfer: str) -> None:
    found = both(transfer)
    told, text = found.told, found.page.text
    said = told["in_words"]
    for sentence in (
        *(said["bond"], said["bypass"], said["volume"], told["clocks"]),
        *(each["why"] for each in told["missing"]),
        *(each["summary"] for each in told["findings"]),
        *told["hazard"]["notes"],
        *told["hazard"]["reasons"],
        *told["hazard"]["unseen"],
    ):
        assert sentence in text
    order = [text.index(note) for note in told["hazard"]["notes"]]
    assert order == sorted(order)


@pytest.mark.parametrize("transfer", TRANSFERS)
def test_the_same_estimate(both: Callable[[str], Both], transfer: str) -> None:
    found = both(transfer)
    hazard, text = found.told["hazard"], found.page.text.replace("! ", "")
    for title, name, unit in (
        ("Peak potential", "peak_potential_V", "V"),
        ("Peak energy over what ignites", "mie_ratio", "times"),
        ("Published limit of velocity", "velocity_limit_m_s", "m/s"),
    ):
        values = [hazard[level][name] for level in LEVELS]
        if None not in values:
            assert f"{title} {' '.join(_figure(value, unit) for value in values)}" in text
    firsts = [hazard[level]["first_over_mie"] for level in LEVELS]
    reached = " ".join("never reached" if time is None else clock(time) for time in firsts)
    assert f"First at what ignites {reached}" in text
    for name, each in hazard["inputs"].items():
        assert each["source"] in text, name


def _figure(value: float, unit: str) -> str:
    return f"{significant(value) if value >= 1e-6 else 'below 0.000001'} {unit}"


@pytest.mark.parametrize("transfer", TRANSFERS)
def test_the_same_comparisons(both: Callable[[str], Both], transfer: str) -> None:
    found = both(transfer)
    typical, text = found.told["typical"], found.page.text
    differing = [each for each in typical["comparisons"] if each["differs"]]
    assert text.count("! outside the range") == len(differing)
    first = typical["first_difference"]
    assert (first is None) == (not differing)
    if first is not None:
        assert f"First to differ, at {clock(first['time'])}:" in text
        assert by_chance(first["of"]) in text
