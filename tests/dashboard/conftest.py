from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from bondtrail.site import Site, parse_site
from store import open_store
from tests.dashboard import bay, desks
from tests.dashboard.browsing import Boards, Reader, boards_served, is_ours
from tests.dashboard.quay import EARLIEST, LASTING, SITE, fill
from tests.services import Browser


@pytest.fixture(scope="session")
def site() -> Site:
    return parse_site(SITE)


@pytest.fixture(scope="session")
def filled_url(tmp_path_factory: pytest.TempPathFactory, site: Site) -> str:
    """The address of a store with three stations' results, and one station without any."""
    url = sqlite_url(tmp_path_factory.mktemp("filled"))
    with open_store(url) as store:
        fill(store, site)
    return url


@pytest.fixture(scope="session")
def lasting_url(tmp_path_factory: pytest.TempPathFactory, site: Site) -> str:
    """The address of a store where the bowl is isolated from 1 March, 12:00, for 38 hours."""
    url = sqlite_url(tmp_path_factory.mktemp("lasting"))
    with open_store(url) as store:
        fill(store, site)
        store.save_results(LASTING, since=0, since_day=EARLIEST)
    return url


@pytest.fixture(scope="session")
def desks_url(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The address of a store of a site with two operator positions."""
    url = sqlite_url(tmp_path_factory.mktemp("desks"))
    with open_store(url) as store:
        desks.fill(store)
    return url


@pytest.fixture(scope="session")
def bay_url(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The address of a store of one road bay: six good transfers, and one whose clamp came off."""
    url = sqlite_url(tmp_path_factory.mktemp("bay"))
    with open_store(url) as store:
        bay.fill(store)
    return url


@pytest.fixture(scope="session")
def empty_url(tmp_path_factory: pytest.TempPathFactory) -> str:
    url = sqlite_url(tmp_path_factory.mktemp("empty"))
    open_store(url).close()
    return url


@pytest.fixture(scope="session")
def gone_url(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The address of a store that cannot be opened."""
    return sqlite_url(tmp_path_factory.mktemp("gone") / "no" / "such" / "folder")


def sqlite_url(folder: Path) -> str:
    return f"sqlite:///{folder / 'bondtrail.db'}"


@pytest.fixture(scope="session")
def boards() -> Iterator[Boards]:
    with boards_served() as served:
        yield served


@pytest.fixture(scope="session")
def reader(browser: Browser, boards: Boards) -> Reader:
    return Reader(browser, boards)


@pytest.fixture
def look(reader: Reader) -> Iterator[Callable[..., None]]:
    """Open an address and wait for a heading; at the end nothing may have gone wrong."""
    browser = reader.browser
    browser.show(1440, 900)
    browser.console(), browser.asked_for()
    yield reader.look
    assert browser.console() == []
    outside = [url for url in browser.asked_for() if not is_ours(url)]
    assert outside == []
