"""A tiny invented site with one transfer that went wrong, and packages of it made and remade."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from analytics.evidence import manifest
from analytics.evidence.archive import member, pack, unpack
from analytics.evidence.signing import Ed25519PrivateKey
from analytics.runs import analyse
from bondtrail.results import ReviewState, Ticket, WorkWindow
from bondtrail.samples import Samples
from bondtrail.site import parse_site
from bondtrail.times import parse_time, stamp
from store import Store

S = 1_000_000_000
START = parse_time("2026-03-01T06:00:00Z")
LONG_AFTER = parse_time("2026-03-20T00:00:00Z")
ARRIVED = parse_time("2026-03-02T01:00:00Z")

SITE = """\
schema = 1
[site]
id = "quay"
name = "Test Quay (invented) <b>& sons</b>"
timezone = "Europe/Lisbon"

[limits]
resume_within_s = 60.0

[product.toluene]
phase = "liquid"
conductivity_pS_m = 1.0
relative_permittivity = 2.4
mie_mJ = 0.24
source = "invented for this test"

[[station]]
id = "rail-1"
name = "Rail spot 1"
kind = "rail_tank_car"
product = "toluene"
pipe_diameter_m = 0.10
capacitance_pF = 1000.0
[station.points]
resistance = { unit = "ohm" }
permissive = { stale_after_s = 7200 }
flow = { unit = "L/min" }
bypass = { stale_after_s = 7200 }
"""

TIGHTER = SITE.replace("resume_within_s = 60.0", "resume_within_s = 60.0\nlimit_ohm = 5.0")


def _between(second: np.ndarray, start: int, end: int) -> np.ndarray:
    return (second >= start) & (second < end)


def readings(*, shift_s: int = 0) -> dict[str, Samples]:
    """Thirty minutes at 1 Hz: clamp on, flow, the bond away for 20 s of it, flow off, clamp off."""
    second = np.arange(1800)
    time = START + (second + shift_s) * S
    ohm = np.where(_between(second, 300, 1500), 3.0 + 0.01 * (second % 7), np.inf)
    ohm = np.where(_between(second, 900, 920), 4000.0, ohm)
    quality = np.where(_between(second, 1000, 1004), 1, 0)
    flow = np.where(_between(second, 400, 1400), 800.0, 0.0)
    on = np.array([0, 400, 1400, 1799])
    return {
        "rail-1.resistance": Samples.of(time, ohm, quality),
        "rail-1.flow": Samples.of(time, flow),
        "rail-1.permissive": Samples.of(START + (on + shift_s) * S, [0.0, 1.0, 0.0, 0.0]),
        "rail-1.bypass": Samples.of(START + shift_s * S + np.array([0, 1799]) * S, [0.0, 0.0]),
    }


TRANSFER = f"rail-1/{stamp(START + 400 * S)}"
LOST = f"rail-1/bond_lost_in_flow/{stamp(START + 900 * S)}"


def fill(store: Store) -> None:
    """Put the site, its readings and papers into an empty store, analyse and review them."""
    store.put_site(parse_site(SITE), 0)
    store.write(readings(), arrived=ARRIVED)
    store.put_tickets([Ticket("rail-1", START, START + 1800 * S, "B-7", "toluene", "=A. Reed")])
    store.put_work([WorkWindow("rail-1", START - 7200 * S, START - 3600 * S, "clamp replaced")])
    analyse(store, now=LONG_AFTER)
    lost = store.finding(LOST)
    assert lost is not None
    other = store.findings("rail-1", kind="permissive_without_bond")[0]
    for finding, said in ((lost, "first"), (other, "of the other"), (lost, "<i>second</i>")):
        store.reviews.add(finding, ReviewState.CONFIRMED, said, "A. Reed", LONG_AFTER)


def files_of(package: bytes) -> dict[str, bytes]:
    """Return the contents of a package."""
    return unpack(package).contents()


def remade(
    files: Mapping[str, bytes], *, listed: bool = True, key: Ed25519PrivateKey | None = None
) -> bytes:
    """Return a package of these files, its MANIFEST made anew unless it is to be left as it is."""
    held = dict(files)
    if listed:
        rest = [
            member(name, content)
            for name, content in held.items()
            if name not in (manifest.NAME, manifest.SIGNATURE)
        ]
        held[manifest.NAME] = manifest.manifest(rest)
    if key is not None:
        held[manifest.SIGNATURE] = key.sign(held[manifest.NAME])
    return pack(member(name, content) for name, content in held.items())
