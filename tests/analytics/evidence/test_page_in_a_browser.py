"""The page in a Chromium: nothing asked for, nothing run, nothing cut on the screen or on A4."""

from __future__ import annotations

import base64
import json

import pytest

from analytics.evidence import Package
from analytics.evidence.documents import parse_about
from analytics.evidence.page import SECTIONS, page
from tests.analytics.evidence import quay
from tests.services import Browser

HOSTILE = (
    "<script>document.title = 'taken'</script>",
    "\"'><img src=x onerror=\"document.title = 'taken'\">",
    "</style><style>main { display: none }</style>",
    "{{ 7 * 191 }}",
    "A\N{RIGHT-TO-LEFT OVERRIDE}gpj.exe",
    "W" * 200,
)
A4_TEXT_PX = round((210 - 30) / 25.4 * 96)
"""The width of A4 without its margins, at the 96 px an inch of CSS."""


def hostile_page(package: Package) -> bytes:
    """The page, had people and files been named to harm it."""
    files = quay.files_of(package.content)
    documents = {name: json.loads(c) for name, c in files.items() if name.endswith(".json")}
    tag, breakout, style, template, backwards, long = HOSTILE
    ticket = documents["paperwork.json"]["tickets"][0]
    ticket |= {"operator": tag, "batch": long, "product": backwards}
    documents["results.json"]["transfer"] |= {"operator": tag, "batch": long, "product": template}
    documents["reviews.json"][0] |= {"author": breakout, "comment": style}
    documents["replay.json"]["events"][0] |= {"detail": breakout}
    documents["replay.json"]["events"][1] |= {"detail": long}
    about = parse_about(files["about.json"]).model_copy(
        update={"station_name": tag, "site_name": style, "damaged": (breakout,)}
    )
    below = {name: c for name, c in files.items() if name not in ("evidence.html", "MANIFEST")}
    return page(about, documents, below)


@pytest.fixture(scope="module")
def shown(browser: Browser, made: Package, tmp_path_factory: pytest.TempPathFactory) -> Browser:
    """The browser with that page, loaded once: no test changes it."""
    path = tmp_path_factory.mktemp("page") / "evidence.html"
    path.write_bytes(hostile_page(made))
    browser.console()
    browser.asked_for()
    browser.show(1280, 900)
    browser.driver.get(path.as_uri())
    return browser


def test_it_asks_for_nothing_and_runs_nothing(shown: Browser) -> None:
    asked = [url for url in shown.asked_for() if not url.startswith(("data:", "chrome"))]
    assert [url.rpartition("/")[2] for url in asked] == ["evidence.html"]
    assert shown.console() == []
    assert shown.driver.title == f"Evidence: {quay.TRANSFER}"
    assert (
        shown.driver.execute_script("return document.scripts.length + document.images.length") == 0
    )


def test_every_section_is_shown_and_hostile_names_are_text(shown: Browser) -> None:
    heads = shown.driver.execute_script(
        "return [...document.querySelectorAll('main h2')]"
        ".filter(h => h.getBoundingClientRect().height > 0).map(h => h.innerText)"
    )
    assert len(heads) == len(SECTIONS)
    text = shown.driver.execute_script("return document.body.innerText")
    for name in HOSTILE:
        assert name.replace("\N{RIGHT-TO-LEFT OVERRIDE}", "\N{REPLACEMENT CHARACTER}") in text


CUT = """
const page = document.documentElement;
const cut = [...document.querySelectorAll('th, td, p, li, figure, h1')]
  .filter(e => e.scrollWidth > e.clientWidth + 1).map(e => e.innerText.slice(0, 40));
return page.scrollWidth > page.clientWidth ? ['the page', ...cut] : cut;
"""


@pytest.mark.parametrize("media", ["screen", "print"])
def test_nothing_is_cut(shown: Browser, media: str) -> None:
    shown.show(A4_TEXT_PX, 1000)
    shown.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": media})
    try:
        assert shown.driver.execute_script(CUT) == []
    finally:
        shown.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})


def test_times_of_events_stay_on_a_line(shown: Browser) -> None:
    shown.show(A4_TEXT_PX, 1000)
    heights = shown.driver.execute_script(
        "return [...document.querySelectorAll('td.time')].filter(e => !e.innerText.includes(' '))"
        ".map(e => { const r = document.createRange(); r.selectNodeContents(e);"
        " return r.getClientRects().length; })"
    )
    assert heights
    assert set(heights) == {1}


def test_it_prints_on_a4(shown: Browser) -> None:
    options = {"preferCSSPageSize": True, "printBackground": True}
    told = shown.driver.execute_cdp_cmd("Page.printToPDF", options)
    assert base64.b64decode(told["data"]).startswith(b"%PDF-")
