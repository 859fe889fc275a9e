"""The board as people meet it, in a real browser."""

from __future__ import annotations

import json
from pathlib import Path
from urllib.parse import quote, urlsplit

import pytest
from argon2 import PasswordHasher
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.remote.webdriver import WebDriver
from selenium.webdriver.remote.webelement import WebElement

from bondtrail.site import Site
from dashboard.access import Access
from store import open_store
from tests.dashboard.browsing import Boards, drawn, is_ours, wait_for_heading
from tests.dashboard.conftest import sqlite_url
from tests.dashboard.live import run_for_a_while
from tests.dashboard.quay import BAD_ID
from tests.services import Browser

PASSWORD = "four grey clamps"


@pytest.fixture
def board(boards: Boards, filled_url: str) -> str:
    return boards.over(filled_url)


def cell_links(driver: WebDriver, grid: str) -> list[WebElement]:
    return driver.find_elements(By.CSS_SELECTOR, f"#{grid} .ag-cell a")


def click_link(browser: Browser, grid: str, text: str) -> None:
    def found(driver: WebDriver) -> WebElement | None:
        return next((a for a in cell_links(driver, grid) if a.text == text), None)

    link = browser.wait(found)
    browser.driver.execute_script("arguments[0].scrollIntoView({block: 'center'})", link)
    browser.wait(found).click()


def test_from_the_stations_to_one_transfer_and_back(browser: Browser, board: str, look) -> None:
    look(f"{board}/", "Stations")
    click_link(browser, "stations-grid", "Rail spot 1")
    wait_for_heading(browser, "Rail spot 1")
    click_link(browser, "station-transfers", "2026-03-02 10:00:00")
    wait_for_heading(browser, "Rail spot 1: transfer of 02 Mar 10:00")
    browser.wait(lambda _: drawn(browser, "transfer-replay"))
    browser.driver.back()
    wait_for_heading(browser, "Rail spot 1")
    assert urlsplit(browser.driver.current_url).path == "/station/rail-1"
    browser.driver.back()
    wait_for_heading(browser, "Stations")


def test_a_deep_link_shows_the_transfer(browser: Browser, board: str, look) -> None:
    look(
        f"{board}/transfer?id={quote(BAD_ID, safe='')}",
        "Rail spot 1: transfer of 02 Mar 10:00",
        anew=True,
    )
    events = browser.wait(lambda d: d.find_elements(By.CSS_SELECTOR, "#transfer-events li"))
    assert "Bond lost" in " ".join(event.text for event in events)


def test_a_click_on_a_day_leads_to_its_station(browser: Browser, board: str, look) -> None:
    look(f"{board}/?from=2026-03-01&to=2026-03-03", "Stations")
    browser.wait(lambda _: drawn(browser, "stations-calendar"))

    def clicked(driver: WebDriver) -> bool:
        """Click the top row until it leads somewhere: what stands above may still grow."""
        layers = driver.find_elements(By.CSS_SELECTOR, "#stations-calendar .nsewdrag")
        if layers:
            driver.execute_script("arguments[0].scrollIntoView({block: 'center'})", layers[0])
            top_row = 8 - layers[0].size["height"] // 2
            mouse = ActionChains(driver)
            mouse.move_to_element_with_offset(layers[0], 0, top_row).pause(0.3).click().perform()
        return "/station/" in driver.current_url

    browser.wait(clicked)
    wait_for_heading(browser, "Rail spot 1")
    assert urlsplit(browser.driver.current_url).query == "from=2026-03-01&to=2026-03-03"


def test_findings_are_narrowed_by_address(browser: Browser, board: str, look) -> None:
    look(f"{board}/station/rail-1", "Rail spot 1")
    browser.wait(lambda d: d.find_element(By.PARTIAL_LINK_TEXT, "Critical 1")).click()
    browser.wait(lambda d: "severity=critical" in d.current_url)
    rows = "#station-findings .ag-center-cols-container .ag-row"
    browser.wait(lambda d: len(d.find_elements(By.CSS_SELECTOR, rows)) == 1)


def test_a_usual_period_is_one_click_away(browser: Browser, board: str, look) -> None:
    look(f"{board}/?from=2026-03-02&to=2026-03-02", "Stations")
    browser.wait(lambda d: d.find_element(By.LINK_TEXT, "All")).click()
    browser.wait(lambda d: "from=2026-03-01&to=2026-03-03" in d.current_url)
    wait_for_heading(browser, "Stations")


def test_from_an_operator_position_to_the_station_that_calls_most(
    browser: Browser, boards: Boards, desks_url: str, look
) -> None:
    look(f"{boards.over(desks_url)}/", "Stations")
    browser.wait(lambda d: d.find_element(By.LINK_TEXT, "Alarms")).click()
    wait_for_heading(browser, "Alarms")
    browser.wait(lambda _: drawn(browser, "alarms-bars"))
    click_link(browser, "alarms-positions", "Bay desk")
    browser.wait(lambda d: "position=Bay+desk" in d.current_url)
    browser.wait(lambda d: "Bay desk: 2 alarms" in d.find_element(By.ID, "page").text)
    click_link(browser, "alarms-each", "Road bay 1")
    wait_for_heading(browser, "Road bay 1")


def test_everything_is_reached_by_the_keyboard_and_shows_its_focus(
    browser: Browser, board: str, look
) -> None:
    look(f"{board}/", "Stations", anew=True)
    browser.wait(lambda d: cell_links(d, "stations-grid"))
    body = browser.driver.find_element(By.TAG_NAME, "body")
    seen, outlined = [], []
    body.send_keys(Keys.TAB)
    for _ in range(14):
        told = browser.driver.execute_script(
            "const e = document.activeElement, s = getComputedStyle(e);"
            "return [e.textContent.slice(0, 40) || e.getAttribute('aria-label'),"
            " s.outlineStyle, parseFloat(s.outlineWidth)]"
        )
        seen.append(told[0])
        outlined.append(told[1] != "none" and told[2] >= 2)
        browser.driver.switch_to.active_element.send_keys(Keys.TAB)
    assert seen[0] == "Skip to the page"
    assert {"Bondtrail", "Stations", "Compliance", "Alarms", "All"} <= set(seen)
    assert all(outlined[: seen.index("All") + 1])


def test_a_station_is_opened_by_the_keyboard(browser: Browser, board: str, look) -> None:
    look(f"{board}/", "Stations")
    link = browser.wait(lambda d: cell_links(d, "stations-grid"))[0]
    browser.driver.execute_script("arguments[0].focus()", link)
    browser.driver.switch_to.active_element.send_keys(Keys.ENTER)
    wait_for_heading(browser, "Rail spot 1")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_page_follows_the_scheme_of_the_system(
    browser: Browser, board: str, look, scheme: str
) -> None:
    browser.show(1440, 900, scheme)
    look(f"{board}/", "Stations", anew=scheme == "dark")
    ink, paper = (
        sum(json.loads(f"[{colour[colour.index('(') + 1 : -1]}]")[:3])
        for colour in browser.driver.execute_script(
            "const s = getComputedStyle(document.body); return [s.color, s.backgroundColor]"
        )
    )
    assert (ink < paper) == (scheme == "light")
    assert abs(ink - paper) > 450


def test_the_scheme_can_be_switched(browser: Browser, board: str, look) -> None:
    look(f"{board}/", "Stations")
    scheme = "return document.documentElement.dataset.mantineColorScheme"
    before = browser.driver.execute_script(scheme)
    browser.driver.find_element(By.CLASS_NAME, "scheme").click()
    browser.wait(lambda d: d.execute_script(scheme) != before)
    browser.driver.find_element(By.CLASS_NAME, "scheme").click()
    browser.wait(lambda d: d.execute_script(scheme) == before)


def test_compliance_is_reached_from_every_page_and_leads_to_a_transfer(
    browser: Browser, board: str, look
) -> None:
    look(f"{board}/station/rail-1", "Rail spot 1")
    browser.driver.find_element(By.LINK_TEXT, "Compliance").click()
    wait_for_heading(browser, "Compliance")
    browser.wait(lambda d: d.title == "Compliance - Bondtrail")
    browser.wait(lambda _: drawn(browser, "compliance-course"))
    browser.wait(lambda _: drawn(browser, "compliance-pareto"))
    click_link(browser, "compliance-failed", "2026-03-02 10:00:00")
    wait_for_heading(browser, "Rail spot 1: transfer of 02 Mar 10:00")


def test_a_shift_is_one_click_away_and_keeps_the_period(browser: Browser, board: str, look) -> None:
    look(f"{board}/compliance?from=2026-03-02&to=2026-03-03", "Compliance")
    browser.wait(lambda d: d.find_element(By.LINK_TEXT, "early")).click()
    browser.wait(lambda d: "from=2026-03-02&to=2026-03-03&shift=early" in d.current_url)
    browser.wait(lambda d: "shift early" in d.find_element(By.CLASS_NAME, "sub").text)


def test_the_report_of_the_period_is_downloaded(
    browser: Browser, board: str, look, tmp_path: Path
) -> None:
    behaviour = {"behavior": "allow", "downloadPath": str(tmp_path)}
    browser.driver.execute_cdp_cmd("Browser.setDownloadBehavior", behaviour)
    look(f"{board}/compliance", "Compliance")
    button = browser.wait(lambda d: d.find_element(By.ID, "compliance-html"))
    browser.driver.execute_script("arguments[0].scrollIntoView({block: 'center'})", button)
    button.send_keys(Keys.ENTER)
    name = "compliance-quay-2026-03-01-to-2026-03-03.html"
    browser.wait(lambda _: (tmp_path / name).is_file())
    browser.wait(lambda d: d.find_element(By.ID, "compliance-said").text == f"{name} is ready.")
    assert "Test Quay" in (tmp_path / name).read_text()


@pytest.mark.parametrize(
    ("path", "heading"),
    [
        ("/", "Stations"),
        ("/compliance", "Compliance"),
        ("/station/rail-1", "Rail spot 1"),
        ("/transfer?id=rail-1/x", "No such transfer"),
        ("/alarms", "Alarms"),
    ],
)
def test_a_narrow_screen_needs_no_sideways_scrolling(
    browser: Browser, board: str, look, path: str, heading: str
) -> None:
    browser.show(420, 900)
    look(board + path, heading, anew=True)  # as a colleague does to whom the address was sent
    undrawn = "figure:not(:has(.main-svg)), .grid:not(:has(.ag-root))"
    browser.wait(lambda d: not d.find_elements(By.CSS_SELECTOR, undrawn))
    assert browser.driver.execute_script("return document.documentElement.scrollWidth") <= 420


@pytest.mark.parametrize(
    ("path", "heading"),
    [
        ("/not/of/the/board", "There is no such page"),
        ("/station/rail-99", "No such station"),
        ("/station/rail-1?from=soon", "That period cannot be shown"),
        ("/compliance?area=Nowhere", "There is no such choice"),
        ("/transfer?id=rail-1/20990101T000000.000Z", "No such transfer"),
        ("/transfer", "No transfer is named"),
    ],
)
def test_an_address_that_leads_nowhere_is_answered_in_words(
    browser: Browser, board: str, look, path: str, heading: str
) -> None:
    look(board + path, heading, anew="board" in path)


def test_an_empty_store_is_answered_in_words(boards: Boards, empty_url: str, look) -> None:
    look(f"{boards.over(empty_url)}/", "Nothing to show yet")


def test_a_database_that_is_gone_is_answered_in_words(boards: Boards, gone_url: str, look) -> None:
    look(f"{boards.over(gone_url)}/", "The history cannot be read")


@pytest.fixture
def guarded_url(tmp_path_factory: pytest.TempPathFactory, site: Site) -> str:
    """The address of a store in which Kim may sign in."""
    url = sqlite_url(tmp_path_factory.mktemp("guarded"))
    quick = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    with open_store(url) as store:
        run_for_a_while(store, site)
        store.users.add("Kim Ode", quick.hash(PASSWORD), 0)
    return url


def test_one_signs_in_sees_the_data_and_signs_out(
    browser: Browser, boards: Boards, guarded_url: str
) -> None:
    driver = browser.driver
    browser.show(1440, 900)
    driver.get("about:blank")
    browser.console(), browser.asked_for()
    where = boards.over(guarded_url, Access(sign_in=True))
    driver.get(f"{where}/data?show=silent")
    wait_for_heading(browser, "Sign in")
    assert driver.switch_to.active_element.get_attribute("id") == "name"
    driver.find_element(By.ID, "name").send_keys("kim ode")
    driver.find_element(By.ID, "password").send_keys(PASSWORD + Keys.ENTER)
    wait_for_heading(browser, "Data")
    assert driver.current_url == f"{where}/data?show=silent"
    browser.wait(lambda d: "rail-1.flow" in d.find_element(By.ID, "data-points").text)
    assert driver.find_element(By.CLASS_NAME, "visitor").text == "Kim Ode"
    assert browser.console() == []

    with open_store(guarded_url) as store:
        store.users.disable("Kim Ode", 1)
    driver.find_element(By.LINK_TEXT, "Alarms").click()
    wait_for_heading(browser, "Sign in")
    assert driver.current_url == f"{where}/sign-in?next=%2Falarms"
    assert [line for line in browser.console() if "401" not in line] == []

    with open_store(guarded_url) as store:
        quick = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
        store.users.set_password("Kim Ode", quick.hash(PASSWORD), 2)
    driver.find_element(By.ID, "name").send_keys("Kim Ode")
    driver.find_element(By.ID, "password").send_keys(PASSWORD + Keys.ENTER)
    wait_for_heading(browser, "Alarms")
    driver.find_element(By.CSS_SELECTOR, ".sign-out button").click()
    wait_for_heading(browser, "Sign in")
    assert "You are signed out." in driver.find_element(By.TAG_NAME, "body").text
    driver.back()
    browser.wait(lambda d: d.current_url == f"{where}/sign-in?next=/alarms")
    wait_for_heading(browser, "Sign in")
    assert [url for url in browser.asked_for() if not is_ours(url)] == []
