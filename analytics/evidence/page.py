"""All of a package on one page that stands alone: no script, no reference to anything outside it.

The page is made of the other files of the package and of nothing else, so that it can be made
again from them and compared. Everything is escaped by the template.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import lru_cache
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined, Template
from markupsafe import Markup

from analytics.evidence import page_events, page_facts, page_grounds, page_hazard
from analytics.evidence.documents import About
from analytics.evidence.layout import Section
from analytics.evidence.page_facts import Source
from analytics.reports.words import plain, plural

_UNREADABLE = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]"
)

SECTIONS: Sequence[Callable[[Source], Section]] = (
    page_facts.transfer,
    page_facts.showing,
    page_facts.record,
    page_facts.findings,
    page_events.events,
    page_events.missing,
    page_hazard.hazard,
    page_events.typical,
    page_facts.reviews,
    page_facts.paperwork,
    page_grounds.limits,
    page_grounds.coverage,
    page_grounds.enclosed,
)
"""What it is comes first, and what it rests on last."""


def page(about: About, documents: Mapping[str, Any], files: Mapping[str, bytes]) -> bytes:
    """Return the page: the same files give the same bytes.

    Parameters
    ----------
    about : About
        What the package is about.
    documents : mapping
        What each JSON file says, by its name.
    files : mapping
        Contents of the other files by name: the drawings are put in, all have their SHA-256 told.
    """
    source = Source(about, documents, files)
    row = source.results["transfer"]
    text = _template().render(
        about=about,
        flow=source.clock.between(row["start"], row["end"]),
        cautions=about.cautions,
        warnings=[*_warnings(about), *_corrected(source)],
        sections=[tell(source) for tell in SECTIONS],
    )
    return text.encode()


def _warnings(about: About) -> Iterator[str]:
    yield from (f"stored readings cannot be read: {each}" for each in about.damaged)
    for each in about.unexplained:
        yield f"the rules do not give this again from the enclosed readings: {each}"


def _corrected(source: Source) -> Iterator[str]:
    """Yield of which points readings were replaced: what is told may be otherwise for it."""
    count: dict[str, int] = {}
    for row in source.replay["replaced"]:
        count[row["role"]] = count.get(row["role"], 0) + row["count"]
    for role, number in count.items():
        yield (
            f"of {plain(role)} {plural(number, 'reading')} gave way to later values, and all here "
            "is told by the later ones: what the earlier ones said stands under What is missing"
        )


@lru_cache
def _template() -> Template:
    environment = Environment(
        loader=PackageLoader("analytics.evidence", "page"),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=StrictUndefined,
        finalize=_readable,
    )
    return environment.get_template("evidence.html")


def _readable(value: Any) -> Any:
    """Return what is put into the page without characters that no page may hold or that turn text.

    A name from outside could otherwise be shown backwards.
    """
    if isinstance(value, str) and not isinstance(value, Markup):
        return _UNREADABLE.sub("\N{REPLACEMENT CHARACTER}", value)
    return value
