"""``--health HOST:PORT``: where a command that stays tells those who watch it how it is."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager, nullcontext
from typing import TYPE_CHECKING, Any, TypeVar

import click

from bondtrail.cli.faults import Fault, print_warning

if TYPE_CHECKING:
    from bondtrail.metrics import Metrics

Command = TypeVar("Command", bound=Any)
Checks = Mapping[str, Callable[[], str | None]]

DEFAULT = "127.0.0.1:8711"
OFF = "off"


def health_option(command: Command) -> Command:
    """Add ``--health HOST:PORT``: where it answers, as ``health``."""
    option = click.option(
        "--health",
        metavar="HOST:PORT",
        default=DEFAULT,
        show_default=True,
        help="Where /healthz, /readyz and /metrics answer; off for nowhere. Where the default is "
        "taken, another port is.",
    )
    decorated: Command = option(command)
    return decorated


def answering(
    address: str, live: Checks, ready: Checks, metrics: Metrics
) -> AbstractContextManager[object]:
    """Return what answers at an address for as long as a block lasts; where that is, is said.

    Raises
    ------
    Fault
        If the address is none, or cannot be listened on.
    """
    if address.strip().lower() == OFF:
        return nullcontext()
    from bondtrail.health import AddressError, HealthServer

    try:
        server = HealthServer(address, live, ready, metrics.registry, may_move=address == DEFAULT)
    except AddressError as exc:
        raise Fault(f"--health: {exc}", "--health off answers nowhere.") from exc
    except OSError as exc:
        raise Fault(
            f"--health {address}: cannot listen there: {exc.strerror or exc}",
            "Take another port; port 0 finds a free one, and off listens nowhere.",
        ) from exc
    moved = f"{address} is taken, so " if server.moved else ""
    print_warning(f"{moved}health and figures are at {server.url}")
    return server
