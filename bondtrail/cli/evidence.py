"""``bondtrail evidence``: a transfer as a package that stands alone; its check; holds."""

from __future__ import annotations

import os
import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from bondtrail.cli import opening, output
from bondtrail.cli.faults import Fault, print_warning
from bondtrail.cli.options import db_option, example
from bondtrail.cli.output import Column, say, site_time, wrapped

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from analytics.evidence import Check, Package, Verification
    from bondtrail.results import Hold
    from store import Store

WRONG = 3
PASSWORD_VARIABLE = "BONDTRAIL_KEY_PASSWORD"
"""What opens an encrypted key: secrets come from the environment."""

LABEL = 12
"""Columns that the name of a check takes."""

KEEP = (
    "Keep both elsewhere, best where neither side of a dispute can reach them: nothing in a "
    "package tells when it was made, or that it was not made anew."
)
PERSONAL = "The package names operators and reviewers as they are on record: mind who gets it."
_DIGEST = re.compile(r"[0-9a-fA-F]{64}\Z")


@click.command(
    "evidence",
    epilog=example(
        "bondtrail evidence rail-1/20260301T061530.000Z --out rail-1.zip --sign key.pem",
        "bondtrail evidence --verify rail-1.zip --key public.pem",
        "bondtrail evidence --holds",
    ),
)
@click.argument("transfer", metavar="TRANSFER", required=False)
@click.option(
    "--out",
    metavar="FILE",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Where to: a .zip. A file that is there already is left as it is.",
)
@click.option("--replace", is_flag=True, help="With --out: write over a file of that name.")
@click.option(
    "--margin",
    metavar="SECONDS",
    type=click.FloatRange(0, 7 * 86_400),
    help="Shown before and after the transfer.  [default: 300]",
)
@click.option(
    "--sign",
    metavar="KEY",
    type=click.Path(path_type=Path, dir_okay=False),
    help=f"Sign with this Ed25519 key (PEM); {PASSWORD_VARIABLE} opens an encrypted one.",
)
@click.option("--hold", is_flag=True, help="Keep these readings from any retention as well.")
@click.option("--why", metavar="TEXT", help="With --hold and --release: what for.")
@click.option("--author", metavar="NAME", help="With --hold and --release: who says so.")
@click.option(
    "--verify",
    metavar="FILE",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Check a package by itself.",
)
@click.option(
    "--key",
    metavar="PUBLIC",
    type=click.Path(path_type=Path, dir_okay=False),
    help="With --verify: the signer's public key (PEM), from the signer.",
)
@click.option(
    "--sha256", metavar="DIGEST", help="With --verify: that of the zip or MANIFEST, as it was kept."
)
@click.option("--holds", is_flag=True, help="Print every hold, the first one first.")
@click.option("--release", metavar="NUMBER", type=int, help="Release a hold.")
@db_option
def command(
    transfer: str | None,
    out: Path | None,
    replace: bool,
    margin: float | None,
    sign: Path | None,
    hold: bool,
    why: str | None,
    author: str | None,
    verify: Path | None,
    key: Path | None,
    sha256: str | None,
    holds: bool,
    release: int | None,
    db: str,
) -> None:
    """Put all that is known of a transfer into a zip that stands alone, or check one.

    TRANSFER is the id that `bondtrail show transfers --format csv` prints. The package holds the
    readings unchanged, with quality and arrival, a margin on both sides and more where the rules
    need it; events, findings, reviews, limits, figures, and one page that tells all of it. The
    same store gives the same bytes.

    --verify needs no store. It checks every byte and the signature, runs the rules again on the
    enclosed readings, and makes everything else again from them. It ends with status 3 if
    anything is wrong, or cannot be checked here.
    """
    given = {
        "TRANSFER": transfer, "--out": out, "--replace": replace or None, "--margin": margin,
        "--sign": sign,
        "--hold": hold or None, "--why": why, "--author": author, "--verify": verify, "--key": key,
        "--sha256": sha256, "--holds": holds or None, "--release": release,
    }  # fmt: skip
    does = _task({name for name, value in given.items() if value is not None})
    if does == "--verify":
        _verify(Path(str(verify)), key, sha256)
        return
    with opening.existing_store(db) as store:
        if does == "--holds":
            _print_holds(store)
        elif does == "--release":
            _release(store, int(str(release)), str(author), str(why))
        else:
            path = _wanted_file(Path(str(out)), replace)
            _build(store, str(transfer), path, margin, sign, _hold_words(hold, why, author))


_TASKS: Mapping[str, tuple[set[str], set[str]]] = {
    "--verify": (set(), {"--key", "--sha256"}),
    "--holds": (set(), set()),
    "--release": ({"--why", "--author"}, set()),
    "TRANSFER": ({"--out"}, {"--replace", "--margin", "--sign", "--hold", "--why", "--author"}),
}
"""What the command does, by what says so: what that needs, and what else goes with it."""


def _task(given: set[str]) -> str:
    """Return which of the tasks is asked for."""
    asked = [name for name in _TASKS if name in given]
    if not asked:
        raise click.UsageError("name a TRANSFER and --out FILE, or --verify FILE, or --holds")
    if len(asked) > 1:
        raise click.UsageError(f"{' and '.join(asked)} go one at a time")
    needed, more = _TASKS[asked[0]]
    missing = sorted(needed - given)
    if missing:
        raise click.UsageError(f"{asked[0]} needs {' and '.join(missing)}")
    strange = sorted(given - {asked[0]} - needed - more)
    if strange:
        raise click.UsageError(f"{strange[0]} does not go with {asked[0]}")
    return asked[0]


def _hold_words(hold: bool, why: str | None, author: str | None) -> tuple[str, str] | None:
    if hold and why and author:
        return why, author
    if hold:
        raise click.UsageError("--hold needs --why and --author: a hold says who wants it, and why")
    if why or author:
        raise click.UsageError("--why and --author go with --hold or --release")
    return None


def _wanted_file(out: Path, replace: bool) -> Path:
    """Return where a package goes, if it may.

    One that was made before may be the only one of a record that has changed since.
    """
    if out.suffix.lower() != ".zip":
        raise click.UsageError(f"--out {out}: the name must end with .zip")
    if not out.parent.is_dir():
        raise Fault(f"--out {out}: there is no folder {out.parent}", "Make it first.")
    if not replace and os.path.lexists(out):
        raise Fault(
            f"--out {out}: there is such a file, and it may be evidence",
            "Take another name, or write over it with --replace.",
        )
    return out


def _build(
    store: Store,
    transfer: str,
    out: Path,
    margin: float | None,
    sign: Path | None,
    hold: tuple[str, str] | None,
) -> None:
    from analytics.evidence import (
        MARGIN_S,
        EvidenceError,
        build,
        read_private_key,
        write_package,
    )

    try:
        password = os.environ.get(PASSWORD_VARIABLE)
        key = None
        if sign is not None:
            key = read_private_key(sign, password.encode() if password else None)
        wanted = MARGIN_S if margin is None else margin
        package = build(store, transfer, margin_s=wanted, key=key)
    except EvidenceError as exc:
        raise Fault(str(exc), exc.remedy) from exc
    held = None if hold is None else _hold(store, package, *hold)
    try:
        write_package(package, out)
    except OSError:
        if held is not None:
            print_warning(f"{held}\n  The package was not written.")
        raise
    print(f"Wrote {out}: {package.files} files, {len(package.content):,} bytes.")
    _print_digests(package.sha256, package.manifest_sha256)
    print(wrapped(KEEP))
    if package.signer:
        print(f"Signed by the key {package.signer}.")
    else:
        print(wrapped("Not signed: without --sign only those digests tell a package made anew."))
    say(*(wrapped(f"Not to be told whole from it: {each}", 2) for each in package.beyond))
    if held is not None:
        say(held)
    print(PERSONAL)
    print(output.CAUTION)
    _warn(package)


def _print_digests(zipped: str, manifest: str) -> None:
    print(f"SHA-256 of the zip:   {zipped}")
    print(f"SHA-256 of MANIFEST:  {manifest}")


def _warn(package: Package) -> None:
    """Warn of what a check of the package will find wrong, and end with that status."""
    for each in package.damaged:
        print_warning(f"stored readings cannot be read: {each}")
    for each in package.unexplained:
        print_warning(f"the rules do not give this again from the readings: {each}")
    if package.damaged or package.unexplained:
        print_warning(
            "the package says so, and so will its check\n"
            "  See: bondtrail check; then bondtrail analyse --all"
        )
        raise click.exceptions.Exit(WRONG)


def _verify(path: Path, key_file: Path | None, digest: str | None) -> None:
    from analytics.evidence import EvidenceError, read_public_key, verify

    if digest is not None and not _DIGEST.match(digest.strip()):
        raise click.UsageError("--sha256: expected 64 hexadecimal digits")
    try:
        key = None if key_file is None else read_public_key(key_file)
        found = verify(path, key=key, expected=digest)
    except EvidenceError as exc:
        where = "" if key_file is not None and str(key_file) in str(exc) else f"{path}: "
        raise Fault(f"{where}{exc}", exc.remedy) from exc
    except MemoryError as exc:
        raise Fault(
            f"{path}: this machine has too little memory to check it, which says nothing of it",
            "Check it on another one.",
        ) from exc
    _print_verification(path, found)
    if not found.sound:
        raise click.exceptions.Exit(WRONG)


def _print_verification(path: Path, found: Verification) -> None:
    say(f"{path}: evidence of {found.transfer or 'what cannot be told'}")
    for check in found.checks:
        say(*_check_lines(check))
    _print_digests(found.sha256, found.manifest_sha256)
    print(output.CAUTION)
    print(_ENDINGS[found.outcome])


_ENDINGS: Mapping[str, str] = {
    "sound": "Nothing wrong was found.",
    "unchecked": "Not all of it could be checked: see above. Nothing wrong was found in the rest.",
    "wrong": "Something is WRONG: see above.",
}
"""The last line, by `analytics.evidence.Outcome`."""


def _check_lines(check: Check) -> Sequence[str]:
    from analytics.evidence import Grade

    sign = {Grade.GOOD: "ok", Grade.WRONG: "WRONG", Grade.UNTOLD: "?"}[check.grade]
    first, *more = check.said
    lead = f"{check.about:<{LABEL}}{sign:<7}"
    indent = len(lead)
    return [
        wrapped(f"{lead}{first}", indent),
        *(wrapped(f"{' ' * indent}{each}", indent) for each in more),
    ]


def _hold(store: Store, package: Package, why: str, author: str) -> str:
    """Hold the enclosed readings, unless a hold of this transfer does so already; say which."""
    start, end = package.span
    for held in store.holds.over(package.station, start, end):
        if held.transfer == package.transfer and held.start <= start and end <= held.end:
            return f"Hold {held.number}, by {held.author}, keeps these readings already."
    try:
        placed = store.holds.add(
            package.station,
            start,
            end,
            transfer=package.transfer,
            why=why,
            author=author,
            at=opening.clock_ns(),
        )
    except ValueError as exc:
        raise Fault(f"--{exc}") from exc
    return f"Hold {placed.number} keeps these readings from any retention until it is released."


def _release(store: Store, number: int, author: str, why: str) -> None:
    try:
        released = store.holds.release(number, author, why, opening.clock_ns())
    except ValueError as exc:
        raise Fault(f"--release: {exc}", "See them: bondtrail evidence --holds") from exc
    say(f"Hold {released.number} of {released.station} is released, by {released.released_by}.")


def _print_holds(store: Store) -> None:
    holds = store.holds.all()
    if not holds:
        print("No holds.")
        return
    zone = opening.needed_site(store).zone
    notes = (f"Times are {zone.key}. Readings of a hold in force are kept whatever the policy.",)
    output.print_table("Holds", _hold_columns(zone), holds, notes)


def _hold_columns(zone: ZoneInfo) -> list[Column[Hold]]:
    return [
        Column("No", lambda hold: str(hold.number), right=True),
        Column("Station", lambda hold: hold.station, wraps=True),
        Column("From", lambda hold: site_time(hold.start, zone)),
        Column("To", lambda hold: site_time(hold.end, zone)),
        Column("Transfer", lambda hold: hold.transfer or "-", wraps=True),
        Column("Placed", lambda hold: f"{site_time(hold.at, zone)}, {hold.author}", wraps=True),
        Column("Why", lambda hold: hold.why, wraps=True),
        Column("Released", lambda hold: _released(hold, zone), wraps=True),
    ]


def _released(hold: Hold, zone: ZoneInfo) -> str:
    if hold.released_at is None:
        return "no: in force"
    return f"{site_time(hold.released_at, zone)}, {hold.released_by}: {hold.released_why}"
