from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import pytest

from bondtrail.results import Reject
from bondtrail.site import Site, parse_site
from ingest.live.decoding import Decoded, Decoder
from ingest.live.messages import Message

S = 1_000_000_000
NOW = 1_772_400_000 * S

SITE = """
schema = 1
[site]
id = "quay"
name = "Quay (invented)"
timezone = "Europe/Lisbon"
[[station]]
id = "rail-1"
name = "Rail spot 1"
kind = "rail_tank_car"
unit = "M1"
channel = 1
[station.points]
resistance = { alias = ["monitor/+/+#ohm", "bare/+/ohm#"], unit = "kohm" }
status = { alias = ["monitor/+/+#state.code"] }
permissive = { alias = ["PRM-101"] }
flow = { alias = ["plc#FT-101", "plc#flow.rate", "PUMP#1"], unit = "m3/h" }
running = { alias = ["plc#run"] }
bypass = {}
[[station]]
id = "rail-2"
name = "Rail spot 2"
kind = "rail_tank_car"
unit = "M1"
channel = 2
[station.points]
resistance = { alias = ["monitor/+/+#ohm"] }
"""

RAIL = "bondtrail/quay/rail-1"

Row = tuple[str, int, float, int]


@dataclass
class Outcome:
    """What one batch came to."""

    decoded: Decoded

    @property
    def rows(self) -> list[Row]:
        """Point, time, value and quality of what was taken."""
        return [
            (point, *row)
            for point, samples in self.decoded.batch.items()
            for row in zip(
                samples.time.tolist(),
                samples.value.tolist(),
                samples.quality.tolist(),
                strict=True,
            )
        ]

    @property
    def rejects(self) -> list[Reject]:
        return self.decoded.rejects

    @property
    def faults(self) -> list[str]:
        """What is wrong, without what to do."""
        return [reject.reason.partition(":")[0] for reject in self.rejects]

    @property
    def is_whole(self) -> bool:
        """Whether every reading was either taken or rejected."""
        rejected = sum(reject.count for reject in self.rejects)
        return self.decoded.read == len(self.rows) + rejected


Take = Callable[..., Outcome]


@pytest.fixture(scope="session")
def live_site() -> Site:
    return parse_site(SITE)


@pytest.fixture
def decoder(live_site: Site) -> Decoder:
    return Decoder(live_site, source="mqtt://broker:1883")


@pytest.fixture
def take(decoder: Decoder) -> Take:
    """Decode one message that has just arrived."""

    def decode(topic: str, payload: bytes | str, **about: bool) -> Outcome:
        raw = payload.encode() if isinstance(payload, str) else payload
        outcome = Outcome(decoder.decode([Message(topic, raw, NOW, **about)], NOW))
        assert outcome.is_whole
        return outcome

    return decode
