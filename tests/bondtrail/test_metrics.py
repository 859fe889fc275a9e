"""Figures for a monitoring system: each is in the document, and the document names no other."""

from __future__ import annotations

import re
from pathlib import Path

from bondtrail.metrics import Metrics

SERVICE = (Path(__file__).parents[2] / "docs" / "service.md").read_text(encoding="utf-8")


def test_the_document_names_every_figure_and_no_other() -> None:
    named = set(re.findall(r"^\| `(bondtrail_\w+)", SERVICE, re.MULTILINE))
    told = set()
    for family in Metrics().registry.collect():
        told.add(f"{family.name}_total" if family.type == "counter" else family.name)
    assert named == told


def test_each_process_has_figures_of_its_own() -> None:
    one, other = Metrics(), Metrics()
    one.messages.inc()
    assert other.registry.get_sample_value("bondtrail_messages_total") == 0
