"""deploy/make_secrets.py, run as it is."""

from __future__ import annotations

import runpy
from pathlib import Path
from typing import Any

from tests.deploy.composed import ROOT

SCRIPT = ROOT / "deploy" / "make_secrets.py"


def script() -> dict[str, Any]:
    return runpy.run_path(str(SCRIPT))


def make_secrets(folder: Path, *gateways: str) -> int:
    status: int = script()["main"](["--folder", str(folder), *gateways])
    return status
