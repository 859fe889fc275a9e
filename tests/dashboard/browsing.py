"""A board served by its own process, and what tests ask of a browser that looks at it."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from urllib.parse import urlsplit

from selenium.webdriver.common.by import By

from tests.services import Browser

SERVE = """
import sys
from dashboard import serve
serve(sys.argv[1], on_ready=lambda url: print(url, flush=True))
"""


@contextmanager
def served(store_url: str) -> Iterator[str]:
    """Serve a board on a free port for as long as the block lasts."""
    process = subprocess.Popen(
        [sys.executable, "-c", SERVE, store_url], stdout=subprocess.PIPE, text=True
    )
    try:
        assert process.stdout is not None
        yield process.stdout.readline().strip().rstrip("/")
    finally:
        process.terminate()
        process.wait(30)
        process.stdout.close()


def is_ours(url: str) -> bool:
    """Tell whether an address is of the board; the browser's own pages ask for chrome: ones."""
    parts = urlsplit(url)
    return parts.scheme in ("data", "blob", "about", "chrome") or parts.hostname == "127.0.0.1"


def wait_for_heading(browser: Browser, text: str) -> None:
    browser.wait(lambda driver: text in [h.text for h in driver.find_elements(By.TAG_NAME, "h1")])


def drawn(browser: Browser, graph: str) -> bool:
    return bool(browser.driver.find_elements(By.CSS_SELECTOR, f"#{graph} .main-svg"))
