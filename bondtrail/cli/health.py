"""``--health HOST:PORT``: where a command that stays tells those who watch it how it is."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, TypeVar

import click

from bondtrail.cli.faults import Fault, print_warning

if TYPE_CHECKING:
    from bondtrail.metrics import Metrics

Command = TypeVar("Command", bound=Any)

DEFAULT, OFF = "127.0.0.1:8711", "off"
HEALTH_VARIABLE = "BONDTRAIL_HEALTH"


def health_option(command: Command) -> Command:
    """Add ``--health HOST:PORT``, in the command ``health``."""
    option = click.option(
        "--health",
        metavar="HOST:PORT",
        default=DEFAULT,
        envvar=HEALTH_VARIABLE,
        show_envvar=True,
        show_default=True,
        help="Where /healthz, /readyz and /metrics answer; off: nowhere.",
    )
    decorated: Command = option(command)
    return decorated


@contextmanager
def answering(
    address: str,
    live: Mapping[str, Callable[[], str | None]],
    ready: Mapping[str, Callable[[], str | None]],
    metrics: Metrics,
) -> Iterator[None]:
    """Answer at an address for as long as the block lasts, and say where.

    Raises
    ------
    Fault
        If the address is none, or cannot be listened on.
    """
    if address.strip().lower() == OFF:
        yield
        return
    with _server(address, live, ready, metrics) as server:
        if server.moved:
            print_warning(f"{address} is taken: health is at {server.url}healthz")
        else:
            print(f"Health is at {server.url}healthz", flush=True)
        yield


def _server(address: str, live: Any, ready: Any, metrics: Metrics) -> Any:
    from bondtrail.health import AddressError, HealthServer

    try:
        return HealthServer(address, live, ready, metrics.registry)
    except AddressError as exc:
        raise Fault(f"--health: {exc}", "To have none: --health off") from exc
    except OSError as exc:
        raise Fault(
            f"--health {address}: cannot be listened on: {exc.strerror or exc}",
            "Name another address; port 0 takes any free one, off none.",
        ) from exc
