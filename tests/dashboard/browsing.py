"""Boards at one address, and what tests ask of a browser that looks at them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlsplit

from flask import Flask
from selenium.webdriver.common.by import By

from bondtrail.serving import WebServer, listen_on, url_of
from dashboard import create_app
from dashboard.access import OPEN, Access
from dashboard.history import KEY
from dashboard.serving import THREADS
from tests.services import Browser

NOWHERE = "/no-such-page"
HEADINGS = "return Array.from(document.querySelectorAll('h1'), (each) => each.innerText.trim())"
GO = "history.pushState({}, '', arguments[0]); dispatchEvent(new PopStateEvent('popstate'))"


@dataclass
class Boards:
    """The boards of a session, one shown at a time, all at one address.

    A browser keeps what it compiled of a board's scripts by their address: with each board at one
    of its own, most of the time would go into compiling the same again.

    Attributes
    ----------
    address : str
        Without a slash at its end.
    shown : tuple of str and Access
        Whose board answers now.
    """

    address: str
    shown: tuple[str, Access] = ("", OPEN)
    made: dict[tuple[str, Access], Flask] = field(default_factory=dict)

    def over(self, store_url: str, access: Access = OPEN) -> str:
        """Show the board over a store from now on; return the address."""
        self.shown = store_url, access
        if self.shown not in self.made:
            self.made[self.shown] = create_app(store_url, access).server
        return self.address

    def __call__(
        self, environ: dict[str, Any], start_response: Callable[..., Any]
    ) -> Iterable[bytes]:
        return self.made[self.shown](environ, start_response)

    def close(self) -> None:
        for server in self.made.values():
            server.config[KEY].close()


@contextmanager
def boards_served() -> Iterator[Boards]:
    """Serve boards on a free port for as long as the block lasts."""
    with listen_on("127.0.0.1", 0) as listening, ThreadPoolExecutor(1) as pool:
        boards = Boards(url_of(listening).rstrip("/"))
        server = WebServer(boards, listening, threads=THREADS)
        serving = pool.submit(server.run)
        try:
            yield boards
        finally:
            server.stop()
            serving.result(timeout=60)
            boards.close()


@dataclass
class Reader:
    """Someone who looks at a board: loads its scripts once, and goes on from page to page."""

    browser: Browser
    boards: Boards
    loaded: tuple[str, Access] | None = None

    def look(self, url: str, heading: str, *, anew: bool = False) -> None:
        """Open an address, as a link of the board does or by loading it, and wait for a heading.

        Parameters
        ----------
        url : str
            Of the board that is shown.
        heading : str
            Of the page that is expected.
        anew : bool
            Load it in any case, as from a bookmark.
        """
        driver = self.browser.driver
        if anew or self.loaded != self.boards.shown or not self._is_inside():
            driver.get("about:blank")
            driver.get(url)
        else:
            driver.execute_script(GO, NOWHERE)  # else parts of the page before might stay
            wait_for_heading(self.browser, "There is no such page")
            driver.execute_script(GO, url)
        self.loaded = self.boards.shown
        wait_for_heading(self.browser, heading)

    def _is_inside(self) -> bool:
        is_page = "return document.getElementById('_pages_content') !== null"
        here = self.browser.driver.current_url
        return here.startswith(f"{self.boards.address}/") and self.browser.driver.execute_script(
            is_page
        )


def is_ours(url: str) -> bool:
    """Tell whether an address is of the board; the browser's own pages ask for chrome: ones."""
    parts = urlsplit(url)
    return parts.scheme in ("data", "blob", "about", "chrome") or parts.hostname == "127.0.0.1"


def wait_for_heading(browser: Browser, text: str) -> None:
    browser.wait(lambda driver: text in driver.execute_script(HEADINGS))


def drawn(browser: Browser, graph: str) -> bool:
    return bool(browser.driver.find_elements(By.CSS_SELECTOR, f"#{graph} .main-svg"))
