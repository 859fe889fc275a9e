"""Signing in, seeing what comes in, and signing out again, in a browser."""

from __future__ import annotations

import pytest
from argon2 import PasswordHasher
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from bondtrail.site import Site
from dashboard.access import Access
from store import open_store
from tests.dashboard.browsing import Boards, is_ours, wait_for_heading
from tests.dashboard.conftest import sqlite_url
from tests.dashboard.live import run_for_a_while
from tests.services import Browser

PASSWORD = "four grey clamps"


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
    wait_for_heading(browser, "Sign in")
    assert [url for url in browser.asked_for() if not is_ours(url)] == []
