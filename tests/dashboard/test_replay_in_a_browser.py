"""The player of a transfer as people meet it, in a real browser: by hand, by keys, by a link."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from itertools import product
from pathlib import Path
from urllib.parse import quote

import pytest
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.remote.webelement import WebElement

from tests.dashboard.bay import ID
from tests.dashboard.browsing import Boards, wait_for_heading
from tests.dashboard.quay import BAD_ID
from tests.services import Browser

HEADING = "Road bay 1: transfer of 12 Mar 06:15"
START = "06:14:10.000"
"""Ten seconds before the clamp comes on."""
START_S = 6 * 3600 + 14 * 60 + 10
LASTS_S = 200
"""From ten seconds before the clamp comes on to ten after it is off."""


@pytest.fixture
def bay_board(boards: Boards, bay_url: str) -> str:
    return boards.over(bay_url)


@pytest.fixture
def replayed(browser: Browser, bay_board: str, look) -> Callable[..., Browser]:
    """Open the transfer whose clamp came off, at a moment, and wait for its player."""

    def opened(at: str = "") -> Browser:
        moment = f"&at={at}" if at else ""
        look(f"{bay_board}/transfer?id={quote(ID, safe='')}{moment}", HEADING)
        browser.wait(lambda d: d.find_elements(By.CSS_SELECTOR, "#transfer-player[data-ready]"))
        browser.wait(lambda _: line_place(browser) is not None)
        return browser

    return opened


def part(browser: Browser, name: str) -> WebElement:
    return browser.driver.find_element(By.ID, f"transfer-{name}")


def time_told(browser: Browser) -> str:
    return part(browser, "time").text


def told(browser: Browser, name: str) -> str:
    query = f"#transfer-player [data-track='{name}'], #transfer-player [data-curve='{name}']"
    return browser.driver.find_element(By.CSS_SELECTOR, query).text


def marked(browser: Browser) -> list[str]:
    """Return which readings at the cursor are shown as abnormal."""
    query = "#transfer-player dd.is-abnormal, #transfer-player td.is-abnormal"
    found = browser.driver.find_elements(By.CSS_SELECTOR, query)
    return [each.get_attribute("data-track") or each.get_attribute("data-curve") for each in found]


def line_place(browser: Browser) -> float | None:
    """Return where the cursor's line stands on the figure, in pixels; None while it is hidden."""
    return browser.driver.execute_script(
        "const e = document.getElementById('transfer-cursor'), s = getComputedStyle(e);"
        "return s.visibility === 'hidden' ? null : new DOMMatrix(s.transform).m41"
    )


def current_events(browser: Browser) -> list[str]:
    items = browser.driver.find_elements(By.CSS_SELECTOR, "#transfer-events [aria-current]")
    return [item.text for item in items]


def press(browser: Browser, *keys: str) -> None:
    browser.driver.switch_to.active_element.send_keys(*keys)


def focus(browser: Browser, name: str) -> None:
    browser.driver.execute_script("arguments[0].focus()", part(browser, name))


def frames_pass(browser: Browser) -> None:
    """Wait until the page was shown ten times more: what a frame begins is done by then."""
    browser.driver.execute_async_script(
        "const done = arguments[0]; let left = 10;"
        "(function look() { left-- > 0 ? requestAnimationFrame(look) : done(); })()"
    )


def drawings(browser: Browser) -> int:
    """Return how often the figure was drawn since first asked."""
    return browser.driver.execute_script(
        "const g = document.querySelector('#transfer-replay .js-plotly-plot');"
        "if (g.drawings === undefined) {"
        "  g.drawings = 0; g.on('plotly_afterplot', () => g.drawings++); }"
        "return g.drawings"
    )


def test_play_moves_the_cursor_without_drawing_again_and_pause_stops_it(replayed) -> None:
    browser = replayed()
    assert time_told(browser) == START
    part(browser, "speed").send_keys("10 times")
    focus(browser, "play")
    browser.wait(lambda _: line_place(browser) is not None)
    drawings(browser)
    before = line_place(browser)
    browser.asked_for()
    press(browser, Keys.ENTER)
    browser.wait(lambda _: time_told(browser) > "06:14:20")
    assert part(browser, "play").text == "Pause"
    press(browser, Keys.ENTER)
    assert part(browser, "play").text == "Play"
    stopped = time_told(browser), line_place(browser)
    assert stopped[1] > before
    assert "Paused at " + stopped[0] in part(browser, "said").text
    frames_pass(browser)
    assert (time_told(browser), line_place(browser)) == stopped
    assert drawings(browser) == 0
    assert browser.asked_for() == []  # nothing is asked of the server while it plays


def test_it_plays_to_the_end_and_from_the_start_again(replayed) -> None:
    browser = replayed("2026-03-12T06:17:29.000Z")
    part(browser, "speed").send_keys("10 times")
    focus(browser, "play")
    press(browser, Keys.ENTER)
    browser.wait(lambda _: part(browser, "play").text == "Play")
    assert time_told(browser) == "06:17:30.000"
    part(browser, "speed").send_keys("a tenth")  # slow enough for whoever is late to look
    focus(browser, "play")
    press(browser, Keys.ENTER)
    browser.wait(lambda _: "06:14:10" < time_told(browser) < "06:15:00")
    press(browser, Keys.ENTER)


def test_the_keyboard_alone_scrubs_plays_and_steps(replayed) -> None:
    browser = replayed()
    focus(browser, "scrub")
    for keys, expected in [
        ((Keys.ARROW_RIGHT,), "06:14:11.000"),
        ((Keys.SHIFT, Keys.ARROW_RIGHT), "06:14:11.100"),
        ((Keys.ARROW_LEFT,), "06:14:10.100"),
        ((Keys.PAGE_UP,), "06:15:10.100"),
        ((Keys.END,), "06:17:30.000"),
        ((Keys.ARROW_RIGHT,), "06:17:30.000"),
        ((Keys.HOME,), START),
        (("n",), "06:14:20.000"),
        (("n",), "06:14:21.000"),
        (("p",), "06:14:20.000"),
    ]:
        press(browser, *keys)
        assert time_told(browser) == expected
    slider = part(browser, "scrub")
    assert slider.get_attribute("aria-valuenow") == "10.000"
    assert slider.get_attribute("aria-valuetext") == (
        "06:14:20.000, bond low, not yet verified, flow 0 L/min"
    )
    part(browser, "speed").send_keys("real time")  # minutes, before it ends by itself
    focus(browser, "scrub")
    press(browser, Keys.SPACE)
    browser.wait(lambda _: time_told(browser) > "06:14:20.5")
    press(browser, Keys.SPACE)
    assert part(browser, "play").text == "Play"


def test_every_control_is_reached_by_tab_and_shows_its_focus(replayed) -> None:
    browser = replayed()
    focus(browser, "play")
    seen = []
    for _ in range(12):
        name, outlined = browser.driver.execute_script(
            "const e = document.activeElement, s = getComputedStyle(e);"
            "return [e.id, s.outlineStyle !== 'none' && parseFloat(s.outlineWidth) >= 2]"
        )
        seen.append(name)
        assert outlined or name == "transfer-play", name  # that one was not reached by a key
        press(browser, Keys.TAB)
    order = ["play", "previous", "next", "speed", "scrub", "link", "copy", "compare"]
    assert [name for name in seen if name.startswith("transfer-")][: len(order)] == [
        f"transfer-{name}" for name in order
    ]


def test_next_event_goes_to_it_and_the_list_follows_while_the_page_stays(replayed) -> None:
    browser = replayed("2026-03-12T06:15:30.000Z")
    assert ["Flow on" in text for text in current_events(browser)] == [True]
    top = browser.driver.execute_script("return window.scrollY")
    part(browser, "next").click()
    assert time_told(browser) == "06:16:00.000"
    current = current_events(browser)
    assert "Bond lost" in current[0]
    assert any("Critical" in text for text in current)
    assert part(browser, "said").text.startswith(
        "06:16:00.000: ! Bond lost open circuit, for 20 s; Clamp off for 20 s inferred; "
    )
    for _ in range(9):
        part(browser, "next").click()
    assert "There is no next event." in part(browser, "said").text
    shown = browser.driver.execute_script(
        "const l = document.getElementById('transfer-event-list').getBoundingClientRect();"
        "const e = document.querySelector('[aria-current]').getBoundingClientRect();"
        "return e.top >= l.top - 1 && e.bottom <= l.bottom + 1"
    )
    assert shown
    assert browser.driver.execute_script("return window.scrollY") == top


def test_an_event_is_gone_to_by_a_click_or_by_the_arrows_in_the_list(replayed) -> None:
    browser = replayed()
    events = browser.driver.find_elements(By.CSS_SELECTOR, "#transfer-event-list li")
    lost = next(event for event in events if "Bond lost" in event.text)
    browser.driver.execute_script("arguments[0].click()", lost)
    assert time_told(browser) == "06:16:00.000"
    focus(browser, "event-list")
    press(browser, Keys.ARROW_DOWN)
    assert time_told(browser) == "06:16:20.000"
    press(browser, Keys.ARROW_UP)
    assert time_told(browser) == "06:16:00.000"


def test_the_readings_at_the_cursor_are_in_words(replayed) -> None:
    browser = replayed("2026-03-12T06:16:19.999Z")
    assert told(browser, "bond") == "open circuit"
    assert told(browser, "resistance") == "open circuit"
    assert told(browser, "flow") == "600 L/min"
    assert told(browser, "volume") == "800.0 L"
    assert (told(browser, "permissive"), told(browser, "bypass")) == ("closed", "off")
    # 600 L/min through 0.1 m: 1.27 m/s, 2.5e-5 (v d)^2 = 0.405 uA; 20 s onto 1 nF: 8.1 kV
    assert told(browser, "potential-high") == "8,100 V"
    assert told(browser, "energy-high") == "33 mJ"
    assert told(browser, "ratio-high") == "140"
    assert marked(browser) == ["bond", "ratio-high"]  # 160 V is 0.013 mJ, a twentieth of 0.24 mJ
    # 1.0e-5 (v d)^2 = 0.162 uA through 1e9 ohm: I R = 160 V
    assert told(browser, "potential-typical") == "160 V"
    focus(browser, "scrub")
    press(browser, Keys.ARROW_RIGHT)
    assert told(browser, "bond") == "low, not yet verified"
    assert told(browser, "potential-high") == "below 1 V"
    assert told(browser, "energy-high") == "below 0.00001 mJ"
    assert told(browser, "ratio-high") == "below 0.0001"
    assert marked(browser) == []
    press(browser, Keys.HOME)
    assert told(browser, "volume") == "0.0 L"


def test_the_quantity_is_told_as_at_least_where_not_all_was_measured(replayed) -> None:
    said = replayed().driver.execute_script(
        """
        const bytes = (kind, list) => btoa(String.fromCharCode(...new Uint8Array(
            new kind(list).buffer)));
        const volume = {
          time: {t: "u2", b: bytes(Uint16Array, [0, 1000])},
          value: {t: "f4", b: bytes(Float32Array, [0, 12.68])},
          unit: "L", decimals: 1, floor: 0, power: 1, least: [200, 500],
        };
        const read = bondtrailReplay.readers({tracks: {}, curves: {volume}}).curve.volume;
        return [200, 201, 500, 501, 1000].map((moment) => read(moment).text);
        """
    )
    assert said == ["2.5 L", "not known", "not known", "at least 6.3 L", "at least 12.6 L"]


def test_a_link_opens_at_its_moment_and_the_address_follows(replayed) -> None:
    browser = replayed("2026-03-12T06:15:30.250Z")
    assert time_told(browser) == "06:15:30.250"
    focus(browser, "scrub")
    press(browser, Keys.ARROW_RIGHT)
    address = part(browser, "link").get_attribute("href")
    assert address.endswith(f"/transfer?id={ID}&at=2026-03-12T06:15:31.250Z")
    browser.wait(lambda d: d.current_url == address)
    browser.driver.refresh()
    wait_for_heading(browser, HEADING)
    browser.wait(lambda _: time_told(browser) == "06:15:31.250")


HOLD = """
const [set, clear] = [window.setTimeout, window.clearTimeout], acts = new Map();
let last = 1e9;
window.setTimeout = (act, ms, ...rest) => {
  if (ms !== 400) return set(act, ms, ...rest);
  acts.set(++last, act);
  return last;
};
window.clearTimeout = (id) => acts.delete(id) || clear(id);
window.held = { release: () => {
  [window.setTimeout, window.clearTimeout] = [set, clear];
  acts.forEach((act) => act());
} };
"""
"""Timers of 400 ms, after which the address follows, come when they are let go: never too soon."""


def test_the_way_back_still_leads_back(browser: Browser, bay_board: str, look) -> None:
    look(f"{bay_board}/station/bay-1", "Road bay 1")
    link = browser.wait(lambda d: d.find_elements(By.CSS_SELECTOR, "#station-transfers a"))[0]
    browser.driver.execute_script("arguments[0].click()", link)
    wait_for_heading(browser, HEADING)
    browser.wait(lambda d: d.find_elements(By.CSS_SELECTOR, "#transfer-player[data-ready]"))
    part(browser, "next").click()
    browser.wait(lambda d: d.current_url.endswith("&at=2026-03-12T06:14:20.000Z"))
    browser.driver.execute_script(HOLD)
    part(browser, "next").click()
    browser.driver.back()  # before the address had time to follow
    wait_for_heading(browser, "Road bay 1")
    browser.driver.execute_script("held.release()")
    assert browser.driver.current_url == f"{bay_board}/station/bay-1"
    browser.driver.forward()
    wait_for_heading(browser, HEADING)
    browser.wait(lambda d: d.find_elements(By.CSS_SELECTOR, "#transfer-player[data-ready]"))
    assert time_told(browser) == "06:14:20.000"


def listening(browser: Browser, kind: str) -> int:
    """Return how many listeners the document has for one kind of event."""
    of = {"expression": "document"}
    found = browser.driver.execute_cdp_cmd("Runtime.evaluate", of)["result"]["objectId"]
    told = browser.driver.execute_cdp_cmd("DOMDebugger.getEventListeners", {"objectId": found})
    return sum(each["type"] == kind for each in told["listeners"])


def test_a_page_that_is_left_leaves_nothing_behind(browser: Browser, replayed) -> None:
    replayed()
    assert listening(browser, "pointerup") == 1
    link = browser.driver.find_element(By.CSS_SELECTOR, ".crumb a")
    browser.driver.execute_script("arguments[0].click()", link)
    wait_for_heading(browser, "Stations")
    browser.wait(lambda d: d.execute_script("return window.bondtrailReplay.stop === null"))
    assert listening(browser, "pointerup") == 0


def test_a_figure_that_never_comes_is_waited_for_only_while_its_page_is_there(replayed) -> None:
    looks = replayed().driver.execute_async_script(
        """
        const done = arguments[0], plot = document.createElement("div");
        document.body.append(plot);
        let looks = 0;
        plot.querySelector = () => { looks++; return null; };
        bondtrailReplay.lineOver(plot, plot, {}, new AbortController().signal);
        const seen = [];
        setTimeout(() => { seen.push(looks); plot.remove(); }, 120);
        setTimeout(() => seen.push(looks), 200);
        setTimeout(() => { seen.push(looks); done(seen); }, 400);
        """
    )
    assert looks[0] > 1
    assert looks[1] == looks[2]


@pytest.mark.parametrize(
    ("setting", "said"),
    [
        pytest.param("granted", "The link is copied.", id="where the browser lets it"),
        pytest.param("denied", "Copy it from here: {link}", id="where it does not"),
    ],
)
def test_the_link_is_copied_or_else_told(
    browser: Browser, bay_board: str, replayed, setting: str, said: str
) -> None:
    permissions = "clipboard-read", "clipboard-write"
    replayed("2026-03-12T06:15:30.250Z")
    for name in permissions:
        permit(browser, bay_board, name, setting)
    link = part(browser, "link").get_attribute("href")
    part(browser, "copy").click()
    browser.wait(lambda _: part(browser, "said").text == said.format(link=link))
    assert link.endswith("&at=2026-03-12T06:15:30.250Z")
    if setting == "granted":
        read = "navigator.clipboard.readText().then(arguments[0])"
        assert browser.driver.execute_async_script(read) == link
    browser.driver.execute_cdp_cmd("Browser.resetPermissions", {})


def permit(browser: Browser, origin: str, name: str, setting: str) -> None:
    asked = {"permission": {"name": name}, "setting": setting, "origin": origin}
    browser.driver.execute_cdp_cmd("Browser.setPermission", asked)


def test_the_typical_transfer_is_laid_over_and_taken_away(replayed) -> None:
    browser = replayed()
    laid = (
        "return document.querySelector('#transfer-replay .js-plotly-plot')"
        ".data.filter((t) => t.meta === 'typical').map((t) => t.visible)"
    )
    assert browser.driver.execute_script(laid) == [False] * 4
    button = part(browser, "compare")
    browser.driver.execute_script("arguments[0].focus()", button)
    press(browser, Keys.ENTER)
    browser.wait(lambda d: d.execute_script(laid) == [True] * 4)
    assert button.get_attribute("aria-pressed") == "true"
    press(browser, Keys.ENTER)
    browser.wait(lambda d: d.execute_script(laid) == [False] * 4)
    assert button.get_attribute("aria-pressed") == "false"


@pytest.mark.parametrize("element", ["#transfer-replay .nsewdrag", "#transfer-scrub .player-rail"])
def test_a_press_on_the_figure_and_on_the_slider_moves_the_cursor(replayed, element: str) -> None:
    browser = replayed()
    target, width = shown_whole(browser, element)
    aside = width // 4
    ActionChains(browser.driver).move_to_element_with_offset(target, -aside, 0).click().perform()
    browser.wait(lambda _: time_told(browser) != START)
    assert seconds_told(browser) == pytest.approx(LASTS_S * (0.5 - aside / width), abs=pixel(width))


def test_a_drag_on_the_slider_takes_the_cursor_along(replayed) -> None:
    browser = replayed()
    rail, width = shown_whole(browser, "#transfer-scrub .player-rail")
    mouse = ActionChains(browser.driver).move_to_element(rail).click_and_hold()
    mouse.move_by_offset(width // 4, 60).perform()  # off the slider, as hands do
    assert seconds_told(browser) == pytest.approx(0.75 * LASTS_S, abs=2 * pixel(width))
    ActionChains(browser.driver).release().move_by_offset(-50, -60).perform()
    assert seconds_told(browser) == pytest.approx(0.75 * LASTS_S, abs=2 * pixel(width))


def test_a_press_begun_elsewhere_leaves_the_cursor_alone(replayed) -> None:
    browser = replayed()
    rail, width = shown_whole(browser, "#transfer-scrub .player-rail")
    mouse = ActionChains(browser.driver).move_to_element(part(browser, "time")).click_and_hold()
    mouse.move_to_element(rail).move_by_offset(width // 4, 0).release().perform()
    assert time_told(browser) == START


def shown_whole(browser: Browser, element: str) -> tuple[WebElement, int]:
    """Return an element that is in view, with its width in pixels."""
    browser.driver.execute_script("window.scrollTo(0, 0)")
    target = browser.driver.find_element(By.CSS_SELECTOR, element)
    return target, target.rect["width"]


def pixel(width: int) -> float:
    """Return how long a pixel of the figure lasts; a press is that fine. [s]"""
    return LASTS_S / width


def seconds_told(browser: Browser) -> float:
    """Return how far the cursor is from the start. [s]"""
    hour, minute, second = time_told(browser).split(":")
    return 3600 * int(hour) + 60 * int(minute) + float(second) - START_S


def test_a_closer_look_turns_its_page_when_the_cursor_leaves_it(replayed) -> None:
    browser = replayed()
    browser.driver.execute_script(
        "const g = document.querySelector('#transfer-replay .js-plotly-plot');"
        "Plotly.relayout(g, {'xaxis.range': ['2026-03-12 06:14:10', '2026-03-12 06:14:40']})"
    )
    focus(browser, "scrub")
    press(browser, Keys.PAGE_UP)
    browser.wait(lambda _: line_place(browser) is not None)
    low, high = browser.driver.execute_script(
        "return document.querySelector('#transfer-replay .js-plotly-plot')._fullLayout.xaxis.range"
    )
    assert low < "2026-03-12 06:15:10" < high


def test_less_motion_moves_the_cursor_in_steps(browser: Browser, replayed) -> None:
    features = [{"name": "prefers-reduced-motion", "value": "reduce"}]
    browser.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": features})
    replayed()
    gaps_ms = browser.driver.execute_async_script(
        """
        const done = arguments[0], [play, time] =
            ["play", "time"].map((name) => document.getElementById("transfer-" + name));
        const moved = [], told = () => time.textContent;
        let before = told();
        play.click();
        (function look(now) {
          if (now && told() !== before) { moved.push(now); before = told(); }
          if (moved.length < 3) return requestAnimationFrame(look);
          play.click();
          done([moved[1] - moved[0], moved[2] - moved[1]]);
        })();
        """
    )
    assert min(gaps_ms) >= 500


FITS = """
const box = document.getElementById("transfer-plot"), figure = box.querySelector(".main-svg");
return Math.abs(figure.getBoundingClientRect().width - box.getBoundingClientRect().width) < 2;
"""
"""Whether the figure was drawn in the width that there is."""


def test_narrow_and_wide_need_no_sideways_scrolling(browser: Browser, replayed) -> None:
    replayed()
    for scheme, width in product(["light", "dark"], [420, 1440]):
        browser.show(width, 900, scheme)
        browser.wait(lambda d: d.execute_script(FITS))
        needed = browser.driver.execute_script("return document.documentElement.scrollWidth")
        assert needed <= width, scheme


def test_a_moment_that_cannot_be_read_is_told_and_the_replay_begins(replayed) -> None:
    browser = replayed("noon")
    assert "cannot be read" in browser.driver.find_element(By.CSS_SELECTOR, ".warning").text
    assert time_told(browser) == START


def test_the_evidence_is_downloaded(browser: Browser, replayed, tmp_path: Path) -> None:
    behaviour = {"behavior": "allow", "downloadPath": str(tmp_path)}
    browser.driver.execute_cdp_cmd("Browser.setDownloadBehavior", behaviour)
    replayed()
    focus(browser, "evidence")
    press(browser, Keys.ENTER)
    name = "evidence-bay-1-20260312T061500.000Z.zip"
    browser.wait(lambda _: (tmp_path / name).is_file())
    browser.wait(lambda _: part(browser, "evidence-said").text.startswith(f"{name} is ready."))
    assert part(browser, "player").is_displayed()
    browser.wait(lambda _: part(browser, "evidence").is_enabled())
    digest = hashlib.sha256((tmp_path / name).read_bytes()).hexdigest()
    assert digest in part(browser, "evidence-said").text


def test_evidence_that_cannot_be_made_is_told_in_words(
    browser: Browser, boards: Boards, filled_url: str, look
) -> None:
    address = f"{boards.over(filled_url)}/transfer?id={quote(BAD_ID, safe='')}"
    look(address, "Rail spot 1: transfer of 02 Mar 10:00")
    browser.wait(lambda d: d.find_elements(By.CSS_SELECTOR, "#transfer-evidence"))
    focus(browser, "evidence")
    press(browser, Keys.ENTER)
    browser.wait(lambda _: "There is no evidence" in part(browser, "evidence-said").text)
