"""The player of a six-hour transfer at 10 Hz in headless Chromium, beside an empty frame loop.

It needs Chromium and takes about a minute: run only when asked for.
"""

from __future__ import annotations

import shutil
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

from selenium import webdriver
from selenium.webdriver.chrome.service import Service
from selenium.webdriver.support.wait import WebDriverWait

from benchmarks.replay import HOURS, RATE_HZ, filled
from benchmarks.table import Row
from store import open_store

EARLIER = 5
"""Good transfers of the days before: as few as are called typical."""
WATCHED_MS = 2000
ROUNDS = 3
STEPS = 200
LONGEST_S = 60
"""After so long it gives up."""
AS_MANY = 0.9
"""Of the frames of an empty loop, so many are to be left while it plays."""

# Both loops count the frames that the browser gives to scripts; one of them beside the player.
_FRAMES = """
const [lasts, done] = arguments;
let frames = 0;
const begun = performance.now();
requestAnimationFrame(function count(now) {
  frames += 1;
  const gone = performance.now() - begun;
  if (gone < lasts) requestAnimationFrame(count);
  else done(1000 * frames / gone);
});
"""

# Steps of a minute by the keyboard, each with the layout that it makes needful.
_SCRUB = """
const scrub = document.getElementById("transfer-scrub");
const press = (key) =>
  scrub.dispatchEvent(new KeyboardEvent("keydown", { key, bubbles: true, cancelable: true }));
press("Home");
const begun = performance.now();
for (let k = 0; k < arguments[0]; k++) {
  press("PageUp");
  document.body.getBoundingClientRect();
}
const gone = performance.now() - begun;
const moved = Number(scrub.getAttribute("aria-valuenow"));
return [gone / arguments[0], moved];
"""

_PRESS_PLAY = "document.getElementById('transfer-play').click()"
_MOMENT = "return Number(document.getElementById('transfer-scrub').getAttribute('aria-valuenow'))"
_READY = """
const plot = document.querySelector("#transfer-replay .js-plotly-plot");
const line = document.getElementById("transfer-cursor");
return !!plot && !!line && line.style.transform !== "";
"""


@dataclass(frozen=True, slots=True)
class Measured:
    """Frames in a second with nothing to do and while it plays, and a step of the slider. [ms]"""

    empty: float
    playing: float
    step_ms: float


def measure() -> list[Row]:
    """Watch the page as it plays, and scrub it."""
    with tempfile.TemporaryDirectory() as folder:
        url = f"sqlite:///{Path(folder) / 'bench.db'}"
        with open_store(url) as store:
            wanted = filled(store, EARLIER)
        with _served(url) as board, _browser() as browser:
            address = f"{board}/transfer?id={quote(wanted, safe='')}"
            return list(_rows(_watched(browser, address)))


_SERVE = """
import sys
from dashboard import serve
serve(sys.argv[1], on_ready=lambda url: print(url, flush=True))
"""


@contextmanager
def _served(url: str) -> Iterator[str]:
    """Serve the board in a process of its own: what it does is not to slow the browser's."""
    command = [sys.executable, "-c", _SERVE, url]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        try:
            assert process.stdout is not None
            yield process.stdout.readline().strip().rstrip("/")
        finally:
            process.terminate()


@contextmanager
def _browser() -> Iterator[webdriver.Chrome]:
    options = webdriver.ChromeOptions()
    options.binary_location = _program("chromium", "chromium-browser")
    for flag in ("headless=new", "no-sandbox", "disable-gpu", "window-size=1440,900"):
        options.add_argument(f"--{flag}")
    # Named, so that nothing is looked for, or told, outside this machine.
    driver = webdriver.Chrome(options=options, service=Service(_program("chromedriver")))
    try:
        driver.set_script_timeout(LONGEST_S)
        yield driver
    finally:
        driver.quit()


def _program(*names: str) -> str:
    found = next(filter(None, map(shutil.which, names)), None)
    if found is None:
        sys.exit(f"{names[0]} is not installed: apt-get install chromium chromium-driver")
    return found


def _watched(driver: webdriver.Chrome, address: str) -> Measured:
    driver.get(address)
    WebDriverWait(driver, LONGEST_S).until(lambda driver: driver.execute_script(_READY))
    step_ms, moved_s = driver.execute_script(_SCRUB, STEPS)
    assert moved_s == 60 * STEPS, moved_s
    # In turn, so that what else the machine does falls on both.
    empty, playing = [], []
    for _ in range(ROUNDS):
        empty.append(driver.execute_async_script(_FRAMES, WATCHED_MS))
        driver.execute_script(_PRESS_PLAY)
        playing.append(driver.execute_async_script(_FRAMES, WATCHED_MS))
        driver.execute_script(_PRESS_PLAY)
    played_s = driver.execute_script(_MOMENT) - moved_s
    assert played_s > 60, f"it played {played_s} s"
    return Measured(statistics.median(empty), statistics.median(playing), step_ms)


def _rows(found: Measured) -> tuple[Row, Row]:
    of = f"{HOURS} h at {RATE_HZ} Hz"
    frame_ms = 1000 / found.empty
    return (
        Row(
            f"player of {of}: frames",
            f"{found.playing:.1f} a second",
            f"{found.empty:.1f} in an empty loop",
            found.playing / found.empty,
            f"at least {AS_MANY:.0%} of it",
            found.playing >= AS_MANY * found.empty,
        ),
        Row(
            f"player of {of}: a scrub step",
            f"{found.step_ms:.2f} ms",
            f"{frame_ms:.1f} ms of an empty frame",
            found.step_ms / frame_ms,
            "less than a frame",
            found.step_ms < frame_ms,
        ),
    )


if __name__ == "__main__":
    print(*measure(), sep="\n")
