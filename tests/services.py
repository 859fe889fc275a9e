"""The real services that tests talk to, on free loopback ports, stopped when they are done."""

from __future__ import annotations

import base64
import hashlib
import json
import os
import pwd
import random
import shutil
import signal
import socket
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import NoReturn, TypeVar

import psutil
import psycopg
import pytest
from selenium import webdriver
from selenium.common.exceptions import StaleElementReferenceException
from selenium.webdriver.chrome.service import Service
from selenium.webdriver.remote.webdriver import WebDriver
from selenium.webdriver.support.wait import WebDriverWait

from tests.certificates import Certificates
from tests.publishing import Publisher, RefusedError

T = TypeVar("T")

_START_S = 60.0


def missing(service: str, package: str) -> NoReturn:
    """Skip the test for want of a service; with CI=true there is no excuse, so fail."""
    told = f"{service} is not installed: on Debian and Ubuntu, apt-get install {package}"
    if os.environ.get("CI", "").lower() == "true":
        pytest.fail(told, pytrace=False)
    pytest.skip(told)


def free_port() -> int:
    """Return a port of the loopback that nobody listens on.

    It is none of those that the system gives to connections that go out (from 32768 on): one of
    these may be the other end of some connection by the time that a server starts, or starts again.
    """
    while True:
        port = random.SystemRandom().randrange(10_000, 32_000)
        with socket.socket() as probe, suppress(OSError):
            probe.bind(("127.0.0.1", port))
            return port


@dataclass
class PostgresServer:
    """A throw-away PostgreSQL that trusts whoever comes over the loopback.

    It can be stopped, killed and started again on the same port with what it holds.
    """

    programs: Path
    folder: Path
    user: str | None
    port: int = field(default_factory=free_port)
    made: int = 0
    process: subprocess.Popen[bytes] | None = None

    def url(self, database: str = "postgres") -> str:
        return f"postgresql://bondtrail@127.0.0.1:{self.port}/{database}"

    def new_database(self) -> str:
        """Create an empty database; return its URL."""
        self.made += 1
        name = f"store_{self.made}"
        with psycopg.connect(self.url(), autocommit=True) as connection:
            connection.execute(f"create database {name}")
        return self.url(name)

    def start(self) -> None:
        """Start, and wait until it answers."""
        settings = {
            "port": self.port,
            "listen_addresses": "127.0.0.1",
            "unix_socket_directories": "",
            "fsync": "off",  # tests kill it and its clients, not the machine
        }
        options = [word for key, value in settings.items() for word in ("-c", f"{key}={value}")]
        with (self.folder / "log").open("ab") as log:
            self.process = subprocess.Popen(
                [self.programs / "postgres", "-D", self.folder / "data", *options],
                user=self.user,
                cwd=self.folder,
                stdout=log,
                stderr=log,
            )
        _wait_until_it_answers(self)

    def stop(self) -> None:
        """End it at once; whoever is connected is cut off."""
        self._end(signal.SIGQUIT)

    def kill(self) -> None:
        """kill -9 of the process that started all the others; those end when they notice."""
        assert self.process is not None
        others = psutil.Process(self.process.pid).children()
        self._end(signal.SIGKILL)
        _, left = psutil.wait_procs(others, _START_S)
        assert not left

    def _end(self, how: signal.Signals) -> None:
        if self.process is not None:
            self.process.send_signal(how)
            self.process.wait(_START_S)
            self.process = None


@contextmanager
def postgres_server() -> Iterator[PostgresServer]:
    """Run a PostgreSQL server for as long as the block lasts."""
    programs = _postgres_programs()
    if programs is None:
        missing("PostgreSQL", "postgresql")
    user = _postgres_user()
    folder = Path(tempfile.mkdtemp(prefix="bondtrail-postgres-"))
    if user is not None:
        account = pwd.getpwnam(user)
        os.chown(folder, account.pw_uid, account.pw_gid)
    server = PostgresServer(programs, folder, user)
    try:
        _make_cluster(programs, folder, user)
        server.start()
        yield server
    finally:
        server.stop()
        shutil.rmtree(folder, ignore_errors=True)


def _postgres_programs() -> Path | None:
    """Return the folder of initdb and postgres: Debian keeps it off the path."""
    on_path = shutil.which("initdb")
    if on_path is not None:
        return Path(on_path).resolve().parent
    found = Path("/usr/lib/postgresql").glob("*/bin/initdb")
    newest = max(found, key=lambda program: float(program.parts[-3]), default=None)
    return newest.parent if newest is not None else None


def _postgres_user() -> str | None:
    """Return whom to run it as: PostgreSQL refuses to run as root."""
    if os.geteuid() != 0:
        return None
    accounts = {account.pw_name for account in pwd.getpwall()}
    return "postgres" if "postgres" in accounts else "nobody"


def _make_cluster(programs: Path, folder: Path, user: str | None) -> None:
    command = [programs / "initdb", "-D", folder / "data", "-U", "bondtrail", "-A", "trust"]
    done = subprocess.run(
        [*command, "-E", "UTF8", "--no-locale", "--no-sync"],
        user=user,
        cwd=folder,
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stderr


def _wait_until_it_answers(server: PostgresServer) -> None:
    give_up = time.monotonic() + _START_S
    while True:
        try:
            psycopg.connect(server.url(), connect_timeout=2).close()
            return
        except psycopg.OperationalError:
            assert server.process is not None
            if time.monotonic() > give_up or server.process.poll() is not None:
                told = (server.folder / "log").read_text()
                pytest.fail(f"PostgreSQL did not start:\n{told}", pytrace=False)
            time.sleep(0.02)


# A broker

# mosquitto's own limits drop, without a word, what the publisher was told is safe; and without
# saving on every change, a kill -9 loses sessions and all that is queued for them.
KEEPS_ALL = (
    "max_queued_messages 0",
    "max_inflight_messages 0",
    "persistence true",
    "autosave_on_changes true",
    "autosave_interval 1",
    # Else the system holds back the last message to a listener until that has confirmed the one
    # before: a kill takes what the publisher was told is safe from the broker and the listener.
    "set_tcp_nodelay true",
)
# For queues of a million: it saves the whole queue at every change.
KEEPS_ALL_IN_MEMORY = ("max_queued_messages 0", "max_inflight_messages 0", "persistence false")


@dataclass
class MosquittoServer:
    """A mosquitto of a test: stopped, killed and started again on the same port and folder.

    Attributes
    ----------
    folder : Path
        Its settings, its log and what it keeps. Whoever makes the server removes the folder.
    lines : sequence of str
        What its settings say of queues and persistence.
    users : mapping of str to str
        Passwords. Empty: whoever comes is let in.
    acl : str or None
        Access rules, as in its file of rules. None: everyone may everything.
    tls : Certificates or None
        Speak TLS only, with the server's certificate of these.
    asks_certificate : bool
        With TLS: let in only who shows a certificate of the authority, whose name is the user.
    """

    folder: Path
    lines: Sequence[str] = KEEPS_ALL
    users: Mapping[str, str] = field(default_factory=dict)
    acl: str | None = None
    tls: Certificates | None = None
    asks_certificate: bool = False
    port: int = field(default_factory=free_port)
    process: subprocess.Popen[bytes] | None = None

    @property
    def url(self) -> str:
        """Its address, without user and password."""
        return f"{'mqtt' if self.tls is None else 'mqtts'}://127.0.0.1:{self.port}"

    @property
    def log(self) -> str:
        """All that it logged, over all its starts."""
        return (self.folder / "log").read_text(errors="replace")

    def start(self) -> None:
        """Start, and wait until it answers."""
        program = shutil.which("mosquitto", path=os.environ.get("PATH", "") + ":/usr/sbin")
        if program is None:
            missing("mosquitto", "mosquitto")
        self.write_settings()
        with (self.folder / "log").open("ab") as log:
            self.process = subprocess.Popen(
                [program, "-c", self.folder / "mosquitto.conf"], stdout=log, stderr=log
            )
        give_up = time.monotonic() + _START_S
        while not self._answers():
            if self.process.poll() is not None or time.monotonic() > give_up:
                pytest.fail(f"mosquitto did not start:\n{self.log}", pytrace=False)
            time.sleep(0.02)

    def stop(self) -> None:
        """Let it end as it would with its machine: it saves what it holds."""
        self._end(signal.SIGTERM)

    def kill(self) -> None:
        """kill -9."""
        self._end(signal.SIGKILL)

    def reload(self) -> None:
        """Have it read users and rules again; who may no longer come is thrown out."""
        self.write_settings()
        assert self.process is not None
        self.process.send_signal(signal.SIGHUP)

    def write_settings(self) -> None:
        """Write its files as the attributes say."""
        settings = [
            f"listener {self.port} 127.0.0.1",
            f"persistence_location {self.folder}/",
            "log_dest stdout",
            *(f"log_type {kind}" for kind in ("error", "warning", "notice", "subscribe")),
            "connection_messages true",
            *self.lines,
        ]
        if os.geteuid() == 0:
            settings.append("user root")  # else it becomes a user that cannot reach the folder
        if self.users:
            stored = "".join(f"{name}:{_hashed(word)}\n" for name, word in self.users.items())
            self._write("passwords", stored)
            settings.append(f"password_file {self.folder}/passwords")
        settings.append(f"allow_anonymous {'false' if self.users else 'true'}")
        if self.acl is not None:
            self._write("acl", self.acl)
            settings.append(f"acl_file {self.folder}/acl")
        if self.tls is not None:
            settings += [
                f"cafile {self.tls.ca}",
                f"certfile {self.tls.server.certificate}",
                f"keyfile {self.tls.server.key}",
            ]
            if self.asks_certificate:
                settings += ["require_certificate true", "use_identity_as_username true"]
        self._write("mosquitto.conf", "\n".join([*settings, ""]))

    def _write(self, name: str, text: str) -> None:
        path = self.folder / name
        path.write_text(text)
        path.chmod(0o600)

    def _answers(self) -> bool:
        """Tell whether it takes connections: by a word of MQTT where that needs no secret."""
        try:
            if self.tls is not None or self.users or self.acl is not None:
                socket.create_connection(("127.0.0.1", self.port), timeout=2).close()
            else:
                Publisher(self.port, "is-it-up").close()
        except (OSError, RefusedError):
            return False
        return True

    def _end(self, how: signal.Signals) -> None:
        if self.process is not None:
            self.process.send_signal(how)
            self.process.wait(_START_S)
            self.process = None


def _hashed(password: str) -> str:
    """Return a password as mosquitto's password file holds it."""
    salt = os.urandom(12)
    rounds = 101
    key = hashlib.pbkdf2_hmac("sha512", password.encode(), salt, rounds)
    return f"$7${rounds}${base64.b64encode(salt).decode()}${base64.b64encode(key).decode()}"


@contextmanager
def mosquitto(**options: object) -> Iterator[MosquittoServer]:
    """Run a broker in a folder of its own for as long as the block lasts.

    ``options`` are attributes of `MosquittoServer`.
    """
    folder = Path(tempfile.mkdtemp(prefix="bondtrail-mosquitto-"))
    server = MosquittoServer(folder, **options)  # type: ignore[arg-type]
    try:
        server.start()
        yield server
    finally:
        server.kill()
        shutil.rmtree(folder, ignore_errors=True)


# A browser


@dataclass
class Browser:
    """A headless Chromium, and what it said and asked for."""

    driver: WebDriver

    def wait(self, until: Callable[[WebDriver], T], seconds: float = 60.0) -> T:
        """Return the first true outcome of ``until``; stale elements are looked for again."""
        impatient = WebDriverWait(
            self.driver, seconds, 0.05, ignored_exceptions=(StaleElementReferenceException,)
        )
        return impatient.until(until)

    def console(self) -> list[str]:
        """Return warnings and errors that the console showed since last asked."""
        told = self.driver.get_log("browser")
        return [line["message"] for line in told if line["level"] in ("WARNING", "SEVERE")]

    def asked_for(self) -> list[str]:
        """Return every address that pages asked for since last asked."""
        lines = (json.loads(line["message"]) for line in self.driver.get_log("performance"))
        messages = (line["message"] for line in lines)
        sent = [m for m in messages if m["method"] == "Network.requestWillBeSent"]
        return [message["params"]["request"]["url"] for message in sent]

    def show(self, width: int, height: int, scheme: str = "light") -> None:
        """Set the size of the page in pixels and the colour scheme of the system."""
        size = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": False}
        self.driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
        feature = {"name": "prefers-color-scheme", "value": scheme}
        self.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": [feature]})


@contextmanager
def chromium() -> Iterator[Browser]:
    """Run a Chromium with an empty profile for as long as the block lasts."""
    program = shutil.which("chromium") or shutil.which("chromium-browser")
    if program is None:
        missing("Chromium", "chromium")
    chromedriver = shutil.which("chromedriver")
    if chromedriver is None:
        missing("ChromeDriver", "chromium-driver")
    with tempfile.TemporaryDirectory(
        prefix="bondtrail-chromium-", ignore_cleanup_errors=True
    ) as profile:
        driver = webdriver.Chrome(
            options=_chromium_options(program, profile), service=Service(chromedriver)
        )
        try:
            yield Browser(driver)
        finally:
            driver.quit()


def _chromium_options(program: str, profile: str) -> webdriver.ChromeOptions:
    options = webdriver.ChromeOptions()
    options.binary_location = program
    for flag in (
        "headless=new",
        "no-sandbox",  # tests may run as root
        "disable-gpu",
        "disable-quic",
        "disable-dev-shm-usage",
        "no-first-run",
        "disable-background-networking",
        "disable-component-update",
        "disable-sync",
        "disable-extensions",
        "disable-default-apps",
        "mute-audio",
        "js-flags=--no-opt --single-threaded",  # no page lives long enough to be worth optimising
        "blink-settings=v8CacheOptions=4",  # keep what it compiled on the first load, not the third
        f"user-data-dir={profile}",
    ):
        options.add_argument(f"--{flag}")
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    return options
