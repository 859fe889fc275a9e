"""Packages made by somebody who knows how they are checked: none of them is called sound."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from analytics.evidence import Grade, Outcome, Package, build, verify_bytes
from analytics.evidence import documents as told
from bondtrail.times import format_time
from store import Store
from tests.analytics.evidence import quay
from tests.analytics.evidence.forging import (
    all_anew,
    cut_off,
    drawn,
    edited,
    everything,
    grades,
    moment_of,
    moved,
    said,
    setting,
    with_page,
)
from tests.analytics.evidence.test_gathering import bowl

S = 1_000_000_000
DAY = 86_400


@pytest.fixture(scope="module", autouse=True)
def _not_drawn() -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("analytics.evidence.building.drawings", drawn)
        yield


@pytest.fixture(scope="module")
def made(sketched: Package) -> Package:
    return sketched


def _without_findings(says: Any) -> None:
    says["findings"] = []
    for row in (says["transfer"], *says["transfers"]):
        row |= {"compliant": True, "not_bonded_s": 0.0, "trips": 0, "findings": []}
    says["trips"] = []


def _without_isolation(says: Any) -> None:
    gone = [row["id"] for row in says["findings"] if row["kind"] == "item_isolated"]
    says["findings"] = [row for row in says["findings"] if row["id"] not in gone]
    for row in (says["transfer"], *says["transfers"]):
        row["findings"] = [name for name in row["findings"] if name not in gone]
    assert gone


# The window


def test_a_window_in_which_nothing_is_judged_is_refused(made: Package) -> None:
    """Readings untouched; judged from the end of what is shown on; all findings left out."""
    files = quay.files_of(made.content)
    files = edited(files, "results.json", _without_findings)
    files = moved(files, since=moment_of(files, "judged", "until"))
    found = verify_bytes(quay.remade(all_anew(files)))
    assert found.outcome is Outcome.WRONG
    assert "the moments of what is enclosed are out of order" in everything(found)


def test_a_record_that_ends_before_the_bond_was_lost_is_refused(made: Package) -> None:
    """All readings from then on are left out, and the window ends with them."""
    files = cut_off(quay.files_of(made.content), 890)
    files = edited(files, "results.json", _without_findings)
    end = quay.START + 890 * S
    files = moved(files, until=end, end=end, shown_until=end)
    for number in range(4):
        heard = told.Moment.of(end).model_dump()
        files = edited(files, "about.json", setting("points", number, "heard_until", heard))
    found = verify_bytes(quay.remade(all_anew(files)))
    assert found.outcome is Outcome.WRONG
    assert "what is shown ends too early for the transfer" in everything(found)


def test_readings_that_do_not_reach_over_the_window_are_found(made: Package) -> None:
    """The window stays, what coverage tells of it too, and what no rule sees any more is gone."""
    files = cut_off(quay.files_of(made.content), 890)
    found = verify_bytes(quay.remade(files))
    assert found.outcome is Outcome.WRONG
    assert grades(found)["rules"] is Grade.WRONG
    assert "coverage.json does not follow" in said(found, "documents")


@pytest.mark.parametrize(
    ("moments", "why"),
    [
        ({"shown_from": 450}, "what is shown begins too late"),
        ({"shown_until": 1390, "until": 1390}, "what is shown ends too early"),
        ({"shown_until": 1500, "until": 1500}, "what is shown ends too early"),
        ({"until": 1000}, "does not end with what is shown"),
        ({"since": 401}, "out of order"),
    ],
)
def test_a_narrower_window_is_refused(made: Package, moments: dict[str, int], why: str) -> None:
    files = quay.files_of(made.content)
    files = moved(files, **{name: quay.START + at * S for name, at in moments.items()})
    assert why in everything(verify_bytes(quay.remade(files)))
    assert why in everything(verify_bytes(quay.remade(all_anew(files))))


def test_a_margin_that_is_told_shorter_is_found(made: Package) -> None:
    files = edited(quay.files_of(made.content), "about.json", setting("margin_s", 0.0))
    files = moved(files, shown_from=quay.START + 390 * S)
    assert not verify_bytes(quay.remade(files)).sound


def test_what_was_under_way_cannot_be_left_out_by_a_later_window(quay_store: Store) -> None:
    """A bowl isolated an hour before it ran: judged from just before it ran on, without that."""
    transfer = bowl(quay_store, 10 * DAY - 3600, 10 * DAY + 1200)
    package = build(quay_store, transfer)
    files = quay.files_of(package.content)
    assert verify_bytes(package.content).sound
    isolated = [r["id"] for r in json.loads(files["results.json"])["findings"]]
    assert isolated
    files = edited(files, "results.json", _without_findings)
    files = moved(files, since=moment_of(files, "shown_from"))
    found = verify_bytes(quay.remade(all_anew(files)))
    assert grades(found)["rules"] is Grade.WRONG
    assert "the rules give it, and it is not enclosed" in said(found, "rules")


def test_what_reaches_beyond_and_is_of_the_transfer_is_not_told_as_good(
    quay_store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("analytics.evidence.gathering._LOOK_BACK", (3600 * S, 4 * 3600 * S))
    package = build(quay_store, bowl(quay_store, DAY, 10 * DAY + 1200))
    found = verify_bytes(package.content)
    assert grades(found)["rules"] is Grade.UNTOLD
    assert found.outcome is Outcome.UNCHECKED
    assert "do not reach far enough to tell all of this transfer" in said(found, "rules")
    assert "it began before what can be judged" in said(found, "rules")


def test_what_was_under_way_all_the_time_cannot_be_left_out(
    quay_store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("analytics.evidence.gathering._LOOK_BACK", (3600 * S, 4 * 3600 * S))
    package = build(quay_store, bowl(quay_store, DAY, 10 * DAY + 1200))
    files = edited(quay.files_of(package.content), "results.json", _without_isolation)
    found = verify_bytes(quay.remade(all_anew(files)))
    assert found.outcome is Outcome.UNCHECKED
    assert "it is under way where the enclosed readings begin" in said(found, "rules")


def test_when_a_point_was_heard_cannot_be_made_up(made: Package) -> None:
    moment = told.Moment.of(quay.START + 700 * S).model_dump()
    files = edited(
        quay.files_of(made.content), "about.json", setting("points", 1, "heard_from", moment)
    )
    found = verify_bytes(quay.remade(files))
    assert "was heard at other times" in everything(found)


# Another version


def claimed(files: dict[str, bytes], **versions: str) -> dict[str, bytes]:
    """The files as if other versions had made them."""
    for name, version in versions.items():
        files = edited(files, "about.json", setting("versions", name, version))
        if name == "bondtrail":
            files = edited(files, "about.json", setting("software", version))
        if name == "rules":
            files = edited(files, "about.json", setting("rules", version))
    return files


def _drop(what: str) -> Callable[[Any], None]:
    def edit(says: Any) -> None:
        says["events"] = [each for each in says["events"] if each["what"] != what]

    return edit


def _lower(says: Any) -> None:
    for level in ("low", "typical", "high"):
        says["hazard"][level]["peak_energy_mJ"] *= 0.1


REWRITTEN = [
    pytest.param(_drop("finding"), "does not tell of the finding", id="finding"),
    pytest.param(_drop("trip"), "does not tell of the trip", id="trip"),
    pytest.param(_drop("bond_lost"), "what the bond did", id="bond"),
    pytest.param(_lower, "the peaks of the estimate", id="peaks"),
    pytest.param(setting("hazard", "unseen", []), "cannot see was taken out", id="unseen"),
    pytest.param(setting("caution", ""), "the caution was taken out", id="caution"),
    pytest.param(setting("transfer", "compliant", True), "another compliant", id="transfer"),
    pytest.param(setting("transfer", "not_bonded_s", 0.0), "another not_bonded_s", id="figure"),
    pytest.param(setting("transfer", None), "tells no transfer", id="no-transfer"),
]


@pytest.mark.parametrize(("edit", "why"), REWRITTEN)
def test_another_version_is_no_excuse_for_other_facts(
    made: Package, edit: Callable[[Any], None], why: str
) -> None:
    files = edited(quay.files_of(made.content), "replay.json", edit)
    files = claimed(files, bondtrail="0.3.1")
    files["events.csv"] = told.events_csv(json.loads(files["replay.json"]))
    found = verify_bytes(quay.remade(files))
    assert grades(found)["documents"] is Grade.WRONG
    assert why in said(found, "documents")


def test_other_words_of_another_version_are_not_told_as_good(made: Package) -> None:
    files = claimed(quay.files_of(made.content), bondtrail="0.3.1")
    files = edited(files, "replay.json", setting("events", 3, "detail", "all was well"))
    files["events.csv"] = told.events_csv(json.loads(files["replay.json"]))
    found = verify_bytes(quay.remade(with_page(files)))
    assert grades(found)["documents"] is Grade.UNTOLD
    assert found.outcome is Outcome.UNCHECKED
    assert "Made by Bondtrail 0.3.1" in said(found, "documents")


def test_another_library_is_no_excuse_for_other_words_on_the_page(made: Package) -> None:
    files = claimed(quay.files_of(made.content), numpy="1.0")
    page = with_page(files)["evidence.html"]
    assert verify_bytes(quay.remade({**files, "evidence.html": page})).sound
    forged = page.replace(b"lost", b"kept")
    assert forged != page
    found = verify_bytes(quay.remade({**files, "evidence.html": forged}))
    assert grades(found)["page"] is Grade.WRONG


def test_drawings_by_another_library_are_not_told_as_good(made: Package) -> None:
    files = claimed(quay.files_of(made.content), numpy="1.0")
    files["figures/record.svg"] = b"<svg>flat</svg>"
    found = verify_bytes(quay.remade(with_page(files)))
    assert grades(found)["page"] is Grade.UNTOLD
    assert found.outcome is Outcome.UNCHECKED
    assert "numpy 1.0" in said(found, "page")


def test_versions_that_do_not_fit_each_other_are_found(made: Package) -> None:
    files = edited(quay.files_of(made.content), "about.json", setting("software", "0.3.1"))
    found = verify_bytes(quay.remade(with_page(files)))
    assert "does not name one version" in said(found, "documents")


def test_other_rules_cannot_be_checked_here_which_is_no_wrong(made: Package) -> None:
    files = claimed(quay.files_of(made.content), rules="99", bondtrail="99.0")
    found = verify_bytes(quay.remade(with_page(files)))
    assert found.outcome is Outcome.UNCHECKED
    assert said(found, "rules").startswith(
        "Cannot be checked here: judged by version 99 of the rules"
    )
    assert grades(found)["documents"] is grades(found)["page"] is Grade.UNTOLD


def test_other_rules_are_no_excuse_for_contradictions(made: Package) -> None:
    files = claimed(quay.files_of(made.content), rules="99", bondtrail="99.0")
    files = edited(files, "replay.json", _drop("finding"))
    found = verify_bytes(quay.remade(with_page(files)))
    assert found.outcome is Outcome.WRONG
    assert "does not tell of the finding" in said(found, "documents")


# Who is to blame


@pytest.mark.parametrize(
    ("fault", "why"),
    [
        (MemoryError(), "too little memory"),
        (AttributeError("x"), "a fault of this program"),
        (TypeError("x"), "a fault of this program"),
        (KeyError("x"), "a fault of this program"),
    ],
)
@pytest.mark.parametrize(
    "where", ["opened.replay_transfer", "content.derived", "opened.parse_parquet"]
)
def test_a_fault_of_the_program_accuses_nobody(
    made: Package, monkeypatch: pytest.MonkeyPatch, fault: Exception, why: str, where: str
) -> None:
    def fail(*_: object, **__: object) -> None:
        raise fault

    monkeypatch.setattr(f"analytics.evidence.{where}", fail)
    found = verify_bytes(made.content)
    assert found.outcome is Outcome.UNCHECKED
    assert why in everything(found)


# The rest


def test_a_review_of_an_enclosed_finding_cannot_be_silenced(made: Package) -> None:
    def reduce(says: Any) -> None:
        for name in ("author", "state", "comment", "at", "at_ns"):
            del says[2][name]

    files = edited(quay.files_of(made.content), "reviews.json", reduce)
    found = verify_bytes(quay.remade(with_page(files)))
    assert f"review 3 is of what is enclosed, {quay.LOST}" in said(found, "reviews")


def test_the_check_says_that_the_typical_transfer_is_not_made_again(made: Package) -> None:
    assert "all but the typical transfer" in said(verify_bytes(made.content), "documents")


def test_the_rules_of_local_time_are_told_with_where_they_are_from(made: Package) -> None:
    version = json.loads(quay.files_of(made.content)["about.json"])["versions"]["time zones"]
    assert version == told.versions(ZoneInfo("Europe/Lisbon"))["time zones"]


def test_moments_are_those_of_the_readings(made: Package) -> None:
    """What the forgers above rely on: the bond is lost at second 900 of the record."""
    results = json.loads(quay.files_of(made.content)["results.json"])
    lost = next(row for row in results["findings"] if row["id"] == quay.LOST)
    assert lost["start"] == format_time(quay.START + 900 * S)
