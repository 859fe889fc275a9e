"""Draining a broker's queue into the store, beside a bare client that drains the same queue.

A real mosquitto on a free port of this machine holds a session for each of the loops, filled
before the clock starts; loops take turns, and the median of their ratios counts.
"""

from __future__ import annotations

import statistics
import tempfile
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
from paho.mqtt.client import Client, MQTTMessage, MQTTv5, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from benchmarks.load_csv import STATIONS, bench_site
from benchmarks.table import Row
from bondtrail.samples import Samples
from ingest.live.broker_url import Version, parse_broker
from ingest.live.listening import Listener, ListenSettings
from store import Store, Written, open_store
from tests.publishing import Publisher, keep_session
from tests.services import KEEPS_ALL_IN_MEMORY, MosquittoServer, mosquitto

SINGLES = 40_000
HUNDREDS = 20_000
ROUNDS = 7
TOGETHER = 2000
"""Messages that the bare client acknowledges together."""
RATE, SECONDS = 1000, 8
_ROLES = (("resistance", b"2.31"), ("permissive", b"1"), ("flow", b"812.0"))
_VERSIONS: tuple[Version, Version] = ("5", "3.1.1")


class _Reading(msgspec.Struct):
    t: int
    v: float
    q: int = 0


def singles(count: int) -> Iterator[tuple[str, bytes]]:
    """Yield messages of one reading each, round the stations."""
    begin = time.time_ns() // 1_000_000 - count
    for n in range(count):
        role, value = _ROLES[n % 3]
        topic = f"bondtrail/bench/rail-{n // 3 % STATIONS + 1}/{role}"
        yield topic, b'{"t":%d,"v":%s,"q":0}' % (begin + n, value)


def hundreds(count: int) -> Iterator[tuple[str, bytes]]:
    """Yield messages of a hundred readings each."""
    begin = time.time_ns() // 1_000_000 - count * 100
    for n in range(count):
        role, value = _ROLES[n % 3]
        topic = f"bondtrail/bench/rail-{n // 3 % STATIONS + 1}/{role}"
        readings = (b'{"t":%d,"v":%s,"q":0}' % (begin + n * 100 + k, value) for k in range(100))
        yield topic, b"[" + b",".join(readings) + b"]"


# The bare client


def bare_seconds(
    server: MosquittoServer,
    client_id: str,
    version: Version,
    count: int,
    decode: Callable[[bytes | bytearray], object] | None = None,
) -> float:
    """Take ``count`` messages of a session with paho alone; return how long that took. [s]"""
    is_5 = version == "5"
    client = Client(
        CallbackAPIVersion.VERSION2,
        client_id,
        clean_session=None if is_5 else False,
        protocol=MQTTv5 if is_5 else MQTTv311,
        manual_ack=True,
    )
    waiting: list[int] = []
    taken = 0

    def on_message(_: Client, __: Any, message: MQTTMessage) -> None:
        nonlocal taken
        taken += 1
        if decode is not None:
            decode(message.payload)
        waiting.append(message.mid)
        if len(waiting) == TOGETHER:
            acknowledge()

    def acknowledge() -> None:
        for mid in waiting:
            client.ack(mid, 1)
        waiting.clear()

    client.on_message = on_message
    properties = None
    if is_5:
        properties = Properties(PacketTypes.CONNECT)
        properties.SessionExpiryInterval = 3600
    begun = time.perf_counter()
    if is_5:
        client.connect("127.0.0.1", server.port, clean_start=False, properties=properties)
    else:
        client.connect("127.0.0.1", server.port)
    while taken < count:
        client.loop(1.0)
    acknowledge()
    while client.want_write():
        client.loop_write()
    seconds = time.perf_counter() - begun
    client.disconnect()
    client.loop(0.1)
    return seconds


# Ours


class _Watched:
    """A store that tells what was committed, and when."""

    def __init__(self, store: Store, on_written: Callable[[Mapping[str, Samples]], None]) -> None:
        self._store = store
        self._on_written = on_written

    def __getattr__(self, name: str) -> Any:
        return getattr(self._store, name)

    def __enter__(self) -> _Watched:
        return self

    def __exit__(self, *_: object) -> None:
        self._store.close()

    def write(self, batch: Mapping[str, Samples], **named: Any) -> Written:
        written = self._store.write(batch, **named)
        self._on_written(batch)
        return written


def our_seconds(
    server: MosquittoServer, client_id: str, version: Version, readings: int, folder: Path
) -> float:
    """Listen until ``readings`` are committed and acknowledged; return how long that took. [s]"""
    stop = threading.Event()
    left = readings

    def count(batch: Mapping[str, Samples]) -> None:
        nonlocal left
        left -= sum(map(len, batch.values()))
        if left <= 0:
            stop.set()

    url = _empty_store(folder)
    begun = time.perf_counter()
    _listen(server, client_id, version, url, count, stop)
    return time.perf_counter() - begun


def _empty_store(folder: Path) -> str:
    """Make a store that holds a site file alone; return its address."""
    for old in folder.glob("listen.db*"):
        old.unlink()
    url = f"sqlite:///{folder / 'listen.db'}"
    with open_store(url) as store:
        store.put_site(bench_site(), 0)
    return url


def _listen(
    server: MosquittoServer,
    client_id: str,
    version: Version,
    url: str,
    on_written: Callable[[Mapping[str, Samples]], None],
    stop: threading.Event,
    on_listening: Callable[[str, str], None] | None = None,
) -> None:
    Listener(
        ListenSettings(parse_broker(server.url, version=version), client_id),
        lambda: _Watched(open_store(url), on_written),  # type: ignore[arg-type, return-value]
        on_listening=on_listening,
    ).run(stop)


def drained(
    version: Version,
    count: int,
    messages: Callable[[int], Iterator[tuple[str, bytes]]],
    each: int,
    decode: Callable[[bytes | bytearray], object] | None = None,
) -> tuple[float, float, float]:
    """Return our rate, the bare rate [readings/s], and the median of their ratios in turn."""
    ours: list[float] = []
    bare: list[float] = []
    with (
        tempfile.TemporaryDirectory() as folder,
        mosquitto(lines=KEEPS_ALL_IN_MEMORY) as server,
    ):
        for _ in range(ROUNDS + 1):  # the first is not counted
            for session in ("ours", "bare"):  # not what the listener says of itself
                keep_session(server.port, session, *(f"bondtrail/+/+/{role}" for role, _ in _ROLES))
            with Publisher(server.port) as publisher:
                publisher.publish(messages(count))
            bare.append(bare_seconds(server, "bare", version, count, decode))
            ours.append(our_seconds(server, "ours", version, count * each, Path(folder)))
            for session in ("ours", "bare"):
                Publisher(server.port, session, clean=True).close()
    ratios = [b / o for b, o in zip(bare[1:], ours[1:], strict=True)]
    rates = [count * each / statistics.median(seconds[1:]) for seconds in (ours, bare)]
    return rates[0], rates[1], statistics.median(ratios)


def delay_s() -> float:
    """Return how long a reading takes from publishing to readable: the 99th percentile. [s]"""
    stop, listening = threading.Event(), threading.Event()
    delays: list[np.ndarray] = []

    def note(batch: Mapping[str, Samples]) -> None:
        now = time.time_ns()
        delays.extend((now - samples.time) / 1e9 for samples in batch.values())

    with tempfile.TemporaryDirectory() as folder, mosquitto() as server:
        thread = threading.Thread(
            target=_listen,
            args=(server, "delay", "5", _empty_store(Path(folder)), note, stop),
            kwargs={"on_listening": lambda *_: listening.set()},
        )
        thread.start()
        listening.wait(30)
        _publish_steadily(server)
        time.sleep(1.5)
        stop.set()
        thread.join()
    found = np.concatenate(delays)
    if found.size != RATE * SECONDS:
        raise RuntimeError(f"{RATE * SECONDS} readings were published, {found.size} arrived")
    return float(np.quantile(found, 0.99))


def _publish_steadily(server: MosquittoServer) -> None:
    with Publisher(server.port) as publisher:
        begun = time.monotonic()
        for n in range(RATE * SECONDS // 10):
            time.sleep(max(0.0, begun + n * 10 / RATE - time.monotonic()))
            now = time.time_ns()
            publisher.send(
                (f"bondtrail/bench/rail-{k + 1}/flow", b'{"t":%d,"v":812.0}' % (now + k))
                for k in range(10)
            )
            while publisher.sent - publisher.acknowledged > 100:
                publisher.take_acknowledgements()
        while publisher.sent > publisher.acknowledged:
            publisher.take_acknowledgements()


def measure() -> list[Row]:
    """Drain queues of single readings and of hundreds, and time readings that come steadily."""
    rows = []
    for version in _VERSIONS:
        ours, bare, ratio = drained(version, SINGLES, singles, 1)
        rows.append(
            Row(
                f"single readings, committed, MQTT {version}",
                f"{ours / 1e3:.1f} k messages/s",
                f"{bare / 1e3:.1f} k/s, paho counts",
                ratio,
                "at least 0.75",
                ratio >= 0.75,
            )
        )
    decode = msgspec.json.Decoder(list[_Reading]).decode
    for version in _VERSIONS:
        ours, bare, ratio = drained(version, HUNDREDS, hundreds, 100, decode)
        rows.append(
            Row(
                f"100 readings a message, MQTT {version}",
                f"{ours / 1e3:.0f} k readings/s",
                f"{bare / 1e3:.0f} k/s, paho decodes",
                ratio,
                "at least 0.70, 500 k/s",
                ratio >= 0.70 and ours >= 500e3,
            )
        )
    seconds = delay_s()
    rows.append(
        Row(
            f"from publish to readable, {RATE}/s, p99",
            f"{seconds:.2f} s",
            "1.5 s",
            1.5 / seconds,
            "under 1.5 s",
            seconds < 1.5,
        )
    )
    return rows
