"""Checking what a package says: its readings, what the rules make of them, and all the rest."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Any

from analytics.evidence import documents, manifest, replaced
from analytics.evidence.agreeing import contradictions, otherwise
from analytics.evidence.building import PAGE, derived
from analytics.evidence.chain import broken_links, left_out
from analytics.evidence.checks import Check, Grade, graded
from analytics.evidence.documents import About, events_csv
from analytics.evidence.faults import EvidenceError
from analytics.evidence.gathering import Gathered
from analytics.evidence.left import EARLIEST, LATEST
from analytics.evidence.opened import Opened, opened
from analytics.evidence.page import page
from analytics.evidence.readings import csv
from analytics.evidence.rows import differing, parse_json, plain, same
from bondtrail import __version__
from bondtrail.results import RULES_VERSION
from bondtrail.times import format_time

_FAULTS = (
    ArithmeticError, AttributeError, LookupError, MemoryError, RuntimeError, StopIteration,
    TypeError, ValueError,
)  # fmt: skip
"""What a fault of this program raises, a machine that is too small, or nonsense: no telling."""


def _attempt(about: str, check: Callable[[], Check]) -> Check:
    """Return a check, or that it could not be made: that accuses nobody."""
    try:
        return check()
    except EvidenceError as exc:
        return Check(about, Grade.WRONG, [f"{exc}."])
    except _FAULTS as exc:
        return Check(about, Grade.UNTOLD, [_failed(exc)])


def _failed(exc: Exception) -> str:
    if isinstance(exc, MemoryError):
        return "Not looked at: this machine has too little memory for it."
    return (
        f"It cannot be told: this program failed at it ({type(exc).__name__}). Either no store "
        "could have held it, or it is a fault of this program."
    )


def checks_of_content(files: Mapping[str, bytes]) -> tuple[list[Check], str | None]:
    """Return the checks of what the files say, and what they are about."""
    try:
        package = opened(files)
    except EvidenceError as exc:
        return [Check("content", Grade.WRONG, [f"{exc}."])], None
    except _FAULTS as exc:
        return [Check("content", Grade.UNTOLD, [_failed(exc)])], None
    checks = [
        _attempt("readings", lambda: _of_readings(package, files)),
        _attempt("reviews", lambda: _of_reviews(package)),
        *_of_what_follows(package, files),
    ]
    return checks, package.about.transfer


def _of_readings(package: Opened, files: Mapping[str, bytes]) -> Check:
    wrong, count = [], 0
    for role, readings in package.readings.items():
        count += len(readings.samples)
        if files.get(f"readings/{role}.csv") != csv(readings):
            wrong.append(f"readings/{role}.csv does not say what readings/{role}.parquet says.")
    earlier = 0
    for role, values in package.replaced.items():
        earlier += replaced.count(values)
        if files.get(f"readings/{role}.replaced.csv") != replaced.csv(values):
            wrong.append(f"readings/{role}.replaced.csv does not say what its Parquet says.")
    kind = "earlier value that was" if earlier == 1 else "earlier values that were"
    beside = f", and {earlier:,} {kind} replaced" if earlier else ""
    good = f"{count:,} readings{beside}; CSV and Parquet say the same."
    return graded("readings", wrong, good)


def _of_reviews(package: Opened) -> Check:
    log, about = package.documents["reviews.json"], package.about
    name, found = "reviews.json", package.rows["findings"]
    wrong = [f"{each}." for each in broken_links(log, name)]
    wrong += [f"{each}." for each in left_out(log, name, found, *about.shown, about.station)]
    good = f"{len(log)} in the log, each follows the one before it." if log else "There are none."
    return graded("reviews", wrong, good)


def _of_what_follows(package: Opened, files: Mapping[str, bytes]) -> Iterator[Check]:
    """Yield whether rules give the results again, and whether all else follows from them."""
    if package.about.rules != RULES_VERSION:
        yield from _by_other_rules(package)
        return
    try:
        again = package.again()
    except EvidenceError as exc:
        said = f"The rules cannot be run on what is enclosed: {exc}."
        yield Check("rules", Grade.WRONG, [said])
        return
    except _FAULTS as exc:
        yield Check("rules", Grade.UNTOLD, [_failed(exc)])
        yield _attempt("documents", lambda: _of_words(package))
        return
    yield _attempt("rules", lambda: _of_rules(package, again))
    try:
        made = _made_again(package, again)
    except _FAULTS as exc:
        yield Check("documents", Grade.UNTOLD, [_failed(exc)])
        return
    yield _attempt("documents", lambda: _of_documents(package, again, made, files))
    yield _attempt("page", lambda: _of_page(package, again, made, files))


def _by_other_rules(package: Opened) -> Iterator[Check]:
    about = package.about
    said = (
        f"Cannot be checked here: judged by version {about.rules} of the rules, and this is "
        f"version {RULES_VERSION}. Take a Bondtrail like the one that made it, {about.software}."
    )
    yield Check("rules", Grade.UNTOLD, [said])
    yield _attempt("documents", lambda: _of_words(package))
    yield Check("page", Grade.UNTOLD, ["Not looked at: it follows from the rest."])


def _of_rules(package: Opened, again: Gathered) -> Check:
    """Return whether the rules give again what is enclosed."""
    wrong = [f"{each}." for each in again.differences if not each.beyond]
    wrong += [f"stored readings could not be read: {each}." for each in package.about.damaged]
    if wrong:
        return Check("rules", Grade.WRONG, wrong)
    told = ", ".join(
        f"{len(rows)} {sort if len(rows) != 1 else sort[:-1]}"
        for sort, rows in package.rows.items()
    )
    transfer = plain(again.transfer)
    own = [each for each in again.differences if each.is_about(transfer)]
    said = [f"Version {RULES_VERSION}, run again on the readings, gives what is enclosed: {told}."]
    if own:
        said = [
            f"Version {RULES_VERSION} was run again on the readings, which do not reach far "
            "enough to tell all of this transfer."
        ]
    said += [f"Not {_NOT[each.is_given]}: {each}." for each in again.differences]
    said += _left_out(package)
    return Check("rules", Grade.UNTOLD if own else Grade.GOOD, said)


_NOT = {False: "run again", True: "told whole"}


def _left_out(package: Opened) -> Iterator[str]:
    """Yield what is not judged because readings were removed, as the package says."""
    left = package.about.left
    if left is None:
        return
    start, end = left.judged(package.transfer)
    cut = [f"before {format_time(start)}"] if start != EARLIEST else []
    cut += [f"from {format_time(end)} until {format_time(left.since)}"] if end != LATEST else []
    if cut:
        yield (
            f"Not judged: what was {' and '.join(cut)}. Readings from before "
            f"{format_time(left.kept)} were removed, the package says."
        )


def _made_again(package: Opened, again: Gathered) -> Mapping[str, bytes]:
    """Return documents and drawings as the rest of the package gives them."""
    told = documents.told(again)
    # The readings behind the typical transfer are not enclosed, nor is what the log rests on.
    told["replay.json"] |= {"typical": package.documents["replay.json"].get("typical")}
    told["reviews.json"] = package.documents["reviews.json"]
    return derived(again, told)


_UNLISTED = {manifest.NAME, manifest.SIGNATURE, manifest.SIGNER, PAGE}


def _of_words(package: Opened) -> Check:
    """Return whether documents contradict each other, where they cannot be made again."""
    says = package.documents
    wrong = [f"{each}." for each in contradictions(says["replay.json"], says["results.json"])]
    if wrong:
        return Check("documents", Grade.WRONG, wrong)
    said = "They do not contradict each other; whether they follow from the readings is not told."
    return Check("documents", Grade.UNTOLD, [said])


def _of_documents(
    package: Opened, again: Gathered, made: Mapping[str, bytes], files: Mapping[str, bytes]
) -> Check:
    """Return whether the documents follow from the rest: another version may use other words."""
    about = _facts(package.about)
    about_made = _facts(documents.about(again, package.about.margin_s))
    says = {name: parse_json(made[name], name) for name in package.documents}
    wrong = [
        f"{name} does not follow from the readings, results and papers: {', '.join(fields)}."
        for name, told in package.documents.items()
        if (fields := _otherwise(told, says[name]))
    ]
    if fields := _otherwise(about, about_made):
        wrong.append(f"about.json does not follow from what is enclosed: {', '.join(fields)}.")
    untold = bool(wrong) and package.about.software != __version__
    if untold:
        wrong = [f"{each}." for each in otherwise(package.documents, says, about, about_made)]
    replay, results = package.documents["replay.json"], package.documents["results.json"]
    wrong += [f"{each}." for each in contradictions(replay, results)]
    wrong += _of_names(package, made, files)
    good = (
        "Events, estimate, coverage and limits follow from what is enclosed, all but the typical "
        "transfer: the readings behind that are not enclosed."
    )
    if wrong or not untold:
        return graded("documents", list(dict.fromkeys(wrong)), good)
    said = (
        f"Made by Bondtrail {package.about.software}, and this is {__version__}, which tells it "
        "otherwise: bond, trips, findings and figures agree with the readings, and whether all "
        "else follows from them cannot be told."
    )
    return Check("documents", Grade.UNTOLD, [said])


def _facts(about: About) -> dict[str, Any]:
    """Return what is said of a package but by what it was made, and in which format."""
    told = about.model_dump(mode="json")
    del told["software"], told["versions"], told["format"]
    return told


def _of_names(
    package: Opened, made: Mapping[str, bytes], files: Mapping[str, bytes]
) -> Iterator[str]:
    """Yield what no words of another version can explain."""
    about = package.about
    if (about.versions.get("bondtrail"), about.versions.get("rules")) != (
        about.software,
        about.rules,
    ):
        yield "about.json does not name one version throughout."
    if events_csv(package.documents["replay.json"]) != files.get("events.csv"):
        yield "events.csv does not say what replay.json says."
    for name in sorted(_strange(package, made, files)):
        yield f"{name} is no file of a package."


def _strange(package: Opened, made: Mapping[str, bytes], files: Mapping[str, bytes]) -> set[str]:
    """Return the names of files that no package of this content has."""
    readings = {
        f"readings/{name}.{form}"
        for name in (*package.readings, *(f"{role}.replaced" for role in package.replaced))
        for form in ("parquet", "csv")
    }
    sites = {entry.file for entry in package.about.sites}
    return set(files) - _UNLISTED - {"README.txt", "about.json", *made, *readings, *sites}


def _otherwise(a: Any, b: Any) -> list[str]:
    """Return under which keys two documents say something else."""
    if isinstance(a, dict) and isinstance(b, dict):
        return differing(a, b)
    return [] if same(a, b) else ["its rows"]


OF_TEXT = frozenset({"bondtrail", "jinja2", "python", "time zones"})
"""On which the words of the page depend; the drawings depend on all versions."""


def _of_page(
    package: Opened, again: Gathered, made: Mapping[str, bytes], files: Mapping[str, bytes]
) -> Check:
    """Return whether page and drawings are those of the documents: only this software can tell."""
    told, here = package.about.versions, documents.versions(again.replay.site.zone)
    others = {
        name: f"{name} {told.get(name, 'unknown')}" for name in here if told.get(name) != here[name]
    }
    drawn = [
        f"{name} is not what would be drawn."
        for name in made
        if name.endswith(".svg") and files.get(name) != made[name]
    ]
    written = list(_otherwise_written(package, files))
    by_others = OF_TEXT & others.keys()
    if (drawn and not others) or (written and not by_others):
        return Check("page", Grade.WRONG, [*([] if others else drawn), *written])
    if not drawn and not written:
        return Check("page", Grade.GOOD, ["Page and drawings are those of the documents."])
    what = "the page and the drawings are" if written else "the drawings are"
    said = (
        f"Made with {', '.join(others.values())}, which is not what is here: whether {what} those "
        "of the documents cannot be told. Rely on the documents."
    )
    return Check("page", Grade.UNTOLD, [said])


def _otherwise_written(package: Opened, files: Mapping[str, bytes]) -> Iterator[str]:
    """Yield which texts for people are not those of the other files."""
    if files.get("README.txt") != documents.README.encode():
        yield "README.txt is not that of a package."
    below = {name: says for name, says in files.items() if name not in _UNLISTED}
    if files.get(PAGE) != page(package.about, package.documents, below):
        yield f"{PAGE} does not say what the other files say."
