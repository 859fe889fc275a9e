"""What the documents of a package must say alike, whatever version of Bondtrail wrote them.

Words may differ from one version to the next. Moments, ids and figures may not.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from analytics.core.electrostatics.spread import Level
from analytics.core.events import What
from analytics.evidence.rows import Plain, same
from bondtrail.objects import TRANSFER, finite

BOND = frozenset(
    {
        What.BOND_UNKNOWN,
        What.BOND_KNOWN,
        What.BOND_LOST,
        What.CIRCUIT_OPEN,
        What.CLAMP_OFF,
        What.CONTACT,
        What.BOND_LOW,
        What.VERIFIED,
    }
)
_FOUND = frozenset({What.FINDING, What.GOING_ON})
PEAKS = ("peak_potential_V", "peak_charge_uC", "peak_energy_mJ")

_NUMBERS_OF_ABOUT = (
    "rules", "site", "timezone", "station", "transfer", "margin_s", "shown_from", "shown_until",
    "judged", "floor", "sites", "points",
)  # fmt: skip


def contradictions(replay: Mapping[str, Any], results: Mapping[str, Any]) -> Iterator[str]:
    """Yield where ``replay.json`` says otherwise than ``results.json``, a sentence each.

    Neither is made again for it.
    """
    yield from _of_transfer(replay["transfer"], results["transfer"])
    yield from _of_moments(replay, results)
    if not replay.get("caution"):
        yield "replay.json: the caution was taken out"
    unseen = replay["hazard"].get("unseen")
    if not isinstance(unseen, list) or not unseen or not all(unseen):
        yield "replay.json: what the estimate cannot see was taken out"


def _of_transfer(told: Plain | None, row: Plain) -> Iterator[str]:
    if told is None:
        yield "replay.json tells no transfer"
        return
    for name in TRANSFER:
        if name not in told or not same(told[name], finite(row.get(name))):
            yield f"replay.json tells another {name} of the transfer than results.json"


def _of_moments(replay: Mapping[str, Any], results: Mapping[str, Any]) -> Iterator[str]:
    """Yield which trips and findings are told of one and not of the other.

    Moments are ISO 8601 of one length, which sorts as text. What is at an end of the replay, to
    the millisecond, may be told or not.
    """
    start, end = replay["start"], replay["end"]
    events = replay["events"]
    trips = {row["time"] for row in results["trips"]}
    told = {each["time"] for each in events if each["what"] == What.TRIP}
    yield from _sets("trip", told, trips, {time for time in trips if start < time < end})
    findings = {row["id"] for row in results["findings"]}
    named = {each["finding"] for each in events if each["what"] in _FOUND}
    inside = {
        row["id"]
        for row in results["findings"]
        if row["start"] < end and max(row["start"], row["end"]) > start
    }
    yield from _sets("finding", named, findings, inside)


def _sets(sort: str, told: set[Any], known: set[Any], needed: set[Any]) -> Iterator[str]:
    for each in sorted(map(str, told - known)):
        yield f"replay.json tells of a {sort} that results.json does not hold, {each}"
    for each in sorted(map(str, needed - told)):
        yield f"replay.json does not tell of the {sort} {each}"


def otherwise(
    says: Mapping[str, Any], made: Mapping[str, Any], about: Plain, about_made: Plain
) -> Iterator[str]:
    """Yield which figures and moments do not come out when documents are made again.

    Parameters
    ----------
    says, made : mapping
        What the documents say, and what they say when made again, by the name of the file.
    about, about_made : mapping
        The same of ``about.json``.
    """
    for name in _NUMBERS_OF_ABOUT:
        if not same(about[name], about_made[name]):
            yield f"about.json does not follow from what is enclosed: {name}"
    if not about["cautions"]:
        yield "about.json: the cautions were taken out"
    told, again = says["replay.json"], made["replay.json"]
    if not same(_bond(told), _bond(again)):
        yield "replay.json does not tell what the bond did as the readings do"
    for name in ("replaced", "rejected"):
        if not same(told.get(name), again[name]):
            yield f"replay.json does not tell what was {name}"
    if not same(_peaks(told["hazard"]), _peaks(again["hazard"])):
        yield "replay.json: the peaks of the estimate do not come out again"
    for name in ("span_s", "bond", "points"):
        if not same(says["coverage.json"].get(name), made["coverage.json"][name]):
            yield f"coverage.json does not follow from the readings: {name}"
    if not same(says["paperwork.json"], made["paperwork.json"]):
        yield "paperwork.json does not follow from what is enclosed"


def _bond(replay: Mapping[str, Any]) -> list[list[Any]]:
    return [
        [each["time"], each["what"], each["ohm"]]
        for each in replay["events"]
        if each["what"] in BOND
    ]


def _peaks(hazard: Mapping[str, Any]) -> list[Any]:
    return [
        None if hazard[level] is None else [hazard[level][name] for name in PEAKS]
        for level in map(str, Level)
    ]
