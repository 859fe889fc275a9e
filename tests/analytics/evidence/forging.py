"""What somebody does who wants a package to say something else, and what a check says of it."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
import pytest

from analytics.evidence import Grade, UnreadableError, Verification, verify_bytes
from analytics.evidence import documents as told
from analytics.evidence.building import files_of
from analytics.evidence.manifest import sha256
from analytics.evidence.opened import Opened, opened
from analytics.evidence.page import page
from analytics.evidence.readings import Enclosed, csv, parquet, parse_parquet
from analytics.evidence.rows import json_bytes
from analytics.replay.replayed import Replay
from bondtrail.samples import Samples
from tests.analytics.evidence import quay

S = 1_000_000_000


def drawn(replay: Replay, shown: tuple[int, int]) -> dict[str, bytes]:
    """In place of drawings, which take a second: what they would depend on."""
    lines = [(str(role), line.value.tolist()) for role, line in replay.signals.items()]
    findings = [finding.id for finding in replay.findings]
    return {"record": f"<svg>{sha256(repr((lines, findings, shown)).encode())}</svg>".encode()}


def grades(found: Verification) -> dict[str, Grade]:
    return {check.about: check.grade for check in found.checks}


def said(found: Verification, about: str) -> str:
    return " ".join(next(check for check in found.checks if check.about == about).said)


def everything(found: Verification) -> str:
    return " ".join(sentence for check in found.checks for sentence in check.said)


def is_found(data: bytes, **given: Any) -> bool:
    """Whether a check does not call it sound, one way or the other."""
    try:
        return not verify_bytes(data, **given).sound
    except UnreadableError:
        return True


def edited(
    files: Mapping[str, bytes], name: str, edit: Callable[[Any], object]
) -> dict[str, bytes]:
    says = json.loads(files[name])
    edit(says)
    return {**files, name: json_bytes(says)}


def setting(*path: Any) -> Callable[[Any], None]:
    """Return what sets the value at a path: the last of ``path``."""

    def edit(says: Any) -> None:
        *way, key, value = path
        for step in way:
            says = says[step]
        says[key] = value

    return edit


def with_line(
    files: Mapping[str, bytes], role: str, change: Callable[[Enclosed], Enclosed]
) -> dict[str, bytes]:
    """The files with other readings of a point, in Parquet and CSV alike."""
    name = f"readings/{role}.parquet"
    forged = change(parse_parquet(files[name], name))
    return {**files, name: parquet(forged), f"readings/{role}.csv": csv(forged)}


def with_reading(files: Mapping[str, bytes], second: int, ohm: float) -> dict[str, bytes]:
    """The files with one reading of the resistance another."""

    def change(held: Enclosed) -> Enclosed:
        value = held.samples.value.copy()
        value[np.searchsorted(held.samples.time, quay.START + second * S)] = ohm
        samples = Samples(held.samples.time, value, held.samples.quality)
        return Enclosed(samples, held.arrived_from, held.arrived_until)

    return with_line(files, "resistance", change)


def cut_off(files: Mapping[str, bytes], second: int) -> dict[str, bytes]:
    """The files without any reading from a second on."""

    def change(held: Enclosed) -> Enclosed:
        keep = held.samples.time < quay.START + second * S
        part = Samples(
            held.samples.time[keep], held.samples.value[keep], held.samples.quality[keep]
        )
        return Enclosed(part, held.arrived_from[keep], held.arrived_until[keep])

    for role in ("resistance", "flow", "permissive", "bypass"):
        files = with_line(files, role, change)
    return dict(files)


def moved(files: Mapping[str, bytes], **moments: int) -> dict[str, bytes]:
    """The files with moments of the window, or of what is shown, elsewhere. [ns]"""
    for name, ns in moments.items():
        moment = told.Moment.of(ns).model_dump()
        path = (name,) if name.startswith("shown") else ("judged", name)
        files = edited(files, "about.json", setting(*path, moment))
    return dict(files)


def moment_of(files: Mapping[str, bytes], *path: str) -> int:
    says = json.loads(files["about.json"])
    for step in path:
        says = says[step]
    return int(says["ns"])


def all_anew(files: Mapping[str, bytes]) -> dict[str, bytes]:
    """The package that this software itself makes of the enclosed readings and results.

    Without the checks that refuse a window no package has: whoever forges one leaves them out.
    """
    with pytest.MonkeyPatch.context() as patch:
        for check in ("_check_moments", "_check_heard", "_check_floor"):
            patch.setattr(f"analytics.evidence.opened.{check}", lambda *_: None)
        patch.setattr(Opened, "_check_shown", lambda *_: None)
        package = opened(files)
        again = package.again()
    about = told.about(again, package.about.margin_s)
    made = {**files_of(again, about), "reviews.json": files["reviews.json"]}
    return with_page(made)


def with_page(files: Mapping[str, bytes]) -> dict[str, bytes]:
    """The files with the page that they give."""
    says = {name: json.loads(files[name]) for name in files if name.endswith(".json")}
    about = told.parse_about(files["about.json"])
    below = {
        name: content
        for name, content in files.items()
        if not name.startswith("MANIFEST") and name not in ("signer.pem", "evidence.html")
    }
    return {**files, "evidence.html": page(about, says, below)}
