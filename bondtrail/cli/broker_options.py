"""Options of the commands that talk to a broker."""

from __future__ import annotations

import functools
import os
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from bondtrail.cli.faults import Fault
from bondtrail.settings import (
    BROKER_CA_VARIABLE,
    BROKER_CERT_VARIABLE,
    BROKER_KEY_VARIABLE,
    BROKER_PASSWORD_VARIABLE,
    BROKER_USER_VARIABLE,
    BROKER_VARIABLE,
    SettingError,
    secret,
)

if TYPE_CHECKING:
    from ingest.live.broker_url import Broker, Version

Command = TypeVar("Command", bound=Callable[..., Any])


def broker_options(command: Command) -> Command:
    """Add ``--broker`` and how to come in; the command is given a ``broker``.

    User and password come from the environment, or from a file that it names.
    """
    return _with_broker(command, is_needed=True)


def optional_broker_options(command: Command) -> Command:
    """Add the same options; the command is given None where no broker is named."""
    return _with_broker(command, is_needed=False)


def _with_broker(command: Command, *, is_needed: bool) -> Command:
    @functools.wraps(command)
    def with_broker(
        *args: Any,
        broker_url: str | None,
        mqtt: Version,
        ca: Path | None,
        cert: Path | None,
        key: Path | None,
        **named: Any,
    ) -> Any:
        is_given = is_needed or bool(broker_url)
        broker = given_broker(broker_url, mqtt, ca, cert, key) if is_given else None
        return command(*args, broker=broker, **named)

    decorated: Any = with_broker
    for option in reversed(_options()):
        decorated = option(decorated)
    result: Command = decorated
    return result


def _options() -> list[Callable[[Any], Any]]:
    return [
        click.option(
            "--broker",
            "broker_url",
            metavar="URL",
            envvar=BROKER_VARIABLE,
            show_envvar=True,
            help="Broker: mqtt://HOST:PORT, or mqtts://HOST:PORT for TLS. Its user and password: "
            f"{BROKER_USER_VARIABLE} and {BROKER_PASSWORD_VARIABLE}, or a file that "
            f"{BROKER_PASSWORD_VARIABLE}_FILE names.",
        ),
        click.option(
            "--mqtt",
            type=click.Choice(["5", "3.1.1"]),
            default="5",
            show_default=True,
            help="Version of MQTT to speak.",
        ),
        _file("--ca", BROKER_CA_VARIABLE, "Certificates of authorities to trust, not the system's"),
        _file("--cert", BROKER_CERT_VARIABLE, "Certificate of this client"),
        _file("--key", BROKER_KEY_VARIABLE, "Key of that certificate, without a pass phrase"),
    ]


def _file(name: str, variable: str, what: str) -> Callable[[Any], Any]:
    return click.option(
        name,
        type=click.Path(path_type=Path, dir_okay=False),
        metavar="FILE",
        envvar=variable,
        show_envvar=True,
        help=f"{what} (PEM).",
    )


def given_broker(
    url: str | None,
    version: Version,
    ca: Path | None,
    cert: Path | None,
    key: Path | None,
) -> Broker:
    """Return the broker that options and environment name.

    Raises
    ------
    Fault
        If they name none, or a secret cannot be read.
    BrokerError
        If what they name cannot be one.
    """
    from ingest.live.broker_url import parse_broker

    if not url:
        raise Fault(
            "no broker to talk to", f"Name one by --broker mqtt://HOST:PORT or {BROKER_VARIABLE}."
        )
    user = os.environ.get(BROKER_USER_VARIABLE) or None
    try:
        password = secret(BROKER_PASSWORD_VARIABLE, os.environ)
    except SettingError as exc:
        raise Fault(str(exc)) from exc
    return parse_broker(
        url, user=user, password=password, ca=ca, cert=cert, key=key, version=version
    )


def session_options(command: Command) -> Command:
    """Add ``--client-id`` and ``--share``: how the broker knows a listener."""
    options = [
        click.option(
            "--client-id",
            metavar="NAME",
            help="Under this name the broker keeps what comes while this is away; each listener "
            "needs its own. Left out: bondtrail- and the site's id.",
        ),
        click.option(
            "--share",
            metavar="GROUP",
            help="Split the stream with the other listeners that name the same group.",
        ),
    ]
    decorated: Any = command
    for option in reversed(options):
        decorated = option(decorated)
    result: Command = decorated
    return result
