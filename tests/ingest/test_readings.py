from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pyarrow as pa
import pytest

from bondtrail.site import Site
from ingest.faults import Fault
from ingest.header import HeaderError, layout_of_line
from ingest.readings import UNKNOWN, Tags, check_wide, take_long, take_wide
from ingest.tables import Table, Taken, UnknownTag

T0 = 1_772_345_730
SECOND = 10**9


@pytest.fixture(scope="module")
def tags(site: Site) -> Tags:
    return Tags(site)


def table(*rows: Sequence[str]) -> Table:
    width = len(rows[0])
    columns = [pa.array([row[place] for row in rows], pa.string()) for place in range(width)]
    return Table(columns, np.arange(len(rows)) + 2, lambda row: ",".join(rows[row]))


def long(tags: Tags, header: str, *rows: Sequence[str]) -> Taken:
    return take_long(table(*rows), layout_of_line(header.encode()), tags, None)


def wide(tags: Tags, header: str, *rows: Sequence[str]) -> Taken:
    return take_wide(table(*rows), layout_of_line(header.encode()), tags, None)


def samples(taken: Taken) -> dict[str, list[tuple[int, float]]]:
    """Return seconds after the first time, and values, by point."""
    return {
        point: [
            (int(time) // SECOND - T0, float(value))
            for time, value in zip(some.time, some.value, strict=True)
        ]
        for point, some in taken.samples
    }


def faults(taken: Taken) -> list[tuple[Fault, list[int]]]:
    return [(each.fault, each.rows.tolist()) for each in taken.faults]


def at(second: int) -> str:
    return str(T0 + second)


@pytest.mark.parametrize("tag", ["M1/1", " M1/1 ", "rail-1.resistance", "Füllstelle 1"])
def test_a_tag_is_an_alias_or_the_points_own_name(tags: Tags, tag: str) -> None:
    assert tags.points[tags.find(tag)].name == "rail-1.resistance"


@pytest.mark.parametrize("tag", ["", "m1/1", "rail-1", "M1/1.x", "rail-1.Resistance"])
def test_other_tags_are_unknown(tags: Tags, tag: str) -> None:
    assert tags.find(tag) == UNKNOWN


def test_long_rows_are_parted_by_point_in_their_order(tags: Tags) -> None:
    taken = long(
        tags,
        "time,tag,value",
        (at(5), "M1/1", "1"),
        (at(3), "P1", "0"),
        (at(1), "M1/1", "2"),
        (at(5), "rail-1.resistance", "3"),
    )
    assert samples(taken) == {
        "rail-1.resistance": [(5, 1.0), (1, 2.0), (5, 3.0)],
        "rail-1.permissive": [(3, 0.0)],
    }
    assert taken.read == 4


def test_a_long_row_has_one_fault_the_first_that_matters(tags: Tags) -> None:
    taken = long(
        tags,
        "time,tag,value,quality",
        ("soon", "M9/9", "x", "9"),
        ("soon", "M1/1", "x", "9"),
        (at(0), "M1/1", "x", "9"),
        (at(0), "M1/1", "1", "9"),
        (at(0), "M1/1", "1", "0"),
    )
    assert taken.unknown == [UnknownTag("M9/9", 0, 1)]
    assert sorted(faults(taken)) == [
        (Fault.QUALITY, [3]),
        (Fault.TIME, [1]),
        (Fault.NUMBER, [2]),
    ]
    assert samples(taken) == {"rail-1.resistance": [(0, 1.0)]}
    assert taken.read == 5


def test_reasons_are_those_of_the_row_they_are_asked_for(tags: Tags) -> None:
    taken = long(
        tags, "tag,value,time", ("M1/1", "-1", at(0)), ("P1", "1", at(0)), ("M1/1", "-2", at(0))
    )
    (negative,) = taken.faults
    assert negative.rows.tolist() == [0, 2]
    assert ["'-1'" in negative.reason(0), "'-2'" in negative.reason(2)] == [True, True]


def test_unknown_tags_tell_their_first_row_and_count(tags: Tags) -> None:
    taken = long(
        tags,
        "time,tag,value",
        *((at(0), tag, "1") for tag in ("M1/1", "B", "A", "B ", "B")),
    )
    assert {(each.tag, each.row, each.count) for each in taken.unknown} == {
        ("A", 2, 1),
        ("B", 1, 2),
        ("B", 3, 1),
    }


def test_nothing_but_unknown_tags(tags: Tags) -> None:
    taken = long(tags, "time,tag,value", (at(0), "A", "1"), (at(0), "A", "1"))
    assert (taken.samples, taken.read) == ([], 2)


@pytest.mark.parametrize("column", [pa.array([7, 7]), pa.array(["M1/1", None])])
def test_typed_tag_columns(tags: Tags, column: pa.Array) -> None:
    columns = [pa.array([T0, T0]), column, pa.array([1.0, 2.0])]
    rows = Table(columns, np.arange(2), lambda _: "")
    taken = take_long(rows, layout_of_line(b"time,tag,value"), tags, None)
    assert sum(each.count for each in taken.unknown) == 2 - len(samples(taken))


def test_wide_cells_become_samples_of_their_columns(tags: Tags) -> None:
    taken = wide(
        tags,
        "time,M1/1,P1,M1/2",
        (at(0), "1", "", "2.5"),
        (at(1), "", "1", "OL"),
        (at(2), "", "", ""),
    )
    assert samples(taken) == {
        "rail-1.resistance": [(0, 1.0)],
        "rail-1.permissive": [(1, 1.0)],
        "rail-2.resistance": [(0, 2500.0), (1, float("inf"))],
    }
    assert taken.read == 4


def test_a_wide_row_with_a_bad_time_is_one_fault_whatever_its_cells(tags: Tags) -> None:
    taken = wide(tags, "time,M1/1,X", ("soon", "-1", "1"), (at(0), "-1", "1"))
    assert faults(taken) == [(Fault.TIME, [0]), (Fault.NEGATIVE, [1])]
    assert taken.unknown == [UnknownTag("X", 1, 1)]
    assert taken.read == 3


def test_an_unknown_wide_column_without_cells_is_nothing(tags: Tags) -> None:
    taken = wide(tags, "time,X,M1/1", (at(0), "", "1"), (at(1), "", "2"))
    assert taken.unknown == []
    assert taken.read == 2


@pytest.mark.parametrize(
    ("header", "told"),
    [
        ("time,M1/1,M1/1", "'M1/1' and 'M1/1' are both rail-1.resistance"),
        ("time,M1/1,P1,rail-1.resistance", "'M1/1' and 'rail-1.resistance' are both"),
        ("time,M1/1,X,X", None),
        ("time,M1/1,P1,", None),
    ],
)
def test_two_columns_of_one_point_are_refused(tags: Tags, header: str, told: str | None) -> None:
    layout = layout_of_line(header.encode())
    if told is None:
        check_wide(layout, tags)
        return
    with pytest.raises(HeaderError, match=told):
        check_wide(layout, tags)
