"""Packages of transfers whose neighbours' readings were removed: what can be judged, is."""

from __future__ import annotations

import json
import shutil
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from analytics.evidence import (
    EvidenceError,
    Grade,
    Outcome,
    Package,
    Verification,
    build,
    verify_bytes,
)
from analytics.evidence.documents import Moment
from analytics.evidence.left import Left
from analytics.replay.missing import REMOVED
from analytics.retention import retain
from analytics.runs import analyse
from bondtrail.site import parse_site
from bondtrail.times import format_time
from store import Floor, Store, layout, open_store
from tests.analytics.core.build import OPEN, Stretch, held, ns
from tests.analytics.evidence import quay
from tests.analytics.evidence.forging import (
    all_anew,
    drawn,
    edited,
    everything,
    grades,
    moved,
    said,
    setting,
    with_page,
)
from tests.analytics.workdays import DAY, HOUR, MINUTE, MONDAY, site, workdays

OHMS = [2.0, 12.0] * 6
"""Twelve days, a transfer each; every other one flows without a good bond."""
NOW = ns(MONDAY + len(OHMS) * DAY + HOUR)
SECOND, THIRD, SEVENTH, EIGHTH, TENTH = 1, 2, 6, 7, 9
"""Open is a finding of the second. The floor is before the eighth, on the day of the seventh."""


@pytest.fixture(scope="module", autouse=True)
def _small() -> Iterator[None]:
    """Three segments a day, and no drawings."""
    with pytest.MonkeyPatch.context() as patch:
        for name, size in {"FULL": 480, "CLOSED": 360, "LARGEST": 720, "REGION": 1920}.items():
            patch.setattr(layout, name, size)
        patch.setattr("analytics.evidence.building.drawings", drawn)
        yield


def opened(file: Path) -> Store:
    return open_store(f"sqlite:///{file}")


def copied(file: Path, folder: Path) -> Path:
    return Path(shutil.copy(file, folder / file.name))


@pytest.fixture(scope="module")
def judged(tmp_path_factory: pytest.TempPathFactory, empty_store: Path, _small: None) -> Path:
    """The file of a store with all twelve days, judged, before anything was removed."""
    file = copied(empty_store, tmp_path_factory.mktemp("judged"))
    with opened(file) as store:
        store.put_site(parse_site(f"{site('spot').text}\n[retention]\nreadings_days = 5\n"), 0)
        for number, ohm in enumerate(OHMS):
            store.write(workdays(ohm, start=MONDAY + number * DAY))
        heard = workdays(2.0, start=MONDAY + len(OHMS) * DAY)["spot.flow"]
        store.write({"elsewhere.flow": heard})
        store.fold()
        analyse(store, now=NOW)
        open_one = next(each for each in store.findings() if each.transfer)
        for each in store.findings():
            if each != open_one:
                store.reviews.add(each, "explained", "Looked at.", "A. Reed", NOW)
    return file


@pytest.fixture(scope="module")
def removed(judged: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    """The store after all was removed that is older than five days and not needed."""
    with opened(copied(judged, tmp_path_factory.mktemp("removed"))) as store:
        assert retain(store, now=NOW).samples
        yield store


@pytest.fixture(scope="module")
def floor(removed: Store) -> Floor:
    found = removed.floors()["spot"]
    starts = [each.start for each in removed.transfers()]
    assert starts[SEVENTH] < found.since < starts[EIGHTH]
    return found


def built(store: Store, number: int, margin_s: float) -> Package:
    return build(store, store.transfers()[number].id, margin_s=margin_s)


@pytest.mark.parametrize(
    ("number", "margin_s"),
    [
        *((SEVENTH, margin_s) for margin_s in (300.0, 6.0 * HOUR, 2.0 * DAY, 6.9 * DAY)),
        *((number, 2.0 * DAY) for number in (SECOND, THIRD, EIGHTH)),
        (TENTH, 6.9 * DAY),
    ],
)
def test_no_result_of_a_neighbour_that_is_gone_is_called_wrong(
    removed: Store, number: int, margin_s: float
) -> None:
    package = built(removed, number, margin_s)
    found = verify_bytes(package.content)
    assert [check for check in found.checks if check.grade is Grade.WRONG] == []
    assert grades(found)["rules"] is Grade.GOOD
    assert found.sound
    assert list(package.unexplained) == []


def about(package: Package | Mapping[str, bytes]) -> Any:
    files = quay.files_of(package.content) if isinstance(package, Package) else package
    return json.loads(files["about.json"])


def test_above_the_floor_a_package_begins_there(removed: Store, floor: Floor) -> None:
    package = built(removed, EIGHTH, 2.0 * DAY)
    tells = about(package)
    moments = {name: each and each["ns"] for name, each in tells["floor"].items()}
    assert moments == {
        "since": floor.since,
        "kept": floor.kept,
        "left_from": floor.kept,
        "left_until": None,
    }
    assert tells["shown_from"]["ns"] == tells["judged"]["since"]["ns"] == floor.since
    page = quay.files_of(package.content)["evidence.html"].decode()
    assert "What happened at this station before 2026-03-08 23:59:59.999." in page
    assert "readings from before 2026-03-08 08:59:00.000 were removed" in page
    told = said(verify_bytes(package.content), "rules")
    assert f"Not judged: what was before {format_time(floor.since)}." in told


def test_before_the_floor_a_package_reaches_as_far_as_the_readings_tell(
    removed: Store, floor: Floor
) -> None:
    """The third is a day after the one that is looked into: what is left ends after it."""
    package = built(removed, THIRD, 6.9 * DAY)
    fourth = removed.transfers()[THIRD + 1]
    tells = about(package)
    assert tells["floor"]["left_from"] is None
    assert tells["floor"]["left_until"]["ns"] <= fourth.start
    assert tells["shown_until"] == tells["floor"]["left_until"]
    page = quay.files_of(package.content)["evidence.html"].decode()
    assert "All that happened at this station before 2026-03-08 23:59:59.999." in page
    assert f"Here they end at {tells['floor']['left_until']['utc'][:10]}" in page
    told = said(verify_bytes(package.content), "rules")
    assert f"until {format_time(floor.since)}" in told


def test_far_above_the_floor_nothing_is_said_of_it(removed: Store) -> None:
    package = built(removed, TENTH, 300.0)
    assert about(package)["floor"] is None
    assert "removed" not in quay.files_of(package.content)["evidence.html"].decode()


def test_a_package_whose_readings_are_held_is_the_same_afterwards(
    judged: Path, tmp_path: Path
) -> None:
    with opened(copied(judged, tmp_path)) as store:
        before = built(store, SEVENTH, 300.0)
        start, end = before.span
        store.holds.add("spot", start, end, transfer=before.transfer, why="w", author="a", at=end)
        assert retain(store, now=NOW).samples
        again = built(store, SEVENTH, 300.0)
    assert (again.span, again.beyond) == (before.span, before.beyond)


def fill(
    store: Store, resistance: Sequence[Stretch], flow: Sequence[Stretch], *, days: int
) -> None:
    """Put two days into a store that keeps all but the first ``days``, and analyse it."""
    store.put_site(parse_site(f"{site('spot').text}\n[retention]\nreadings_days = 3\n"), 0)
    store.write(
        {
            "spot.resistance": held(*resistance, start=MONDAY, every_s=MINUTE),
            "spot.flow": held(*flow, start=MONDAY, every_s=MINUTE),
            "elsewhere.flow": held((MINUTE, 0.0), start=MONDAY + (3 + days) * DAY),
        }
    )
    store.fold()
    analyse(store, now=NOW)


def test_a_hookup_that_was_over_at_the_floor_is_not_told_above_it(
    empty_store: Path, tmp_path: Path
) -> None:
    """The next begins three minutes later, and its replay reaches back to four before it."""
    clamp = [(21 * HOUR, OPEN), (177 * MINUTE, 2.0), (3 * MINUTE, OPEN), (2 * HOUR, 2.0)]
    resistance = [*clamp, (22 * HOUR, OPEN)]
    flow = [(22 * HOUR, 0.0), (HOUR, 60.0), (HOUR, 0.0), (HOUR, 60.0), (23 * HOUR, 0.0)]
    with opened(copied(empty_store, tmp_path)) as store:
        fill(store, resistance, flow, days=1)
        assert retain(store, now=NOW).samples
        over, on = store.hookups()
        floor = store.floors()["spot"].since
        assert over.end < floor < on.start
        package = built(store, 1, 300.0)
    replay = json.loads(quay.files_of(package.content)["replay.json"])
    assert replay["start"] < format_time(over.end)
    assert [each["start"] for each in replay["hookups"]] == [format_time(on.start)]
    found = verify_bytes(package.content)
    assert found.outcome is Outcome.UNCHECKED
    # Readings of the pause before it were removed.
    assert "whether it had begun before" in said(found, "rules")


@pytest.mark.parametrize(
    ("number", "tells_of_it"),
    [pytest.param(SEVENTH, True, id="beside-it"), pytest.param(TENTH, False, id="far-above-it")],
)
def test_a_package_of_the_format_before_floors_is_checked_as_it_was(
    removed: Store, number: int, tells_of_it: bool
) -> None:
    """Of what was removed it tells in its replay alone."""
    files = quay.files_of(built(removed, number, 300.0).content)

    def older(says: Any) -> None:
        says["format"] = 1
        del says["floor"]

    files = with_page(edited(files, "about.json", older))
    missing = json.loads(files["replay.json"])["missing"]
    assert (REMOVED in [each["why"] for each in missing]) is tells_of_it
    assert verify_bytes(quay.remade(files)).sound


@pytest.mark.parametrize(
    ("gone", "reaches"),
    [
        pytest.param((10, 30), (30, None), id="before-it"),
        pytest.param((10, 40), (40, None), id="as-it-begins"),
        pytest.param((10, 41), (None, None), id="into-it"),
        pytest.param((39, 39), (40, None), id="a-moment-before-it"),
        pytest.param((40, 40), (None, None), id="the-moment-it-begins"),
        pytest.param((49, 90), (None, None), id="as-it-is-not-over"),
        pytest.param((50, 90), (None, 50), id="as-it-is-over"),
        pytest.param((99, 120), (None, 99), id="last-before-the-floor"),
        pytest.param((100, 120), (None, None), id="at-the-floor"),
    ],
)
def test_what_is_gone_ends_what_is_left_beside_a_transfer_and_below_the_floor(
    gone: tuple[int, int], reaches: tuple[int | None, int | None]
) -> None:
    left = Left(since=100, kept=90).without([gone], (40, 50))
    assert (left.start, left.end) == reaches


def held_in_part(
    store: Store, clamp: Sequence[Stretch], flow: Sequence[Stretch], *holds: tuple[int, int]
) -> str:
    """Remove a day but for the thirds that are held, from hour to hour; return its transfer.

    A clamp the next day moves the floor away from it.
    """
    next_day = [(26 * HOUR - sum(lasts for lasts, _ in clamp), OPEN), (HOUR, 2.0), (DAY, OPEN)]
    fill(store, [*clamp, *next_day], flow, days=2)
    (transfer,) = store.transfers()
    for hours in holds:
        start, end = (ns(MONDAY + hour * HOUR) for hour in hours)
        store.holds.add("spot", start, end, transfer=transfer.id, why="w", author="a", at=NOW)
    assert retain(store, now=NOW).samples
    assert store.floors()["spot"].kept > ns(MONDAY + DAY)
    return transfer.id


def test_no_package_is_made_where_a_part_of_the_transfer_was_removed(
    empty_store: Path, tmp_path: Path
) -> None:
    clamp = [(14 * HOUR, OPEN), (4 * HOUR, 2.0)]
    flow = [(15 * HOUR, 0.0), (2 * HOUR, 60.0), (31 * HOUR, 0.0)]
    with opened(copied(empty_store, tmp_path)) as store:
        name = held_in_part(store, clamp, flow, (1, 2), (17, 18))
        with pytest.raises(EvidenceError) as raised:
            build(store, name, margin_s=300.0)
    assert str(raised.value).startswith(
        f"{name}: readings lack between 2026-03-02T08:00:00.000Z and 2026-03-02T16:00:00.000Z, "
    )
    assert f"transfer {name}: the rules do not give it" in str(raised.value)
    assert "A hold would have kept them" in raised.value.remedy
    assert raised.value.remedy.endswith(f"bondtrail replay {name}")


def test_no_package_is_made_of_a_transfer_of_which_only_the_end_of_its_clamp_is_left(
    empty_store: Path, tmp_path: Path
) -> None:
    clamp = [(14 * HOUR, OPEN), (135 * MINUTE, 2.0)]
    flow = [(14.5 * HOUR, 0.0), (80 * MINUTE, 60.0), (32 * HOUR + 10 * MINUTE, 0.0)]
    with opened(copied(empty_store, tmp_path)) as store:
        name = held_in_part(store, clamp, flow, (17, 18))
        with pytest.raises(EvidenceError, match=r"and 2026-03-02T16:00:00\.000Z, those"):
            build(store, name, margin_s=300.0)


def test_a_package_ends_where_the_readings_do_behind_a_transfer_that_is_all_there(
    empty_store: Path, tmp_path: Path
) -> None:
    """Its clamp came off seven hours later, which nothing tells any more."""
    clamp = [(13 * HOUR, OPEN), (10 * HOUR, 2.0)]
    flow = [(14 * HOUR, 0.0), (HOUR, 60.0), (33 * HOUR, 0.0)]
    with opened(copied(empty_store, tmp_path)) as store:
        name = held_in_part(store, clamp, flow, (13, 15))
        package = build(store, name, margin_s=300.0)
    found = verify_bytes(package.content)
    assert found.outcome is Outcome.UNCHECKED
    assert "do not reach far enough to tell all of this transfer" in said(found, "rules")
    assert "hookup 2026-03-02T13:00:00.000Z: it goes on after the enclosed" in said(found, "rules")


LONGER = "UPDATE transfer SET flow_s = flow_s + 60 WHERE start_ns = :start"
TAKEN_OUT = "DELETE FROM transfer WHERE start_ns = :start"
DAMAGED = """UPDATE segment SET checksum = checksum + 1
    WHERE first_ns <= :start AND last_ns > :start AND point_id =
    (SELECT id FROM point WHERE name = 'spot.resistance')"""


@pytest.mark.parametrize(
    ("number", "other", "change", "told"),
    [
        pytest.param(THIRD, SECOND, LONGER, "the rules give another flow_s", id="changed"),
        pytest.param(THIRD, SECOND, TAKEN_OUT, "and it is not enclosed", id="taken-out"),
        pytest.param(THIRD, SECOND, DAMAGED, "could not be read", id="damaged"),
        pytest.param(SEVENTH, EIGHTH, LONGER, "the rules give another flow_s", id="above-it"),
    ],
)
def test_a_neighbour_whose_readings_are_there_is_named_where_they_contradict_it(
    removed: Store, judged: Path, tmp_path: Path, number: int, other: int, change: str, told: str
) -> None:
    ids = [each.id for each in removed.transfers()]
    start = removed.transfers()[other].start
    file = copied(judged, tmp_path)
    with opened(file) as store:
        assert retain(store, now=NOW).samples
    with closing(sqlite3.connect(file)) as database, database:
        assert database.execute(change, {"start": start}).rowcount == 1
    with opened(file) as store:
        found = verify_bytes(build(store, ids[number], margin_s=2.0 * DAY).content)
    assert found.outcome is Outcome.WRONG
    assert told in said(found, "rules")


def late(store: Store, number: int) -> None:
    """Let a reading of a minute of flow come, hours before a transfer's, or in its midst."""
    store.write({"spot.flow": held((MINUTE, 60.0), start=MONDAY + number * DAY + 6 * HOUR)})
    store.write({"spot.flow": held((MINUTE, 0.0), start=MONDAY + number * DAY + 8.5 * HOUR)})
    store.fold()
    analyse(store, now=NOW)
    assert store.floors()["spot"].late


def test_what_came_late_for_before_the_floor_makes_no_neighbour_wrong_and_no_package(
    judged: Path, tmp_path: Path
) -> None:
    with opened(copied(judged, tmp_path)) as store:
        assert retain(store, now=NOW).samples
        late(store, SECOND)
        assert verify_bytes(built(store, THIRD, 2.0 * DAY).content).sound
        with pytest.raises(EvidenceError, match="came late for before 2026-03-08T23:59:59"):
            built(store, SECOND, 300.0)


# Floors that are made up


@pytest.fixture(scope="module")
def above(removed: Store) -> dict[str, bytes]:
    """The files of a package whose margin the floor cuts."""
    return quay.files_of(built(removed, TENTH, 6.9 * DAY).content)


@pytest.fixture(scope="module")
def below(removed: Store) -> dict[str, bytes]:
    """The files of a package from before the floor, cut where readings end."""
    return quay.files_of(built(removed, THIRD, 6.9 * DAY).content)


def floored(files: Mapping[str, bytes], **moments: int | None) -> dict[str, bytes]:
    """The files with moments of the floor elsewhere. [ns]"""
    for name, at in moments.items():
        told = None if at is None else Moment.of(at).model_dump()
        files = edited(files, "about.json", setting("floor", name, told))
    return dict(files)


def at(number: int, hour: float) -> int:
    """Return an hour of a day, counted as the transfers are. [ns]"""
    return ns(MONDAY + number * DAY + round(hour * HOUR))


def of_both(files: Mapping[str, bytes]) -> list[Verification]:
    """Check a forged package as it is, and with all else made to follow from it."""
    return [verify_bytes(quay.remade(each)) for each in (files, all_anew(files))]


OWN = "the floor takes away of the transfer's own readings"
GONE = "readings are enclosed of which none should be left"
MORE = "more is judged than the floor leaves"
OTHER = "the floor is not that of what is judged"


@pytest.mark.parametrize(
    ("moments", "why"),
    [
        pytest.param(
            {"kept": at(TENTH, 8.2), "since": at(TENTH, 8.3), "left_from": at(TENTH, 8.2)},
            OWN,
            id="in-the-transfer",
        ),
        pytest.param(
            {"kept": at(TENTH, 12), "since": at(TENTH, 13), "left_from": at(TENTH, 12)},
            OWN,
            id="after-the-transfer",
        ),
        pytest.param({"left_until": at(TENTH, 8.3)}, OWN, id="ends-in-the-transfer"),
        pytest.param({"kept": at(6, 9), "left_from": at(6, 9)}, GONE, id="readings-before-it"),
        pytest.param({"kept": at(6, 10), "left_from": at(6, 10)}, MORE, id="judged-by-gone-ones"),
        pytest.param({"since": at(TENTH, 1)}, OTHER, id="judged-from-before-it"),
        pytest.param({"left_from": None}, OTHER, id="no-beginning"),
        pytest.param({"left_until": at(13, 0)}, OTHER, id="an-end-above-it"),
        pytest.param({"kept": at(8, 0)}, "kept from later than the floor", id="kept-after-it"),
    ],
)  # fmt: skip
def test_a_floor_that_no_station_could_have_is_told(
    above: dict[str, bytes], moments: dict[str, int | None], why: str
) -> None:
    for found in of_both(floored(above, **moments)):
        assert found.outcome is Outcome.WRONG
        assert why in everything(found)


@pytest.mark.parametrize(
    ("moments", "why"),
    [
        pytest.param({"left_from": at(THIRD, 8.3)}, OWN, id="in-the-transfer"),
        pytest.param({"left_until": at(THIRD, 8.3)}, OWN, id="ends-in-the-transfer"),
        pytest.param({"left_from": at(THIRD, 8.1)}, MORE, id="judged-from-before-it"),
        pytest.param({"left_until": at(THIRD, 9)}, MORE, id="judged-until-after-it"),
        pytest.param({"left_until": at(9, 0)}, "were not removed", id="ends-after-the-floor"),
    ],
)
def test_what_is_left_before_a_floor_cannot_be_made_up(
    below: dict[str, bytes], moments: dict[str, int | None], why: str
) -> None:
    for found in of_both(floored(below, **moments)):
        assert found.outcome is Outcome.WRONG
        assert why in everything(found)


def test_without_its_floor_a_package_shows_too_little(above: dict[str, bytes]) -> None:
    for found in of_both(edited(above, "about.json", setting("floor", None))):
        assert found.outcome is Outcome.WRONG
        assert "what is shown begins too late" in everything(found)


def without_earlier(files: Mapping[str, bytes], moment: int) -> dict[str, bytes]:
    """The files without results that ended by a moment. [ns]"""

    def edit(says: Any) -> None:
        for sort in ("transfers", "hookups", "findings"):
            says[sort] = [row for row in says[sort] if row["end_ns"] > moment]
        says["trips"] = [row for row in says["trips"] if row["time_ns"] > moment]

    return edited(files, "results.json", edit)


def test_a_later_floor_does_not_hide_what_the_enclosed_readings_tell(
    above: dict[str, bytes], removed: Store
) -> None:
    """A floor in the night before: of the eighth, without a good bond, nothing would be said."""
    night = at(TENTH, 0) - 1
    hidden = removed.transfers()[EIGHTH]
    files = floored(without_earlier(above, night), since=night)
    files = all_anew(moved(files, since=night, shown_from=night))
    assert f"transfer {hidden.id}: it was before the floor" in everything(
        verify_bytes(quay.remade(files))
    )
    silenced = with_page(edited(files, "about.json", setting("beyond", [])))
    found = verify_bytes(quay.remade(silenced))
    assert found.outcome is Outcome.WRONG
    assert "about.json does not follow from what is enclosed: beyond" in said(found, "documents")


def test_a_floor_in_the_midst_of_something_does_not_hide_it(
    above: dict[str, bytes], removed: Store
) -> None:
    """The clamp is on already, which a floor never is."""
    on = at(TENTH, 8.1)
    assert removed.hookups()[TENTH].start < on < removed.transfers()[TENTH].start
    files = without_earlier(above, on)
    files = edited(files, "results.json", lambda says: says["hookups"].pop(0))
    files = moved(floored(files, since=on), since=on, shown_from=on)
    found = verify_bytes(quay.remade(all_anew(files)))
    assert found.outcome is Outcome.WRONG
    assert "the rules give it, and it is not enclosed" in said(found, "rules")
