"""Rows that could not be taken: a package tells of them, and still follows from what is in it."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from analytics.evidence import Grade, UnreadableError, build, verify_bytes
from analytics.evidence.opened import opened
from analytics.evidence.rows import json_bytes, parse_json
from bondtrail.results import Reject
from store import open_store
from tests.analytics.evidence import quay
from tests.analytics.evidence.forging import drawn

S = 1_000_000_000
DAY = 86_400 * S


COUNTED = Reject(
    "mqtt://broker", "topic a/b", "no number", "x", quay.ARRIVED, 41, "rail-1.resistance",
    quay.START - 900 * S, quay.ARRIVED + 5, quay.START + 902 * S,
)  # fmt: skip
OF_LATER_YEARS = replace(
    COUNTED, at=quay.ARRIVED + 2 * DAY, time=quay.START + 2 * DAY, last_at=None,
    last_time=quay.START + 2 * DAY + 5 * S,
)  # fmt: skip


@pytest.fixture
def package(quay_file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> bytes:
    monkeypatch.setattr("analytics.evidence.building.drawings", drawn)
    shutil.copy(quay_file, tmp_path / "quay.db")
    with open_store(f"sqlite:///{tmp_path}/quay.db") as store:
        rows = [
            Reject("x.csv", f"line {n}", "resistance '-4'", "-4", quay.ARRIVED, 1,
                   "rail-1.resistance", quay.START + n * S + 123)
            for n in (903, 901)
        ]  # fmt: skip
        store.put_rejects(rows)
        store.write({}, rejects=[COUNTED, OF_LATER_YEARS])
        return build(store, quay.TRANSFER).content


def test_a_package_tells_of_them_and_is_sound(package: bytes) -> None:
    replay = parse_json(quay.files_of(package)["replay.json"], "replay.json")
    assert [each["where"] for each in replay["rejected"]] == ["topic a/b", "line 901", "line 903"]
    assert [each.get("count") for each in replay["rejected"]] == [41, None, None]
    assert [each.count for each in opened(quay.files_of(package)).rejects] == [41, 1, 1]
    rows = parse_json(quay.files_of(package)["rejects.json"], "rejects.json")["rejects"]
    assert ["last_at" in each for each in rows] == [True, False, False]  # as before there were any
    found = verify_bytes(package)
    assert [check for check in found.checks if check.grade is Grade.WRONG] == []


@pytest.mark.parametrize(
    "rows", [{}, {"role": 1}, [1], ["role"], [{"role": "flow"}], [{"time": "never"}], 7]
)
def test_rows_that_are_none_are_refused(package: bytes, rows: Any) -> None:
    files = quay.files_of(package)
    replay = parse_json(files["replay.json"], "replay.json")
    (_, first, _) = replay["rejected"]
    if isinstance(rows, list) and isinstance(rows[0], dict) and "time" in rows[0]:
        rows = [{**first, **rows[0]}]
    files["replay.json"] = json_bytes({**replay, "rejected": rows})
    with pytest.raises(UnreadableError, match="rows that were not taken"):
        opened(files)
