from __future__ import annotations

from collections.abc import Iterator

import hypothesis
import pytest

from tests.commands import Commands, running_commands
from tests.services import (
    KEEPS_ALL_IN_MEMORY,
    Browser,
    MosquittoServer,
    PostgresServer,
    chromium,
    mosquitto,
    postgres_server,
)
from tests.statements import shared_statements

__all__ = ["shared_statements"]

# A shared machine is slow now and then; that says nothing about the code.
hypothesis.settings.register_profile("bondtrail", deadline=None)
hypothesis.settings.load_profile("bondtrail")


@pytest.fixture(scope="session")
def postgres() -> Iterator[PostgresServer]:
    with postgres_server() as server:
        yield server


@pytest.fixture
def postgres_url(postgres: PostgresServer) -> str:
    """The address of an empty database."""
    return postgres.new_database()


@pytest.fixture(scope="session")
def broker() -> Iterator[MosquittoServer]:
    """A broker that lets everyone in, for the tests of a process: use ids and topics of your own.

    To stop or kill one, take one of your own: ``with mosquitto() as broker``.
    """
    with mosquitto(lines=KEEPS_ALL_IN_MEMORY) as server:
        yield server


@pytest.fixture(scope="session")
def commands() -> Iterator[Commands]:
    """Starts commands as processes of their own; each test ends those that it starts."""
    with running_commands() as started:
        yield started


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    with chromium() as opened:
        yield opened
