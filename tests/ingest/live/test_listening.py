from __future__ import annotations

import json
import logging
import shutil
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from bondtrail.metrics import Metrics
from bondtrail.pauses import Pauses
from bondtrail.samples import Samples
from bondtrail.site import Site, parse_site
from ingest.live import rounds, standing, status
from ingest.live.batches import Bounds
from ingest.live.broker_url import Broker, Version, parse_broker
from ingest.live.listening import Listener, ListenSettings
from ingest.live.sparkplug.encoding import Edge, asks_for_births
from ingest.live.status import State
from ingest.live.trouble import BrokerError, TakenOverError
from store import (
    NewerStoreError,
    Store,
    StoreBusyError,
    StoreError,
    StoreUnavailableError,
    Written,
    open_store,
)
from tests.ingest.live import scripted as wire
from tests.ingest.live.scripted import Talk, scripted
from tests.publishing import Publisher, keep_session, still_held
from tests.services import MosquittoServer, mosquitto
from tests.waiting import LONG_S, until

S = 1_000_000_000
BEGIN = 1_772_323_200 * S  # 2026-03-01


def site_text(site_id: str, alias: str = "FT-1") -> str:
    return f"""
schema = 1
[site]
id = "{site_id}"
name = "A site (invented)"
timezone = "Europe/Lisbon"
[[station]]
id = "rail-1"
name = "Rail spot 1"
kind = "rail_tank_car"
[station.points]
flow = {{ alias = ["{alias}"], unit = "L/min" }}
"""


@pytest.fixture
def site(request: pytest.FixtureRequest) -> Site:
    """A site whose id nobody else has: the broker is shared."""
    name = "".join(c if c.isalnum() else "-" for c in request.node.name.lower())[:40].strip("-")
    return parse_site(site_text(f"{name}-{time.time_ns() % 1_000_000}"))


@pytest.fixture
def url(made: Path, tmp_path: Path, site: Site) -> str:
    """A store that holds the site file."""
    address = f"sqlite:///{shutil.copy(made, tmp_path / 'live.db')}"
    with open_store(address) as store:
        store.put_site(site, 0)
    return address


class Desk:
    """A listener in a thread, and what can be seen of it."""

    def __init__(self, broker: Broker, opened: Callable[[], Store], **options: Any) -> None:
        self.stop = threading.Event()
        self.ready = threading.Event()
        self.said: list[tuple[str, str]] = []
        self.metrics = Metrics()
        self.failure: BaseException | None = None
        self.listener = Listener(
            ListenSettings(broker, bounds=Bounds(seconds=0.05)),
            opened,
            metrics=self.metrics,
            on_listening=self._said,
            pauses=lambda: Pauses(0.01, 0.05),
            **options,
        )
        self._thread = threading.Thread(target=self._run)

    def _said(self, where: str, client_id: str) -> None:
        self.said.append((where, client_id))
        self.ready.set()

    def _run(self) -> None:
        try:
            self.listener.run(self.stop)
        except BaseException as exc:
            self.failure = exc

    def start(self) -> None:
        self._thread.start()

    def end(self) -> None:
        self.stop.set()
        self.join()

    def join(self) -> None:
        self._thread.join(LONG_S)
        assert not self._thread.is_alive()

    def figure(self, name: str, **labels: str) -> float:
        return self.metrics.registry.get_sample_value(name, labels) or 0.0


@contextmanager
def desk(broker: Broker, opened: Callable[[], Store], **options: Any) -> Iterator[Desk]:
    made = Desk(broker, opened, **options)
    made.start()
    try:
        yield made
    finally:
        made.end()


def flows(site: Site, count: int, first: int = 0) -> list[tuple[str, bytes]]:
    topic = f"bondtrail/{site.id}/rail-1/flow"
    return [
        (topic, json.dumps({"t": BEGIN + n * S, "v": n}).encode())
        for n in range(first, first + count)
    ]


def held_for(broker: MosquittoServer, site: Site) -> int:
    """Return how many messages the broker still holds for the listener of a site."""
    topic = f"bondtrail/{site.id}/rail-1/flow"
    return len(still_held(broker.port, f"bondtrail-{site.id}", topic))


@pytest.mark.parametrize("version", ["5", "3.1.1"])
def test_what_is_published_is_stored_once_and_acknowledged(
    broker: MosquittoServer, site: Site, url: str, version: Version
) -> None:
    at = parse_broker(broker.url, version=version)
    with desk(at, lambda: open_store(url)) as seen:
        assert seen.ready.wait(LONG_S)
        with Publisher(broker.port, site.id) as publisher:
            publisher.publish(flows(site, 500))
        until(lambda: seen.figure("bondtrail_samples_total", outcome="new") == 500)
        until(lambda: seen.listener.why_not_ready() is None)
    assert seen.failure is None
    assert seen.said == [(at.where, f"bondtrail-{site.id}")]
    assert seen.listener.state.state is State.STOPPED
    assert held_for(broker, site) == 0
    with open_store(url) as store:
        samples = store.read("rail-1.flow")
        assert samples.time.tolist() == [BEGIN + n * S for n in range(500)]
        assert samples.value.tolist() == list(range(500))
        assert sum(source.readings for source in store.sources()) == 500
    assert seen.figure("bondtrail_commit_seconds_count") >= 1


def test_what_came_while_nobody_listened_is_taken_later(
    broker: MosquittoServer, site: Site, url: str
) -> None:
    keep_session(broker.port, f"bondtrail-{site.id}", f"bondtrail/{site.id}/#")
    with Publisher(broker.port, site.id) as publisher:
        publisher.publish(flows(site, 300))
    with desk(parse_broker(broker.url, version="3.1.1"), lambda: open_store(url)) as seen:
        until(lambda: seen.figure("bondtrail_samples_total", outcome="new") == 300)
    assert held_for(broker, site) == 0


@pytest.mark.parametrize("is_set", [True, False], ids=["it-is-set", "it-stays"])
def test_what_lies_ahead_waits_at_the_broker_until_the_clock_is_set(
    broker: MosquittoServer,
    site: Site,
    url: str,
    monkeypatch: pytest.MonkeyPatch,
    *,
    is_set: bool,
) -> None:
    """A machine that begins with an old time must not reject what is right."""
    monkeypatch.setattr(rounds, "_LOOK_S", 0.02)
    clock = [BEGIN - 86_400 * S]
    keep_session(broker.port, f"bondtrail-{site.id}", f"bondtrail/{site.id}/#")
    with Publisher(broker.port, site.id) as publisher:
        publisher.publish(flows(site, 20))
    at = parse_broker(broker.url, version="3.1.1")
    with desk(at, lambda: open_store(url), clock=lambda: clock[0]) as seen:
        until(lambda: seen.listener.state.state is State.NO_CLOCK)
        assert "2026-02-28T00:00:00.000Z" in (seen.listener.why_not_ready() or "")
        if is_set:
            clock[0] = BEGIN + 60 * S
            until(lambda: seen.figure("bondtrail_samples_total", outcome="new") == 20)
        else:
            monkeypatch.setattr(rounds, "CLOCK_S", 0.0)  # so long it has run by now
            until(lambda: seen.figure("bondtrail_rejects_total") > 0)
        until(lambda: seen.listener.state.state is State.LISTENING)
    assert seen.failure is None
    with open_store(url) as store:
        assert len(store.read("rail-1.flow")) == (20 if is_set else 0)
        assert bool(store.rejects()) is not is_set
    assert held_for(broker, site) == 0


def test_a_stop_while_the_clock_is_doubted_leaves_the_message_at_the_broker(
    broker: MosquittoServer, site: Site, url: str
) -> None:
    at = parse_broker(broker.url, version="3.1.1")
    with desk(at, lambda: open_store(url), clock=lambda: BEGIN - 86_400 * S) as seen:
        assert seen.ready.wait(LONG_S)
        with Publisher(broker.port, site.id) as publisher:
            publisher.publish(flows(site, 3))
        until(lambda: seen.listener.state.state is State.NO_CLOCK)
    assert seen.failure is None
    assert held_for(broker, site) == 3


def test_what_cannot_be_taken_is_kept_with_the_reason(
    broker: MosquittoServer, site: Site, url: str
) -> None:
    with desk(parse_broker(broker.url), lambda: open_store(url)) as seen:
        assert seen.ready.wait(LONG_S)
        with Publisher(broker.port, site.id) as publisher:
            topic = f"bondtrail/{site.id}/rail-1/flow"
            publisher.publish([(topic, b"{"), (topic, bytes(3 << 20)), *flows(site, 1)])
        until(lambda: seen.figure("bondtrail_rejects_total") == 2)
    with open_store(url) as store:
        rejects = store.rejects()
    assert {reject.where for reject in rejects} == {f"topic {topic}"}
    assert len(rejects) == 2
    assert max(len(reject.raw) for reject in rejects) <= 4096
    assert held_for(broker, site) == 0


def test_a_node_that_died_while_nobody_listened_is_known_to_be_dead(
    broker: MosquittoServer, site: Site, url: str
) -> None:
    """Its will has QoS 1, so that the broker keeps it; its births are not kept."""
    at, opened = parse_broker(broker.url, version="3.1.1"), lambda: open_store(url)
    edge = Edge(site.id, "gate", site.stations)
    now = time.time_ns()
    edge.data("rail-1", ["rail-1.flow"], [now - S], [7.0], [0], now)  # is what its births tell
    with Publisher(broker.port, site.id) as node:
        asked = f"spBv1.0/{site.id}/NCMD/gate"
        node.subscribe(asked, qos=0)
        with desk(at, opened) as seen:
            assert seen.ready.wait(LONG_S)
            node.publish(edge.births(now))
            until(lambda: seen.figure("bondtrail_samples_total", outcome="new") == 1)
        node.publish([edge.death(now)])
        with desk(at, opened) as seen:
            until(lambda: seen.figure("bondtrail_samples_total", outcome="new") == 1)
            kind, body = node._packet()
    assert (kind & 0xF0, asks_for_births(body[2 + len(asked) :])) == (0x30, True)
    with open_store(url) as store:
        samples = store.read("rail-1.flow")
    assert samples.value.tolist() == [7.0, 7.0]
    assert samples.quality.tolist() == [0, 2]


def test_a_birth_that_came_while_the_connection_was_lost_does_not_keep_its_death_out(
    site: Site, url: str
) -> None:
    """The node was born anew as session 1 meanwhile, and nobody keeps births."""
    edges = [Edge("g", "n", site.stations, session=number) for number in (0, 1)]
    now = time.time_ns()
    edges[0].data("rail-1", ["rail-1.flow"], [now - S], [7.0], [0], now)

    def first(talk: Talk) -> None:
        talk.let_in()
        talk.subscribed_all()
        for place, message in enumerate(edges[0].births(now)):
            talk.send(wire.publish(*message, place + 1))
        talk.acknowledged(2)

    def second(talk: Talk) -> None:
        talk.let_in(has_session=True)
        talk.subscribed_all()
        talk.send(wire.publish(*edges[1].death(now), 1))
        until(lambda: seen.figure("bondtrail_samples_total", outcome="new") == 2)
        seen.stop.set()

    with scripted(first, second) as at, desk(at, lambda: open_store(url)) as seen:
        assert seen.stop.wait(LONG_S)
    with open_store(url) as store:
        assert store.read("rail-1.flow").quality.tolist() == [0, 2]


class Troubled:
    """A store that refuses to write as a test says, then writes."""

    def __init__(self, store: Store, *refusals: Exception) -> None:
        self._store = store
        self.refusals = list(refusals)
        self.asked = 0

    def __enter__(self) -> Troubled:
        return self

    def __exit__(self, *_: object) -> None:
        self._store.close()

    def __getattr__(self, name: str) -> Any:
        return getattr(self._store, name)

    def write(self, batch: Mapping[str, Samples], **named: Any) -> Written:
        self.asked += 1
        if self.refusals and batch:
            raise self.refusals.pop(0)
        return self._store.write(batch, **named)


def troubled(url: str, *refusals: Exception) -> Callable[[], Any]:
    return lambda: Troubled(open_store(url), *refusals)


def test_a_store_that_is_away_is_waited_for_and_nothing_is_acknowledged_before(
    site: Site, url: str, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.INFO, "ingest.live")
    gate = threading.Event()
    states: list[State] = []

    class Gated(Troubled):
        def write(self, batch: Mapping[str, Samples], **named: Any) -> Written:
            if batch and not gate.is_set():
                states.append(seen.listener.state.state)
                raise StoreBusyError("store", "held by another")
            return super().write(batch, **named)

    def script(talk: Talk) -> None:
        talk.let_in()
        talk.subscribed_all()
        (message,) = flows(site, 1)
        talk.send(wire.publish(*message, 1))
        until(lambda: State.NO_STORE in states)
        assert "waiting for the store" in (seen.listener.why_not_ready() or "")
        # It can be asked, but what counts is that a batch does not go in.
        assert seen.listener.why_no_store() == "it cannot be reached, or not be written"
        gate.set()
        assert talk.acknowledged(1) == [1]
        while talk.packet():
            pass

    with scripted(script) as at:
        seen = Desk(at, lambda: Gated(open_store(url)))  # type: ignore[arg-type, return-value]
        seen.start()
        until(lambda: seen.figure("bondtrail_samples_total", outcome="new") == 1)
        seen.end()
    assert seen.failure is None
    assert "waiting for the store: store: held by another" in caplog.text
    assert states


def test_a_batch_that_the_store_refuses_for_one_point_does_not_stop_the_rest(
    broker: MosquittoServer, site: Site, url: str
) -> None:
    refusal = ValueError("a value that no store holds")
    # The batch, then its one point alone.
    with desk(parse_broker(broker.url), troubled(url, refusal, refusal)) as seen:
        assert seen.ready.wait(LONG_S)
        with Publisher(broker.port, site.id) as publisher:
            publisher.publish(flows(site, 1))
            until(lambda: seen.figure("bondtrail_rejects_total") == 1)
            publisher.publish(flows(site, 5, first=1))
        until(lambda: seen.figure("bondtrail_samples_total", outcome="new") == 5)
    assert held_for(broker, site) == 0
    with open_store(url) as store:
        (reject,) = store.rejects()
        assert len(store.read("rail-1.flow")) == 5
    assert (reject.where, reject.point, reject.time) == ("point rail-1.flow", "rail-1.flow", BEGIN)
    assert str(refusal) in reject.reason
    assert reject.raw.startswith("2026-03-01T00:00:00.000Z,")


def test_a_refusal_of_no_known_reason_is_waited_for(
    broker: MosquittoServer, site: Site, url: str
) -> None:
    odd = StoreError("store", "the database refused: something odd")
    with desk(parse_broker(broker.url), troubled(url, *[odd] * 5)) as seen:
        assert seen.ready.wait(LONG_S)
        with Publisher(broker.port, site.id) as publisher:
            publisher.publish(flows(site, 1))
        until(lambda: seen.figure("bondtrail_samples_total", outcome="new") == 1)
    with open_store(url) as store:
        assert store.rejects() == []


def test_a_stop_while_the_store_is_away_leaves_the_message_at_the_broker(
    broker: MosquittoServer, site: Site, url: str
) -> None:
    class Away(Troubled):
        def write(self, batch: Mapping[str, Samples], **named: Any) -> Written:
            if batch:
                raise StoreUnavailableError("store", "gone")
            return super().write(batch, **named)

    opened: Any = lambda: Away(open_store(url))  # noqa: E731
    with desk(parse_broker(broker.url, version="3.1.1"), opened) as seen:
        assert seen.ready.wait(LONG_S)
        with Publisher(broker.port, site.id) as publisher:
            publisher.publish(flows(site, 3))
        until(lambda: seen.listener.state.state is State.NO_STORE)
    assert seen.failure is None
    assert held_for(broker, site) == 3


def test_a_store_that_does_not_answer_is_told_for_the_thread_that_waits(
    broker: MosquittoServer, site: Site, url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(standing, "_LOOK_S", 0.02)
    later = [0.0]
    is_asked, answers = threading.Event(), threading.Event()

    class Hung(Troubled):
        def write(self, batch: Mapping[str, Samples], **named: Any) -> Written:
            if batch:
                is_asked.set()
                answers.wait(LONG_S)
            return super().write(batch, **named)

    opened: Any = lambda: Hung(open_store(url))  # noqa: E731
    with desk(parse_broker(broker.url), opened) as seen:
        assert seen.ready.wait(LONG_S)
        ticks: Any = lambda: time.monotonic() + later[0]  # noqa: E731
        monkeypatch.setattr(seen.listener._standing, "_ticks", ticks)
        assert seen.listener.why_not_alive() is None
        with Publisher(broker.port, site.id) as publisher:
            publisher.publish(flows(site, 1))
        assert is_asked.wait(LONG_S)
        later[0] = standing.HUNG_S + 1
        until(lambda: seen.listener.state.state is State.NO_STORE)
        assert "no answer for more than 45 s" in seen.listener.state.detail
        later[0] = standing.DEAD_S + 1
        assert "has not turned for 90 s" in (seen.listener.why_not_alive() or "")
        answers.set()
        until(lambda: seen.listener.why_not_ready() is None)
        assert seen.listener.why_not_alive() is None
    assert seen.figure("bondtrail_samples_total", outcome="new") == 1


@pytest.mark.parametrize("refusal", [None, StoreUnavailableError("store", "read only")])
def test_whether_the_store_can_be_written_is_asked_of_it(
    broker: MosquittoServer, site: Site, url: str, refusal: StoreError | None
) -> None:
    class Probed(Troubled):
        def probe(self) -> None:
            if refusal is not None:
                raise refusal

    opened: Any = lambda: Probed(open_store(url))  # noqa: E731
    with desk(parse_broker(broker.url), opened) as seen:
        assert seen.ready.wait(LONG_S)
        why = "it cannot be reached, or not be written"
        assert seen.listener.why_no_store() == (why if refusal else None)
    assert seen.listener.why_no_store() is not None


def test_before_it_begins_the_store_is_only_being_opened(broker: MosquittoServer) -> None:
    def never() -> Store:
        raise AssertionError

    listener = Listener(ListenSettings(parse_broker(broker.url)), never)
    assert listener.why_no_store() == "it is being opened"


def test_a_store_that_is_not_there_yet_is_waited_for(
    broker: MosquittoServer, site: Site, url: str, caplog: pytest.LogCaptureFixture
) -> None:
    refusals = [StoreUnavailableError("store", "it is starting"), StoreBusyError("store", "held")]

    def opened() -> Store:
        if refusals:
            raise refusals.pop(0)
        return open_store(url)

    with desk(parse_broker(broker.url), opened) as seen:
        assert seen.ready.wait(LONG_S)
    assert seen.failure is None
    assert "waiting for the store: store: it is starting" in caplog.text


def test_a_store_of_a_newer_bondtrail_is_not_waited_for(broker: MosquittoServer) -> None:
    def opened() -> Store:
        raise NewerStoreError("store", "9999", "0004")

    with desk(parse_broker(broker.url), opened) as seen:
        seen.join()
    assert isinstance(seen.failure, NewerStoreError)


def test_another_site_file_is_followed(
    broker: MosquittoServer, site: Site, url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(rounds, "SITE_NS", 0)
    topic = f"plant/{site.id}"
    with desk(parse_broker(broker.url), lambda: open_store(url)) as seen:
        assert seen.ready.wait(LONG_S)
        with open_store(url) as store:
            store.put_site(parse_site(site_text(site.id, f"{topic}#flow")), time.time_ns())
        with Publisher(broker.port, site.id) as publisher:

            def taken() -> bool:
                publisher.publish([(topic, json.dumps({"t": BEGIN, "flow": 7}).encode())])
                time.sleep(0.02)
                return seen.figure("bondtrail_samples_total", outcome="new") == 1

            until(taken)


def test_the_broker_is_told_how_the_listener_does(
    broker: MosquittoServer, site: Site, url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(status, "_GOODBYE_S", LONG_S)
    topic = f"bondtrail/{site.id}/$service/bondtrail-{site.id}"

    def told() -> dict[str, Any]:
        with Publisher(broker.port, f"{site.id}-looks") as looks:
            looks.subscribe(topic)
            _, body = looks._packet()
            found: dict[str, Any] = json.loads(body[body.index(b"{") :])
            return found

    with desk(parse_broker(broker.url), lambda: open_store(url)) as seen:
        assert seen.ready.wait(LONG_S)
        until(lambda: told()["state"] == "listening")
        assert set(told()) == {"state", "since", "at", "detail", "version"}
    assert told()["state"] == "stopped"


def test_a_second_listener_of_one_name_ends_the_first(site: Site, url: str) -> None:
    def script(talk: Talk) -> None:
        talk.let_in()
        talk.subscribed_all()
        until(seen.ready.is_set)
        talk.send(b"\xe0\x01\x8e")  # DISCONNECT, session taken over: MQTT 5, section 3.14.2.1

    with scripted(script) as at:
        seen = Desk(at, lambda: open_store(url))
        seen.start()
        seen.join()
    assert isinstance(seen.failure, TakenOverError)


def test_a_second_client_of_one_name_is_suspected_where_the_broker_does_not_say(
    broker: MosquittoServer, site: Site, url: str
) -> None:
    with desk(parse_broker(broker.url), lambda: open_store(url)) as seen:
        assert seen.ready.wait(LONG_S)
        name = f"bondtrail-{site.id}"

        def is_suspected() -> bool:
            Publisher(broker.port, name, clean=False).close()
            return "--client-id" in seen.listener.state.detail

        until(is_suspected)
    assert seen.failure is None


def test_a_broker_that_delivers_nothing_is_doubted(
    site: Site, url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(rounds, "ECHO_S", 0.5)
    with mosquitto(acl="topic write bondtrail/#\n") as silent:
        with desk(parse_broker(silent.url), lambda: open_store(url)) as seen:
            assert seen.ready.wait(LONG_S)
            until(lambda: "(ACL)" in seen.listener.state.detail)
            assert "(ACL)" in (seen.listener.why_not_ready() or "")
        assert seen.failure is None


def test_a_broker_that_delivers_only_some_topics_is_doubted_while_those_come(
    site: Site, url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(rounds, "ECHO_S", 0.5)
    rules = f"topic write bondtrail/#\ntopic read bondtrail/{site.id}/+/flow\n"
    with (
        mosquitto(acl=rules) as partial,
        desk(parse_broker(partial.url), lambda: open_store(url)) as seen,
        Publisher(partial.port) as publisher,
    ):
        assert seen.ready.wait(LONG_S)
        coming = iter(flows(site, 1000))

        def is_doubted_though_some_come() -> bool:
            publisher.publish([next(coming)])
            time.sleep(0.15)  # silent enough to show that nothing waits, never a round for nothing
            came = seen.figure("bondtrail_samples_total", outcome="new") or 0
            return came > 0 and "(ACL)" in seen.listener.state.detail

        until(is_doubted_though_some_come)


def test_a_subscription_that_is_refused_at_the_start_is_a_fault(site: Site, url: str) -> None:
    def script(talk: Talk) -> None:
        talk.let_in()
        talk.subscribed_all(0x87)
        while talk.packet():
            pass

    with scripted(script) as at, desk(at, lambda: open_store(url)) as seen:
        seen.join()
    assert isinstance(seen.failure, BrokerError)
    assert f"bondtrail/{site.id}/#" in str(seen.failure)
    assert not seen.said


def test_a_password_that_is_refused_later_is_waited_for(site: Site, url: str) -> None:
    def first(talk: Talk) -> None:
        talk.let_in()
        talk.subscribed_all()
        until(seen.ready.is_set)

    def second(talk: Talk) -> None:
        talk.let_in(code=0x86)

    def third(talk: Talk) -> None:
        talk.let_in()
        talk.subscribed_all()
        while talk.packet():
            pass

    with scripted(first, second, third) as at:
        seen = Desk(at, lambda: open_store(url))
        seen.start()
        until(lambda: seen.said)
        until(lambda: "refused user" in seen.listener.state.detail)
        until(lambda: seen.listener.state.state is State.LISTENING)
        seen.end()
    assert seen.failure is None


def test_a_site_that_the_store_lacks_is_said(
    broker: MosquittoServer, made: Path, tmp_path: Path
) -> None:
    empty = f"sqlite:///{shutil.copy(made, tmp_path / 'empty.db')}"
    with desk(parse_broker(broker.url), lambda: open_store(empty)) as seen:
        seen.join()
    assert "the store has no site file" in str(seen.failure)
