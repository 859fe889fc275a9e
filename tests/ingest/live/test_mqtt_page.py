"""docs/mqtt.md says what is so: its examples are taken, and every reason stands in it."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from bondtrail.site import parse_site
from ingest.faults import Fault
from ingest.live.decoding import Decoder
from ingest.live.mapped import mapped_topic
from ingest.live.messages import Message
from tests.ingest.live.conftest import NOW, RAIL, SITE, Take

PAGE = (Path(__file__).parents[3] / "docs" / "mqtt.md").read_text(encoding="utf-8")
JSON = re.findall(r"```json\n(.*?)```", PAGE, re.DOTALL)

FILES_ONLY = {
    *(Fault.QUOTE, Fault.COLUMNS, Fault.LONG_LINE, Fault.SPAN, Fault.BLANK, Fault.TAG, Fault.FILE),
}


@pytest.mark.parametrize("fault", [fault for fault in Fault if fault not in FILES_ONLY])
def test_every_reason_is_told(fault: Fault) -> None:
    assert f"| `{fault}` |" in PAGE


@pytest.mark.parametrize("payload", JSON)
def test_examples_are_taken(take: Take, payload: str) -> None:
    found = json.loads(payload)
    is_point = "v" in (found[0] if isinstance(found, list) else found)
    outcome = take(f"{RAIL}/resistance" if is_point else RAIL, payload)
    assert outcome.rows
    assert outcome.rejects == []


def test_example_of_aliases_is_taken() -> None:
    table, *_ = re.findall(r"```toml\n\[station.points\]\n(.*?)```", PAGE, re.DOTALL)
    head = SITE.partition("[station.points]")[0]
    site = parse_site(f"{head}[station.points]\n{table}")
    aliases = [alias for point in site.points() for alias in point.aliases]
    assert [mapped_topic(alias) for alias in aliases] == [
        ("monitor/M1/in/1", "ohm"),
        ("plc/bay-3", "contacts.permissive"),
        ("flow/FT-101", ""),
    ]
    messages = [
        Message("monitor/M1/in/1", b'{"ohm": 2.3}', NOW),
        Message("plc/bay-3", b'{"contacts": {"permissive": true}}', NOW),
        Message("flow/FT-101", b"812.0", NOW),
    ]
    decoded = Decoder(site, source="x").decode(messages, NOW)
    assert len(decoded.batch) == 3
    assert decoded.rejects == []
