"""Readings that were fed and listened to are the readings that a load would have stored."""

from __future__ import annotations

import json
import threading
import time
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from bondtrail.samples import later_wins
from bondtrail.site import Site
from ingest import IngestError, load_files
from ingest.feeding import FeedReport, Form, Plan, Wanted, feed
from ingest.live.broker_url import Broker
from ingest.live.decoding import Decoder
from ingest.live.sparkplug.payloads import REBIRTH
from ingest.live.sparkplug.sparkplug_pb2 import Payload
from ingest.live.trouble import BrokerError
from store import Store, open_store
from tests.ingest.conftest import NOW
from tests.ingest.feeding.conftest import Inbox
from tests.publishing import Publisher
from tests.services import MosquittoServer, free_port, mosquitto
from tests.waiting import until

FAST = Plan(speed=None)


def fed(site: Site, paths: list[Path], broker: Broker, plan: Plan = FAST) -> FeedReport:
    return feed(site, paths, broker, plan, clock=lambda: NOW)


def listened(site: Site, inbox: Inbox, report: FeedReport, store: Store) -> None:
    """Put what came over the broker into a store."""
    decoded = Decoder(site, source="broker").decode(inbox.wait(report.messages), NOW)
    assert decoded.rejects == []
    store.write(decoded.batch)


def stored(store: Store) -> dict[str, list[tuple[int, float, int]]]:
    found = {}
    for summary in store.points():
        samples = store.read(summary.point)
        columns = samples.time.tolist(), samples.value.tolist(), samples.quality.tolist()
        found[summary.point] = list(zip(*columns, strict=True))
    return found


def long_file(folder: Path, seed: int, rows: int, name: str) -> Path:
    """Write readings of every kind: any unit, word, quality, order and precision of time."""
    rng = np.random.default_rng(seed)
    tags = {
        "M1/1": lambda: rng.choice(["OL", "open", repr(float(rng.lognormal(1, 2))), "3", "0"]),
        "M1/2": lambda: rng.choice(["inf", repr(float(rng.random() / 3))]),
        "S1": lambda: rng.choice(["bonded", "not bonded", "fault", "3"]),
        "P1": lambda: rng.choice(["closed", "open", "1", "true"]),
        "F1": lambda: repr(float(rng.normal(50, 30))),  # m3/h: no short factor to L/min
        "F2": lambda: f"{rng.normal(800, 30):.1f}",
        "K1": lambda: rng.choice(["0", "1"]),
    }
    lines = ["time,tag,value,quality"]
    moment = NOW - 7200 * 10**9
    for _ in range(rows):
        moment += int(rng.choice([0, 10**9, 10**6, 1000, 1, -(10**9)]))
        tag = str(rng.choice(list(tags)))
        lines.append(f"{moment},{tag},{tags[tag]()},{rng.choice(['', 'good', 'bad', '1'])}")
    path = folder / name
    path.write_text("\n".join(lines))
    return path


@pytest.mark.parametrize("most", [1, 50])
def test_fed_and_listened_to_is_loaded_sample_by_sample(
    site: Site, store: Store, tmp_path: Path, inbox: Inbox, address: Broker, most: int
) -> None:
    files = [long_file(tmp_path, seed, 400, f"{seed}.csv") for seed in (1, 2)]
    load_files(store, site, files, now=NOW)
    report = fed(site, files, address, Plan(speed=None, most=most))
    with open_store(f"sqlite:///{tmp_path / 'live.db'}") as live:
        listened(site, inbox, report, live)
        assert stored(live) == stored(store)
    assert report.published == report.read == 800
    assert (report.messages == 800) == (most == 1)


def test_wide_packed_and_parquet_files_are_fed_as_they_are_loaded(
    site: Site, store: Store, tmp_path: Path, inbox: Inbox, address: Broker
) -> None:
    folder = tmp_path / "recorded"
    folder.mkdir()
    begin = NOW // 10**9 - 3600
    rows = "".join(f"{begin + n},{n / 7!r},{'OL' if n % 3 else n},\n" for n in range(50))
    with pa.CompressedOutputStream(str(folder / "wide.csv.zst"), "zstd") as packed:
        packed.write(f"time,F1,M1/1,P1\n{rows}".encode())
    columns = {
        "time": pa.array([(begin + 25) * 10**9 + n for n in range(9)], pa.timestamp("ns", "UTC")),
        "M1/2": pa.array([n / 3 for n in range(8)] + [None]),
    }
    pq.write_table(pa.table(columns), folder / "more.parquet")
    load_files(store, site, [folder], now=NOW)
    report = fed(site, [folder], address)
    with open_store(f"sqlite:///{tmp_path / 'live.db'}") as live:
        listened(site, inbox, report, live)
        assert stored(live) == stored(store)


def times_of(inbox: Inbox, count: int) -> list[int]:
    return [json.loads(message.payload)["t"] for message in inbox.wait(count)]


def test_as_sparkplug_the_same_readings_arrive_to_the_millisecond(
    site: Site, store: Store, tmp_path: Path, inbox: Inbox, address: Broker
) -> None:
    tags = ("M1/1", "M1/2", "S1", "P1", "F1", "F2", "R1", "K1")
    begin = (NOW // 10**9 - 3600) * 1000
    rows = [
        f"{begin + 250 * n},{tags[n % 8]},{'OL' if n % 40 == 0 else n % 2},{'bad' * (n % 24 == 7)}"
        for n in range(400)
    ]
    path = tmp_path / "a.csv"
    path.write_text("time,tag,value,quality\n" + "\n".join(rows))
    load_files(store, site, [path], now=NOW)
    report = fed(site, [path], address, Plan(Form.SPARKPLUG, speed=None, most=7))
    assert report.published == 400
    inbox.wait(report.messages)
    # A death marks what is unknown from then on, at its arrival: no reading is of that time.
    came = {
        point: {sample for sample in samples if sample[0] < NOW}
        for point, samples in _came(site, inbox).items()
    }
    assert came == {point: set(samples) for point, samples in stored(store).items()}


def test_a_sparkplug_host_that_comes_late_is_given_the_births_again(
    site: Site, tmp_path: Path, broker: MosquittoServer, address: Broker
) -> None:
    path = tmp_path / "a.csv"
    path.write_text("time,tag,value\n" + "".join(f"{NOW // 10**9 + n},P1,1\n" for n in range(999)))
    plan = Plan(Form.SPARKPLUG, speed=10.0)
    enough = threading.Event()

    def go_on(*_: object) -> None:
        if enough.is_set():
            raise KeyboardInterrupt

    def feed_until_enough() -> None:
        feed(site, [path], address, plan, clock=lambda: NOW, progress=go_on)

    def kinds() -> list[str]:
        return [message.topic.split("/")[2] for message in list(late.messages)]

    feeding = threading.Thread(target=feed_until_enough)
    late = Inbox(broker.port, "spBv1.0/quay/#")
    feeding.start()
    late.wait(3)  # the births of the node and its two devices
    assert sorted(kinds()[:3]) == ["DBIRTH", "DBIRTH", "NBIRTH"]
    payload = Payload(metrics=[Payload.Metric(name=REBIRTH, datatype=11, boolean_value=True)])
    with Publisher(broker.port, "late-host") as host:
        host.publish([("spBv1.0/quay/NCMD/feed", payload.SerializeToString())])
    until(lambda: kinds().count("DBIRTH") == 4, "the births again")
    enough.set()
    feeding.join()
    until(lambda: kinds()[-1] == "NDEATH", "the death")
    assert kinds().count("NBIRTH") == 2
    assert kinds().count("DBIRTH") == 4
    late.close()


def test_a_feed_keeps_pace_with_the_record(
    site: Site, tmp_path: Path, inbox: Inbox, address: Broker
) -> None:
    begin = NOW // 10**9
    path = tmp_path / "a.csv"
    path.write_text("time,tag,value\n" + "".join(f"{begin + n},P1,1\n" for n in range(9)))
    started = time.monotonic()
    report = fed(site, [path], address, Plan(speed=16.0))
    assert time.monotonic() - started >= 8 / 16  # no upper bound: a shared machine is slow
    assert report.published == 9


def test_times_can_be_shifted_so_that_the_first_is_now(
    site: Site, tmp_path: Path, inbox: Inbox, address: Broker
) -> None:
    path = tmp_path / "a.csv"
    path.write_text("time,tag,value\n1000000000,P1,1\n1000000001.5,P1,1\n1000000002,R1,0\n")
    report = fed(site, [path], address, Plan(speed=None, is_shifted=True))
    assert times_of(inbox, report.messages) == [NOW // 10**6, NOW // 10**6 + 2000]
    assert (report.published, report.rejected) == (2, 1)  # an epoch has no fraction


WANTED = [
    pytest.param(Wanted(), 4, id="all"),
    pytest.param(Wanted(station="rail-2"), 1, id="one-station"),
    pytest.param(Wanted(start=1_700_000_001 * 10**9), 3, id="from-a-moment-on"),
    pytest.param(Wanted(end=1_700_000_001 * 10**9), 1, id="up-to-a-moment-itself-not"),
    pytest.param(Wanted("rail-1", 1_700_000_001 * 10**9, 1_700_000_002 * 10**9), 1, id="all-three"),
]


@pytest.mark.parametrize(("wanted", "count"), WANTED)
def test_only_what_is_wanted_is_fed_and_the_rest_counted(
    site: Site, tmp_path: Path, address: Broker, wanted: Wanted, count: int
) -> None:
    path = tmp_path / "a.csv"
    rows = [(0, "P1"), (1, "P1"), (2, "M1/2"), (3, "R1")]
    path.write_text("time,tag,value\n" + "".join(f"{1_700_000_000 + n},{t},1\n" for n, t in rows))
    report = fed(site, [path], address, Plan(speed=None, wanted=wanted))
    assert (report.read, report.published, report.left_out) == (4, count, 4 - count)


def test_what_cannot_be_taken_is_told_and_does_not_stop_the_rest(
    site: Site, tmp_path: Path, address: Broker
) -> None:
    (tmp_path / "a.csv").write_text(
        "time,tag,value\n1700000000,P1,1\n1700000001,P1,seven\nsome day,P1,1\n1700000002,X9,1\n"
    )
    (tmp_path / "b.csv").write_text("who knows\n1\n")
    (tmp_path / "work.csv").write_text("start,end,station,what\n")
    report = fed(site, [tmp_path], address)
    assert (report.read, report.published, report.rejected) == (5, 1, 4)
    wheres = {Path(each.source).name + " " + each.where for each in report.rejects}
    assert wheres == {"a.csv line 3", "a.csv line 4", "a.csv line 5", "b.csv line 1"}
    assert report.notes == ["work.csv holds work windows: those are not published"]
    assert not report.is_clean


def test_a_feed_of_no_file_that_can_be_read_fails(
    site: Site, tmp_path: Path, address: Broker
) -> None:
    with pytest.raises(IngestError, match="no such file"):
        fed(site, [tmp_path / "none.csv"], address)


def test_a_feed_to_nobody_says_so(site: Site, tmp_path: Path, address: Broker) -> None:
    path = tmp_path / "a.csv"
    path.write_text("time,tag,value\n1700000000,P1,1\n")
    assert fed(site, [path], address).unheard == 1


def test_a_broker_that_is_not_there_is_told_at_once(site: Site, tmp_path: Path) -> None:
    with pytest.raises(BrokerError, match="nobody listens there"):
        fed(site, [tmp_path], Broker("127.0.0.1", free_port()))


def test_rules_and_passwords_of_a_broker_are_told(site: Site, tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text("time,tag,value\n1700000000,P1,1\n1700000000,M1/2,1\n")
    acl = "user feed\ntopic write bondtrail/quay/rail-1/#\n"
    with mosquitto(users={"feed": "right-one"}, acl=acl) as server:
        broker = Broker("127.0.0.1", server.port, user="feed", password="right-one")
        report = fed(site, [path], broker)
        assert (report.published, report.refused, report.is_clean) == (1, 1, False)
        wrong = Broker("127.0.0.1", server.port, user="feed", password="wrong-one")
        with pytest.raises(BrokerError, match="BONDTRAIL_BROKER_PASSWORD") as caught:
            fed(site, [path], wrong)
    assert "wrong-one" not in str(caught.value)


def test_a_broker_restarted_in_the_middle_gets_everything_in_the_end(
    site: Site, store: Store, tmp_path: Path
) -> None:
    files = [long_file(tmp_path, 3, 500, "a.csv")]
    load_files(store, site, files, now=NOW)
    expected = {point: set(samples) for point, samples in stored(store).items()}
    with mosquitto() as server:
        inbox = Inbox(server.port, "bondtrail/quay/#", keeps_session=True)
        stumble = threading.Thread(target=_restarted, args=(server, inbox))
        stumble.start()
        report = fed(site, files, Broker("127.0.0.1", server.port), Plan(speed=None, most=1))
        stumble.join()
        assert report.published == 500
        until(lambda: _came(site, inbox) == expected, "every reading")
        inbox.close()


def _came(site: Site, inbox: Inbox) -> dict[str, set[tuple[int, float, int]]]:
    """Return what came, however often."""
    batch = Decoder(site, source="broker").decode(list(inbox.messages), NOW).batch
    came = {}
    for point, samples in batch.items():
        kept = later_wins(samples)
        columns = kept.time.tolist(), kept.value.tolist(), kept.quality.tolist()
        came[point] = set(zip(*columns, strict=True))
    return came


def _restarted(server: MosquittoServer, inbox: Inbox) -> None:
    # Not killed: it acknowledges a message a moment before it saves it, and may lose that one.
    inbox.wait(50)
    server.stop()
    server.start()
