"""Earlier values of readings: enclosed where there are any, the same in Parquet and CSV."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence

import numpy as np
import pytest

from analytics.evidence import Grade, build, verify_bytes
from analytics.evidence.faults import UnreadableError
from analytics.evidence.replaced import count, csv, parquet, parse_parquet
from analytics.runs import analyse
from bondtrail.results import Reject
from bondtrail.samples import Replaced, Samples
from store import Store
from tests.analytics.evidence import quay
from tests.analytics.evidence.forging import edited, grades, said, with_page

S = 1_000_000_000
EARLIER = [
    Replaced(None, Samples.of([5 * S, 7 * S], [np.inf, 4.0], [0, 2])),
    Replaced(9 * S, Samples.of([5 * S, 5 * S], [1.5, 2.5])),
    Replaced(9 * S, Samples.of([7 * S], [3.0])),
]


pytestmark = pytest.mark.usefixtures("not_drawn")


def plain(replaced: Sequence[Replaced]) -> list[tuple[int | None, list[list[float]]]]:
    return [
        (each.at, [each.samples.time.tolist(), each.samples.value.tolist(),
                   each.samples.quality.tolist()])
        for each in replaced
    ]  # fmt: skip


def test_parquet_gives_back_what_was_written() -> None:
    assert plain(parse_parquet(parquet(EARLIER), "x")) == plain(EARLIER)
    assert parquet(EARLIER) == parquet(EARLIER)
    assert count(EARLIER) == 5


def test_csv_says_the_same_to_people() -> None:
    assert csv(EARLIER).decode().splitlines() == [
        "commit,replaced_at,time,value,quality",
        "1,,1970-01-01T00:00:05.000000000Z,open,0",
        "1,,1970-01-01T00:00:07.000000000Z,4.0,2",
        "2,1970-01-01T00:00:09.000000000Z,1970-01-01T00:00:05.000000000Z,1.5,0",
        "2,1970-01-01T00:00:09.000000000Z,1970-01-01T00:00:05.000000000Z,2.5,0",
        "3,1970-01-01T00:00:09.000000000Z,1970-01-01T00:00:07.000000000Z,3.0,0",
    ]


@pytest.mark.parametrize(
    ("earlier", "why"),
    [
        ([], "commits out of order"),
        ([Replaced(1, Samples(np.array([2, 1]), np.zeros(2), np.zeros(2, np.uint8)))],
         "earlier values out of order"),
        ([Replaced(1, Samples.of([1], [np.nan]))], "no number"),
        ([Replaced(1, Samples(np.array([1]), np.zeros(1), np.array([9], np.uint8)))], "quality"),
    ],
)  # fmt: skip
def test_what_no_store_could_have_held_is_refused(earlier: list[Replaced], why: str) -> None:
    with pytest.raises(UnreadableError, match=why):
        parse_parquet(parquet(earlier), "x")


def test_readings_in_their_place_are_refused() -> None:
    with pytest.raises(UnreadableError, match="expected the columns commit,replaced_at"):
        parse_parquet(quay_parquet(), "x")


def quay_parquet() -> bytes:
    from analytics.evidence import readings

    none = np.empty(0, np.int64)
    return readings.parquet(readings.Enclosed(Samples.empty(), none, none))


# In a package


@pytest.fixture
def corrected(quay_store: Store) -> Store:
    """A store in which somebody made the lost bond shorter, and a row could not be taken."""
    second = np.arange(903, 908)
    quay_store.write(
        {"rail-1.resistance": Samples.of(quay.START + second * S, np.full(5, 3.0))},
        arrived=quay.ARRIVED + 3600 * S,
    )
    quay_store.put_rejects(
        [
            Reject("late.csv", "line 7", "no number", "x", quay.ARRIVED,
                   point="rail-1.flow", time=quay.START + 910 * S),
            Reject("late.csv", "line 8", "no number", "x", quay.ARRIVED,
                   point="rail-1.flow", time=quay.START - 9 * 86_400 * S),
        ]
    )  # fmt: skip
    analyse(quay_store, now=quay.LONG_AFTER)
    return quay_store


def test_earlier_values_are_enclosed_and_checked(corrected: Store) -> None:
    package = build(corrected, quay.TRANSFER)
    files = quay.files_of(package.content)
    (earlier,) = parse_parquet(files["readings/resistance.replaced.parquet"], "x")
    assert earlier.at == quay.ARRIVED + 3600 * S
    assert earlier.samples.value.tolist() == [4000.0] * 5
    assert "readings/flow.replaced.parquet" not in files
    found = verify_bytes(package.content)
    assert found.sound
    assert "and 5 earlier values that were replaced" in said(found, "readings")


def test_their_number_is_told_with_the_coverage(corrected: Store) -> None:
    files = quay.files_of(build(corrected, quay.TRANSFER).content)
    points = json.loads(files["coverage.json"])["points"]
    assert {role: points[role]["replaced"] for role in points} == {
        "resistance": 5, "permissive": 0, "flow": 0, "bypass": 0,
    }  # fmt: skip
    about = json.loads(files["about.json"])["points"]
    assert {each["role"]: each["replaced"] for each in about}["resistance"] == 5


def test_what_could_not_be_taken_is_enclosed_where_it_is_of_that_time(corrected: Store) -> None:
    package = build(corrected, quay.TRANSFER)
    (reject,) = json.loads(quay.files_of(package.content)["rejects.json"])["rejects"]
    assert (reject["where"], reject["raw"]) == ("line 7", "x")


Files = dict[str, bytes]


def _taken_out(files: Files) -> Files:
    return {name: says for name, says in files.items() if ".replaced." not in name}


def _less(files: Files) -> Files:
    name = "readings/resistance.replaced"
    (earlier,) = parse_parquet(files[f"{name}.parquet"], name)
    part = [Replaced(earlier.at, earlier.samples.between(0, quay.START + 905 * S))]
    return {**files, f"{name}.parquet": parquet(part), f"{name}.csv": csv(part)}


def _elsewhere(files: Files) -> Files:
    name = "readings/resistance.replaced"
    (earlier,) = parse_parquet(files[f"{name}.parquet"], name)
    line = earlier.samples
    part = [Replaced(earlier.at, Samples(line.time + 1, line.value, line.quality))]
    return {**files, f"{name}.parquet": parquet(part), f"{name}.csv": csv(part)}


def _csv_alone(files: Files) -> Files:
    name = "readings/resistance.replaced.csv"
    return {**files, name: files[name].replace(b"4000.0", b"3.0")}


def _not_rejected(files: Files) -> Files:
    return edited(files, "rejects.json", lambda says: says["rejects"].clear())


@pytest.mark.parametrize(
    ("forge", "about", "why"),
    [
        (_taken_out, "documents", "replay.json does not follow"),
        (_less, "documents", "coverage.json does not follow"),
        (_elsewhere, "content", "nothing took the place of one of them"),
        (_csv_alone, "readings", "does not say what its Parquet says"),
        (_not_rejected, "documents", "replay.json does not follow"),
    ],
)
def test_what_is_done_to_them_is_found(
    corrected: Store, forge: Callable[[Files], Files], about: str, why: str
) -> None:
    files = forge(quay.files_of(build(corrected, quay.TRANSFER).content))
    found = verify_bytes(quay.remade(with_page(files)))
    assert grades(found)[about] is Grade.WRONG
    assert why in said(found, about)


def test_another_version_is_no_excuse_to_leave_them_out(corrected: Store) -> None:
    files = _taken_out(quay.files_of(build(corrected, quay.TRANSFER).content))

    def claim(says: dict[str, object]) -> None:
        says["software"] = "0.3.1"
        says["versions"] |= {"bondtrail": "0.3.1"}  # type: ignore[operator]

    found = verify_bytes(quay.remade(edited(files, "about.json", claim)))
    assert "replay.json does not tell what was replaced" in said(found, "documents")
