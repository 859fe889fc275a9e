"""A historian to put readings into and ask by its commands, as a person would."""

from __future__ import annotations

import io
import json
import os
from collections.abc import Iterable
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from unittest import mock

from bondtrail.cli import main, opening
from bondtrail.settings import DB_VARIABLE, SITE_VARIABLE
from tests.published.readings import (
    DAY,
    Reading,
    Work,
    csv_text,
    repeated,
    work_text,
)

Objects = list[dict[str, Any]]


@dataclass(frozen=True)
class Outcome:
    """What a command left: its exit status and what it printed."""

    status: int
    out: str
    err: str


@dataclass(frozen=True)
class Historian:
    """A folder with a site file, readings and a store, and a clock that stands at ``now``. [ns]"""

    folder: Path
    now: int
    answers: dict[tuple[str, ...], Outcome] = field(default_factory=dict, compare=False)
    """What was asked before: many tests ask the same, and nothing changes between."""

    @property
    def environment(self) -> dict[str, str]:
        """The variables by which commands find the site file and the store."""
        return {
            SITE_VARIABLE: str(self.folder / "site.toml"),
            DB_VARIABLE: f"sqlite:///{self.folder / 'bondtrail.db'}",
        }

    def run(self, *arguments: str) -> Outcome:
        """Run a command inside this process."""
        out, err = io.StringIO(), io.StringIO()
        with (
            mock.patch.dict(os.environ, self.environment),
            mock.patch.object(opening, "clock_ns", return_value=self.now),
            redirect_stdout(out),
            redirect_stderr(err),
        ):
            status = main(arguments)
        return Outcome(status, out.getvalue(), err.getvalue())

    def done(self, *arguments: str) -> Outcome:
        """Run a command that has nothing to complain of."""
        outcome = self.run(*arguments)
        assert (outcome.status, outcome.err) == (0, ""), outcome
        return outcome

    def asked(self, *arguments: str) -> Any:
        """Return what a command that changes nothing prints for programs."""
        if arguments not in self.answers:
            self.answers[arguments] = self.done(*arguments, "--format", "json")
        return json.loads(self.answers[arguments].out)

    def show(self, *arguments: str) -> Objects:
        """Return what ``show`` prints for programs."""
        found: Objects = self.asked("show", *arguments)
        return found

    def by_station(self, *arguments: str) -> dict[str, dict[str, Any]]:
        """Return what ``show`` prints for programs, one object a station."""
        found = self.show(*arguments)
        told = {row["station"]: row for row in found}
        assert len(told) == len(found)
        return told


def recorded(
    folder: Path, site: str, readings: Iterable[Reading], work: Iterable[Work] = ()
) -> Historian:
    """Return a historian that has loaded and analysed readings; its clock is past their end."""
    told = list(readings)
    last = max(reading.time for reading in told)
    (folder / "site.toml").write_text(site, encoding="utf-8")
    (folder / "readings.csv").write_text(csv_text(repeated(told)), encoding="utf-8")
    (folder / "work.csv").write_text(work_text(work), encoding="utf-8")
    historian = Historian(folder, last + 10 * DAY)
    historian.done("load", str(folder / "readings.csv"), str(folder / "work.csv"))
    historian.done("analyse")
    return historian
