"""A package: what is in it, and that the same store gives the same bytes anywhere at any time."""

from __future__ import annotations

import csv
import io
import json
import os
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

import analytics
from analytics.evidence import EvidenceError, Package, build, verify_bytes, write_package
from analytics.evidence.manifest import sha256
from analytics.evidence.signing import is_signed_by, public_key
from analytics.runs import analyse
from bondtrail.results import ReviewState
from bondtrail.samples import Samples
from bondtrail.site import parse_site
from bondtrail.times import parse_time
from store import Store, open_store
from tests.analytics.evidence import quay
from tests.analytics.evidence.conftest import KEY

S = 1_000_000_000


def documents(package: Package) -> dict[str, Any]:
    files = quay.files_of(package.content)
    return {name: json.loads(content) for name, content in files.items() if name.endswith(".json")}


def test_everything_asked_for_is_in_it(made: Package) -> None:
    files = quay.files_of(made.content)
    readings = {
        f"readings/{role}.{form}"
        for role in ("resistance", "permissive", "flow", "bypass")
        for form in ("parquet", "csv")
    }
    assert set(files) - {"figures/hazard.svg"} == readings | {
        "MANIFEST", "README.txt", "about.json", "coverage.json", "events.csv", "evidence.html",
        "figures/record.svg", "paperwork.json", "rejects.json", "replay.json", "results.json",
        "reviews.json", "site/1.toml",
    }  # fmt: skip
    assert files["site/1.toml"].decode() == quay.SITE


def test_it_says_what_it_is(made: Package) -> None:
    assert made.name == "evidence-rail-1-20260301T060640.000Z.zip"
    assert made.sha256 == sha256(made.content)
    assert made.manifest_sha256 == sha256(quay.files_of(made.content)["MANIFEST"])
    assert made.files == len(quay.files_of(made.content))
    assert (made.station, made.transfer, made.signer) == ("rail-1", quay.TRANSFER, None)
    assert (made.beyond, made.unexplained, made.damaged) == ((), (), ())


def test_the_events_of_a_spreadsheet_say_all_that_the_replay_says_of_them(made: Package) -> None:
    files = quay.files_of(made.content)
    told = json.loads(files["replay.json"])["events"]
    rows = list(csv.DictReader(io.StringIO(files["events.csv"].decode())))
    assert set(rows[0]) == set(told[0])
    assert [row["bond"] for row in rows] == [event["bond"] or "" for event in told]


def test_the_margin_is_on_both_sides(made: Package) -> None:
    about = documents(made)["about.json"]
    assert about["margin_s"] == 300
    assert about["shown_from"]["ns"] <= quay.START + 100 * S
    assert about["shown_until"]["ns"] >= quay.START + 1700 * S
    assert made.span[0] <= about["shown_from"]["ns"]
    assert made.span[1] >= about["shown_until"]["ns"]


@pytest.mark.usefixtures("not_drawn")
@pytest.mark.parametrize("margin_s", [0.0, 1.0, 1e5])
def test_any_margin_makes_a_sound_package(quay_store: Store, margin_s: float) -> None:
    package = build(quay_store, quay.TRANSFER, margin_s=margin_s)
    assert verify_bytes(package.content).sound


@pytest.mark.parametrize("margin_s", [-1.0, float("nan"), float("inf"), 1e9])
def test_a_margin_that_is_none_is_refused(quay_store: Store, margin_s: float) -> None:
    with pytest.raises(EvidenceError, match="a margin of"):
        build(quay_store, quay.TRANSFER, margin_s=margin_s)


def test_versions_are_told(made: Package) -> None:
    versions = documents(made)["about.json"]["versions"]
    assert {"bondtrail", "rules", "python", "numpy", "matplotlib", "pyarrow"} <= set(versions)
    assert versions["python"] == ".".join(map(str, sys.version_info[:3]))


def test_how_much_is_on_record_is_told(made: Package) -> None:
    told = documents(made)["coverage.json"]
    assert 0.9 < told["bond"]["share"] <= 1
    assert told["points"]["resistance"]["of_quality"]["uncertain"] == 4
    assert {row["about"] for row in told["judged_on"]} >= {"bond", "transfers"}


def test_quality_and_arrival_stand_beside_each_reading(made: Package) -> None:
    lines = quay.files_of(made.content)["readings/resistance.csv"].decode().splitlines()
    assert lines[0] == "time,value,quality,arrived_from,arrived_until"
    arrived = "2026-03-02T01:00:00.000000000Z"
    assert f"2026-03-01T06:16:40.000000000Z,3.06,1,{arrived},{arrived}" in lines
    assert f"2026-03-01T06:25:00.000000000Z,open,0,{arrived},{arrived}" in lines


def test_reviews_of_what_is_enclosed_are_told_and_all_are_chained(sketched: Package) -> None:
    log = documents(sketched)["reviews.json"]
    assert [row["number"] for row in log] == [1, 2, 3]
    assert [row["comment"] for row in log] == ["first", "of the other", "<i>second</i>"]
    assert [row["previous"] for row in log[1:]] == [row["digest"] for row in log[:-1]]


def test_nothing_in_it_tells_when_or_where_it_was_made(made: Package, quay_file: Path) -> None:
    for content in quay.files_of(made.content).values():
        assert str(quay_file.parent).encode() not in content
        assert os.uname().nodename.encode() not in content or len(os.uname().nodename) < 4
        assert not re.search(rb"2026-1[12]|202[7-9]-", content)


SCRIPT = """
import sys
from analytics.evidence import build
from store import open_store
with open_store(sys.argv[1]) as store:
    package = build(store, sys.argv[2])
print(package.sha256)
"""


def test_another_process_elsewhere_makes_the_same_bytes(
    made: Package, quay_file: Path, tmp_path: Path
) -> None:
    room = str(Path(analytics.__file__).parents[1])
    elsewhere = {"PYTHONHASHSEED": "2", "TZ": "Asia/Kathmandu", "LC_ALL": "C", "USER": "else"}
    done = subprocess.run(
        [sys.executable, "-c", SCRIPT, f"sqlite:///{quay_file}", quay.TRANSFER],
        capture_output=True,
        text=True,
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": room, **elsewhere},
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip() == made.sha256


@pytest.mark.usefixtures("not_drawn")
def test_another_database_makes_the_same_bytes(sketched: Package, postgres_url: str) -> None:
    with open_store(postgres_url) as store:
        quay.fill(store)
        assert build(store, quay.TRANSFER).content == sketched.content


@pytest.mark.usefixtures("not_drawn")
def test_what_comes_later_and_elsewhere_makes_no_difference(
    sketched: Package, quay_store: Store
) -> None:
    later = quay.readings(shift_s=86_400)
    quay_store.write(later)
    quay_store.write({f"rail-2.{name.split('.')[1]}": line for name, line in later.items()})
    quay_store.put_site(parse_site(quay.TIGHTER), parse_time("2026-03-01T22:00:00Z"))
    analyse(quay_store, now=quay.LONG_AFTER)
    quay_store.fold()
    assert build(quay_store, quay.TRANSFER).content == sketched.content


@pytest.mark.usefixtures("not_drawn")
def test_a_review_said_since_is_in_the_next_one(sketched: Package, quay_store: Store) -> None:
    finding = quay_store.finding(quay.LOST)
    assert finding is not None
    quay_store.reviews.add(finding, ReviewState.REJECTED, "no", "B. Crane", quay.LONG_AFTER)
    again = build(quay_store, quay.TRANSFER)
    assert again.content != sketched.content
    assert documents(again)["reviews.json"][3]["author"] == "B. Crane"


def test_a_signature_is_of_the_manifest_by_the_key_it_names(
    signed: Package, sketched: Package
) -> None:
    files = quay.files_of(signed.content)
    key = public_key(files["signer.pem"], "signer.pem")
    assert is_signed_by(key, files["MANIFEST.sig"], files["MANIFEST"])
    assert b"  signer.pem\n" in files["MANIFEST"]
    assert files["results.json"] == quay.files_of(sketched.content)["results.json"]


@pytest.mark.usefixtures("not_drawn")
def test_signing_twice_gives_the_same_bytes(signed: Package, quay_store: Store) -> None:
    assert build(quay_store, quay.TRANSFER, key=KEY).content == signed.content


def test_a_transfer_that_is_none_is_told(quay_store: Store) -> None:
    with pytest.raises(EvidenceError, match="no transfer 'rail-1/x'") as caught:
        build(quay_store, "rail-1/x")
    assert "bondtrail show transfers" in caught.value.remedy


def test_what_waits_for_an_analysis_is_not_enclosed(quay_store: Store) -> None:
    quay_store.write({"rail-1.resistance": Samples.of([quay.START + 500 * S], [9.0])})
    with pytest.raises(EvidenceError, match="to be analysed again") as caught:
        build(quay_store, quay.TRANSFER)
    assert caught.value.remedy == "First: bondtrail analyse"


def test_what_was_judged_by_the_limits_of_another_day_is_not_enclosed(quay_store: Store) -> None:
    quay_store.put_site(parse_site(quay.TIGHTER), quay.LONG_AFTER)
    analyse(quay_store, now=quay.LONG_AFTER, by_present_limits=True)
    with pytest.raises(EvidenceError, match="to be analysed again"):
        build(quay_store, quay.TRANSFER)


def test_what_other_rules_judged_is_not_enclosed(
    quay_store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("analytics.evidence.gathering.RULES_VERSION", "99")
    with pytest.raises(
        EvidenceError, match=r"judged by version .* of the rules, this is version 99"
    ):
        build(quay_store, quay.TRANSFER)


def test_it_replaces_an_earlier_file_whole(made: Package, tmp_path: Path) -> None:
    path = tmp_path / "e.zip"
    path.write_bytes(b"earlier")
    write_package(made, path)
    assert path.read_bytes() == made.content
    assert list(tmp_path.iterdir()) == [path]


def test_a_file_that_cannot_be_written_leaves_the_earlier_one(
    made: Package, tmp_path: Path
) -> None:
    with pytest.raises(OSError, match="e\\.zip"):
        write_package(made, tmp_path / "nowhere" / "e.zip")
    assert list(tmp_path.iterdir()) == []
