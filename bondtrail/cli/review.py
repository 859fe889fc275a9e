"""``bondtrail review``: what people say of findings, and the log of it."""

from __future__ import annotations

from collections.abc import Callable
from operator import attrgetter
from typing import TYPE_CHECKING, NamedTuple

import click

from bondtrail.cli import opening, output
from bondtrail.cli.faults import Fault, print_warning, printable
from bondtrail.cli.options import db_option, example, format_option
from bondtrail.objects import Fields, as_object, moment
from bondtrail.results import Review, ReviewState

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from store import Store

BROKEN = 3

NOT_SIGNED_IN = (
    "Authors are as typed: nobody signs in to this command, so a name is no proof of who it was."
)
CUT_OFF = (
    "A log cut off at its end looks whole from inside: keep the last digest elsewhere to tell."
)


@click.command(
    "review",
    epilog=example(
        "bondtrail review rail-1/chattering/20260301T061530.000Z --state explained"
        ' --comment "clamp replaced" --author "A. Reed"',
        "bondtrail review --log",
        "bondtrail review --verify",
    ),
)
@click.argument("finding", metavar="FINDING", required=False)
@click.option("--state", type=click.Choice(list(map(str, ReviewState))), help="What it is.")
@click.option("--comment", metavar="TEXT", help="Why, in your own words.")
@click.option("--author", metavar="NAME", help="Who says so, as it is to stand in the log.")
@click.option("--log", "listed", is_flag=True, help="Print every review, the first one first.")
@click.option("--verify", is_flag=True, help="Check the log for what was edited or taken out.")
@format_option("With --log: for people, spreadsheets or programs.")
@db_option
def command(
    finding: str | None,
    state: str | None,
    comment: str | None,
    author: str | None,
    listed: bool,
    verify: bool,
    form: str,
    db: str,
) -> None:
    """Say of a finding what it is, or show what was said.

    FINDING is the id that `bondtrail show findings --format csv` prints. What is said stays: a
    later review stands after it, none is changed or deleted. A review follows its finding when
    that is judged anew; when it is gone, the review stays in the log as orphaned.

    --verify ends with status 3 if the log is not as it was written.
    """
    said = {"FINDING": finding, "--state": state, "--comment": comment, "--author": author}
    if listed + verify + any(value is not None for value in said.values()) > 1:
        raise click.UsageError("a review, --log and --verify go one at a time")
    if form != "table" and not listed:
        raise click.UsageError("--format goes with --log")
    if not listed and not verify:
        missing = [name for name, value in said.items() if value is None]
        if missing:
            raise click.UsageError(f"a review needs {', '.join(missing)}; or give --log, --verify")
    with opening.existing_store(db) as store:
        if verify:
            _verify(store)
        elif listed:
            _print_log(store, form)
        else:
            _add(store, str(finding), str(state), str(comment), str(author))


def _add(store: Store, finding_id: str, state: str, comment: str, author: str) -> None:
    finding = store.finding(finding_id)
    if finding is None:
        raise Fault(
            f"no finding {finding_id!r}",
            "Their ids: bondtrail show findings --format csv.",
        )
    try:
        said = store.reviews.add(finding, state, comment, author, opening.clock_ns())
    except ValueError as exc:
        raise Fault(f"--{exc}") from exc
    print(printable(f"Review {said.number} of {said.finding}: {said.state}, by {said.author}."))
    print(printable(finding.summary))
    print(output.CAUTION)


class Logged(NamedTuple):
    """A review, and whether its finding is gone."""

    review: Review
    orphaned: bool


def _as_is(name: str) -> Callable[[Logged], object]:
    return attrgetter(f"review.{name}")


def _moment(name: str) -> Callable[[Logged], object]:
    return moment(f"review.{name}")


FIELDS: Fields[Logged] = {
    "number": _as_is("number"),
    "at": _moment("at"),
    **{name: _as_is(name) for name in ("author", "state", "finding", "kind", "station")},
    "start": _moment("start"),
    "end": _moment("end"),
    "comment": _as_is("comment"),
    "orphaned": attrgetter("orphaned"),
    **{name: _as_is(name) for name in ("previous", "digest")},
}


def _print_log(store: Store, form: str) -> None:
    alone = {review.number for review in store.reviews.orphaned()}
    log = [Logged(review, review.number in alone) for review in store.reviews.log()]
    if store.reviews.verify():
        print_warning("the log is not as it was written: bondtrail review --verify says where")
    if form == "json":
        output.print_json(as_object(FIELDS, row) for row in log)
    elif form == "csv":
        output.print_csv(list(FIELDS), (as_object(FIELDS, row) for row in log))
    elif log:
        zone = opening.needed_site(store).zone
        notes = (f"Times are {zone.key}.", NOT_SIGNED_IN)
        output.print_table("Reviews", _columns(zone), log, notes)
    else:
        print("No reviews.")


def _columns(zone: ZoneInfo) -> list[output.Column[Logged]]:
    return [
        output.Column("No", lambda row: str(row.review.number), right=True),
        output.Column("Said", lambda row: output.site_time(row.review.at, zone)),
        output.Column("By", lambda row: row.review.author, wraps=True),
        output.Column("State", lambda row: row.review.state),
        output.Column("Finding", _finding, wraps=True),
        output.Column("Comment", lambda row: row.review.comment, wraps=True),
    ]


def _finding(row: Logged) -> str:
    return f"{row.review.finding} (orphaned)" if row.orphaned else row.review.finding


def _verify(store: Store) -> None:
    problems = store.reviews.verify()
    for problem in problems:
        print_warning(f"review {problem.number} is broken: {problem.why}")
    if problems:
        places = output.counted(len(problems), "place")
        print_warning(
            f"the review log is not as it was written, at {places}\n"
            "  Compare it with a backup of the store: bondtrail review --log --format csv"
        )
        raise click.exceptions.Exit(BROKEN)
    log = store.reviews.log()
    print(f"{output.counted(len(log), 'review')}: each follows the one before it, none was edited.")
    if log:
        print(f"The last, {log[-1].number}, has the digest {log[-1].digest}.")
    print(CUT_OFF)
