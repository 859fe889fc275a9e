from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import dash
import pytest

from dashboard import create_app
from dashboard.history import KEY, History

Page = Callable[..., "Shown"]


class Shown:
    """A page as it was laid out: its text, and its components by id."""

    def __init__(self, layout: Any) -> None:
        self.components = [layout, *_below(layout)]

    @property
    def text(self) -> str:
        """Everything that the page says, in order."""
        said = [part for part in self.components if isinstance(part, str)]
        return " ".join(said)

    def by_id(self, component_id: str) -> Any:
        """Return the component of an id."""
        found = [c for c in self.components if getattr(c, "id", None) == component_id]
        assert len(found) == 1, f"{component_id}: {len(found)} components"
        return found[0]

    def has(self, component_id: str) -> bool:
        return any(getattr(c, "id", None) == component_id for c in self.components)

    def rows(self, grid_id: str) -> list[dict[str, Any]]:
        return list(self.by_id(grid_id).rowData)

    def links(self) -> dict[str, str]:
        """Return the addresses of links by their text."""
        return {c.children: c.href for c in self.components if type(c).__name__ == "Link"}


def _below(component: Any) -> Iterator[Any]:
    children = getattr(component, "children", None)
    if children is None:
        return
    for child in children if isinstance(children, list | tuple) else [children]:
        yield child
        yield from _below(child)


@pytest.fixture(scope="session")
def app(empty_url: str) -> dash.Dash:
    """The board; Dash keeps pages for the whole process, so there is one."""
    return create_app(empty_url)


@pytest.fixture
def page(app: dash.Dash) -> Iterator[Page]:
    """Lay out a page, by its name and the store's address, as Dash does for a request."""
    opened: list[History] = []

    def shown(name: str, url: str, **query: str) -> Shown:
        history = History(url)
        opened.append(history)
        app.server.config[KEY] = history
        with app.server.test_request_context("/"):
            return Shown(dash.page_registry[f"dashboard.pages.{name}"]["layout"](**query))

    yield shown
    for history in opened:
        history.close()
