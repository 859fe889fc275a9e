from __future__ import annotations

import json
import math
import sys
from collections.abc import Callable
from zoneinfo import ZoneInfo

import pytest

from bondtrail.cli import output
from bondtrail.times import parse_time

LISBON = ZoneInfo("Europe/Lisbon")

STEERING = "".join(map(chr, [0, 7, 8, *range(11, 32), *range(127, 160)])) + (
    # Unicode Standard Annex 9, table 4 and section 2: embeddings, overrides and isolates.
    "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
)
"""What steers a terminal, or lets a text read as another than it is."""


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (None, "-"),
        (0.0, "0.0 s"),
        (59.94, "59.9 s"),
        (59.96, "1:00"),
        (60.0, "1:00"),
        (3599.4, "59:59"),
        (3599.5, "1:00:00"),
        (7389.0, "2:03:09"),
        (259199.0, "71:59:59"),
        (259200.0, "3 d 0 h"),
        (363600.0, "4 d 5 h"),
    ],
)
def test_a_length_is_in_the_units_people_read(seconds: float | None, text: str) -> None:
    assert output.length(seconds) == text


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (None, "-"),
        (0.0, "0"),
        (3.4217, "3.42"),
        (10.0, "10"),
        (999.4, "999"),
        (999.7, "1 k"),
        (1000.0, "1 k"),
        (15300.0, "15.3 k"),
        (2.5e6, "2.5 M"),
        (2.5e10, "2.5e+10"),
        (0.0012, "0.0012"),
        (math.inf, "open"),
    ],
)
def test_a_resistance_has_three_figures(value: float | None, text: str) -> None:
    assert output.ohms(value) == text


@pytest.mark.parametrize(
    ("moment", "text"),
    [
        pytest.param("2026-01-05T06:15:30.999Z", "2026-01-05 06:15:30", id="winter"),
        pytest.param("2026-07-05T06:15:30Z", "2026-07-05 07:15:30", id="summer"),
        # Lisbon puts its clocks back at 01:00 UTC on 25 October 2026: 01:00 to 02:00 comes twice.
        pytest.param("2026-10-25T00:30:00Z", "2026-10-25 01:30:00+0100", id="first-of-two"),
        pytest.param("2026-10-25T01:30:00Z", "2026-10-25 01:30:00+0000", id="second-of-two"),
        pytest.param("2026-10-25T02:00:00Z", "2026-10-25 02:00:00", id="after-both"),
        # And forward at 01:00 UTC on 29 March 2026: 01:00 to 02:00 does not come.
        pytest.param("2026-03-29T01:00:00Z", "2026-03-29 02:00:00", id="after-the-gap"),
    ],
)
def test_site_time_tells_the_two_hours_of_an_autumn_change_apart(moment: str, text: str) -> None:
    assert output.site_time(parse_time(moment), LISBON) == text


@pytest.mark.parametrize(
    ("moment", "text"),
    [
        pytest.param("2026-07-05T06:15:30.125999Z", "2026-07-05 07:15:30.125", id="cut"),
        pytest.param("2026-10-25T00:30:00.5Z", "2026-10-25 01:30:00.500+0100", id="first-of-two"),
    ],
)
def test_site_time_has_milliseconds_where_they_are_asked_for(moment: str, text: str) -> None:
    assert output.site_time(parse_time(moment), LISBON, millis=True) == text


@pytest.mark.parametrize(
    ("moment", "text"),
    [
        pytest.param("2026-07-05T22:59:59.999Z", "23:59:59.999", id="the-same-day"),
        pytest.param("2026-07-05T23:00:00Z", "2026-07-06 00:00:00.000", id="the-next-day"),
        pytest.param(None, "-", id="none"),
    ],
)
def test_a_clock_has_its_day_only_where_that_is_another(moment: str | None, text: str) -> None:
    beside = parse_time("2026-07-05T06:00:00Z")
    given = None if moment is None else parse_time(moment)
    assert output.site_clock(given, beside, LISBON) == text


def test_no_time_is_a_dash() -> None:
    assert output.site_time(None, LISBON) == "-"


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [(None, "L", "-"), (12345.4, "L", "12,345 L"), (7, None, "7"), (0.0, "kg", "0 kg")],
)
def test_an_amount_has_its_unit(value: float | None, unit: str | None, text: str) -> None:
    assert output.amount(value, unit) == text


@pytest.mark.parametrize(
    ("objects", "text"),
    [
        ([], "[]\n"),
        ([{"a": 1}], '[\n{"a": 1}\n]\n'),
        ([{"a": 1}, {"a": None}], '[\n{"a": 1},\n{"a": null}\n]\n'),
        (
            [{"a": math.inf, "b": {"c": [-math.inf, 1.5]}}],
            '[\n{"a": null, "b": {"c": [null, 1.5]}}\n]\n',
        ),
        ([{"a": "Bühne \x1b[2J"}], '[\n{"a": "Bühne \\u001b[2J"}\n]\n'),
        ([{"a\x9b": "\x7f\u202e"}], '[\n{"a\\u009b": "\\u007f\\u202e"}\n]\n'),
    ],
)
def test_json_is_an_array_with_one_object_a_line(
    objects: list[dict[str, object]], text: str, capsys: pytest.CaptureFixture[str]
) -> None:
    output.print_json(objects)
    printed = capsys.readouterr().out
    assert printed == text
    assert len(json.loads(printed)) == len(objects)


def test_json_says_what_a_terminal_must_not_get(capsys: pytest.CaptureFixture[str]) -> None:
    output.print_json([{"batch": STEERING}])
    printed = capsys.readouterr().out
    assert [sign for sign in STEERING if sign in printed] == []
    assert json.loads(printed) == [{"batch": STEERING}]


def test_json_of_one_object_has_a_key_a_line(capsys: pytest.CaptureFixture[str]) -> None:
    output.print_object({"a": 1, "rows": [{"b": math.inf}, {"b": [2]}], "none": [], "of": {"c": 1}})
    printed = capsys.readouterr().out
    assert printed == (
        '{\n"a": 1,\n"rows": [\n{"b": null},\n{"b": [2]}\n],\n"none": [],\n"of": {"c": 1}\n}\n'
    )
    assert json.loads(printed)["rows"] == [{"b": None}, {"b": [2]}]


def test_sentences_become_a_list_that_fits_a_report() -> None:
    short, long = output.bullets(["One.", "word " * 40])
    assert short == "- One."
    first, *rest = long.splitlines()
    assert first.startswith("- word")
    assert rest
    assert all(line.startswith("  word") for line in rest)
    assert max(map(len, long.splitlines())) <= output.WIDTH


def test_csv_is_flat_and_quotes_what_needs_it(capsys: pytest.CaptureFixture[str]) -> None:
    row = {
        "none": None,
        "yes": True,
        "ohm": math.inf,
        "ids": ("a", "b"),
        "evidence": {"ohm": 3.5, "open": math.inf},
        "text": 'a "b", c\nd',
        "number": 0.1,
    }
    output.print_csv(list(row), [row])
    assert capsys.readouterr().out == (
        "none,yes,ohm,ids,evidence,text,number\n"
        ',true,open,a b,ohm=3.5; open=open,"a ""b"", c\nd",0.1\n'
    )


@pytest.mark.parametrize("text", ["=1+1", "+cmd", "-2+3", "@SUM(A1)", "\t=1", "\r=1"])
def test_text_in_csv_is_never_a_formula(text: str, capsys: pytest.CaptureFixture[str]) -> None:
    output.print_csv(["batch", "number"], [{"batch": text, "number": -2.5}])
    cells = capsys.readouterr().out.removeprefix("batch,number\n")
    assert cells.lstrip('"').startswith("'")
    assert cells.endswith(",-2.5\n")


@pytest.mark.parametrize("sign", STEERING, ids=ascii)
@pytest.mark.parametrize(
    "held",
    [
        pytest.param(lambda text: text, id="text"),
        pytest.param(lambda text: [text], id="list"),
        pytest.param(lambda text: {"why": text}, id="mapping"),
        pytest.param(lambda text: {text: 1}, id="name"),
    ],
)
def test_csv_cannot_steer_the_terminal(
    held: Callable[[str], object], sign: str, capsys: pytest.CaptureFixture[str]
) -> None:
    output.print_csv(["batch"], [{"batch": held(f"B1{sign}[2J")}])
    printed = capsys.readouterr().out
    assert sign not in printed
    assert "B1\N{REPLACEMENT CHARACTER}[2J" in printed


def test_csv_of_nothing_still_has_its_header(capsys: pytest.CaptureFixture[str]) -> None:
    output.print_csv(["a", "b"], [])
    assert capsys.readouterr().out == "a,b\n"


Pair = tuple[str, str]
COLUMNS = [
    output.Column[Pair]("Name", lambda row: row[0]),
    output.Column[Pair]("Text", lambda row: row[1], wraps=True),
]


def printed_table(rows: list[Pair], capsys: pytest.CaptureFixture[str]) -> str:
    output.print_table("Rows", COLUMNS, rows, ["A note."])
    return capsys.readouterr().out


def test_a_table_fits_100_columns_whatever_is_in_it(capsys: pytest.CaptureFixture[str]) -> None:
    text = printed_table([("a" * 120, "word " * 80), ("b", "x" * 300)], capsys)
    assert max(len(line) for line in text.splitlines()) <= output.WIDTH


def test_a_table_that_is_not_on_a_terminal_is_plain(capsys: pytest.CaptureFixture[str]) -> None:
    text = printed_table([("a", "one"), ("b", "two")], capsys)
    assert text.splitlines() == [
        "Rows",
        "Name  Text",
        "----------",
        "a     one",
        "b     two",
        "A note.",
    ]


@pytest.mark.parametrize("sign", STEERING, ids=ascii)
def test_a_table_cannot_steer_the_terminal(sign: str, capsys: pytest.CaptureFixture[str]) -> None:
    text = printed_table([(f"{sign}[2Jbad", "[bold]not a style[/bold] :warning:")], capsys)
    assert sign not in text
    assert "\N{REPLACEMENT CHARACTER}[2Jbad" in text
    assert "[bold]not a style[/bold] :warning:" in text


def test_the_title_of_a_table_cannot_steer_the_terminal(
    capsys: pytest.CaptureFixture[str],
) -> None:
    output.print_table("Rows of \x1b[2J", COLUMNS, [])
    assert capsys.readouterr().out.startswith("Rows of \N{REPLACEMENT CHARACTER}[2J\n")


def test_a_table_on_a_terminal_has_bold_headings_and_its_width(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True)
    monkeypatch.setenv("COLUMNS", "40")
    text = printed_table([("a", "word " * 20)], capsys)
    title, head, *lines = text.splitlines()
    assert title == "\x1b[1mRows\x1b[0m"
    assert head == "\x1b[1mName  Text\x1b[0m"
    assert "\x1b" not in "".join(lines)
    assert max(map(len, lines)) <= 40
