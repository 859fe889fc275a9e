"""What `show kpis` prints: counts, sums, and figures with their intervals."""

from __future__ import annotations

import csv
import datetime as dt
import io
import shutil
from collections.abc import Callable, Iterable
from pathlib import Path

import pytest

from analytics.core.merits import figures_of_merit
from analytics.kpis import KpiRow
from bondtrail.cli import opening
from bondtrail.cli.kpis import overview_columns
from bondtrail.results import AlarmKind, DaySums, Kind, StationResults
from bondtrail.site import parse_site
from bondtrail.times import parse_time
from store import open_store
from tests.bondtrail.cli.conftest import SITE, Run

SUNDAY, MONDAY = dt.date(2026, 3, 1), dt.date(2026, 3, 2)
SHIFT = '[[shift]]\nname = "night"\nfrom = "22:00"\nto = "06:00"\n'
AREA = SITE.replace('kind = "road_tanker"', 'kind = "road_tanker"\narea = "North"')

DAYS = (
    DaySums(
        "bay-1",
        SUNDAY,
        transfers=81,
        compliant_transfers=78,
        flow_s=360_000.0,
        flow_unknown_s=600.0,
        not_bonded_s=12.5,
        bypassed_s=3600.0,
        bypass_unknown_s=72_000.0,
        volume=47_200.25,
        hookups=148,
        failed_hookups=15,
        touches=2,
        low_s=3600.0,
        known_s=80_000.0,
        unknown_s=5_000.0,
        trips={"genuine/clamp_off": 1, "nuisance/brief_contact_loss": 11},
        findings={"bond_lost_in_flow": 3},
        alarms={"bond_lost": 12},
        time_to_bond={250: 100},
        time_to_stop={200: 11, 701: 1},
    ),
    DaySums("bay-1", MONDAY, transfers=1, hookups=1, failed_hookups=1, known_s=40_000.0),
)
NIGHT = DaySums("bay-1", SUNDAY, "night", transfers=2, compliant_transfers=2, known_s=8 * 3600.0)


@pytest.fixture(scope="module")
def stores(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., Path]:
    """How to get a store with a site and results: each is made once."""
    folder = tmp_path_factory.mktemp("kpis")
    made: dict[tuple[str, str], Path] = {}

    def file(site: str, results: StationResults) -> Path:
        key = (site, repr(results))
        if key not in made:
            path = folder / f"{len(made)}.db"
            with open_store(f"sqlite:///{path}") as store:
                store.put_site(parse_site(site), 0)
                store.save_results(results, since=-(2**63), since_day=dt.date.min)
            made[key] = path
        return made[key]

    return file


@pytest.fixture
def fill(
    folder: Path, stores: Callable[..., Path], monkeypatch: pytest.MonkeyPatch
) -> Callable[..., None]:
    """How to have a store with the days of one station, and a clock that stands still."""
    monkeypatch.setattr(opening, "clock_ns", lambda: parse_time("2026-03-02T12:00:00Z"))

    def filled(
        site: str = SITE, days: Iterable[DaySums] = DAYS, parts: Iterable[DaySums] = ()
    ) -> None:
        results = StationResults("bay-1", days=tuple(days), shifts=tuple(parts))
        shutil.copy(stores(site, results), folder / "bondtrail.db")

    return filled


def test_the_keys_and_values_of_a_row(run: Run, fill: Callable[..., None]) -> None:
    fill()
    first, second = run("show", "kpis", "--format", "json").json
    assert list(first) == [
        *("station", "from", "to", "transfers", "compliant_transfers", "flow_s"),
        *("flow_unknown_s", "not_bonded_s", "no_data_s", "bypassed_s", "bypass_unknown_s"),
        *("volume", "hookups", "failed_hookups"),
        *("touches", "low_s", "high_s", "open_s", "known_s", "unknown_s", "no_record_s"),
        *("trips", "findings", "alarms", "time_to_bond", "time_to_stop"),
        *("compliance", "failed_hookup_share", "nuisance_per_100_transfers"),
        *("nuisance_per_1000_flow_h", "bypass_share", "coverage"),
        *("time_to_bond_p50_s", "time_to_bond_p95_s", "time_to_stop_p50_s", "time_to_stop_p95_s"),
    ]
    assert (first["from"], first["to"]) == ("2026-03-01T00:00:00.000Z", "2026-03-03T00:00:00.000Z")
    assert (first["transfers"], first["hookups"], first["failed_hookups"]) == (82, 149, 16)
    assert first["trips"] == {
        "genuine/clamp_off": 1,
        "genuine/high_resistance": 0,
        "nuisance/brief_contact_loss": 11,
        "nuisance/monitor_fault": 0,
        "nuisance/no_loss_seen": 0,
        "undetermined/no_data": 0,
    }
    assert first["findings"] == {
        **dict.fromkeys(set(Kind) - {Kind.RESISTANCE_DRIFT}, 0),
        "bond_lost_in_flow": 3,
    }
    assert first["alarms"] == {**dict.fromkeys(AlarmKind, 0), "bond_lost": 12}
    assert first["time_to_stop"] == {"1": 11, "inf": 1}  # upper edges in s
    assert first["no_record_s"] == 129_600 - 125_000  # a day and a half less what is on record
    assert first["coverage"] == pytest.approx(120 / 125)
    assert second["station"] == "dryer"
    assert second["compliance"] == {"value": None, "low": None, "high": None, "count": 0, "of": 0}
    assert second["no_record_s"] == 129_600
    assert second["coverage"] is second["time_to_bond_p50_s"] is None


def test_figures_have_the_published_intervals(run: Run, fill: Callable[..., None]) -> None:
    fill(days=[DAYS[0]])
    row, _ = run("show", "kpis", "--format", "json").json
    # Newcombe 1998, Table I, method 3: 15 of 148 is .0624 to .1605.
    failed = row["failed_hookup_share"]
    assert (failed["count"], failed["of"]) == (15, 148)
    assert (failed["low"], failed["high"]) == pytest.approx((0.0624, 0.1605), abs=5e-5)
    # 11 events: chi2(0.025; 22) / 2 = 5.491160 to chi2(0.975; 24) / 2 = 19.682039 (scipy).
    trips = row["nuisance_per_100_transfers"]
    assert (trips["count"], trips["of"]) == (11, 81)
    assert trips["value"] == pytest.approx(1100 / 81)
    assert trips["low"] == pytest.approx(549.1160 / 81, rel=1e-6)
    assert trips["high"] == pytest.approx(1968.2039 / 81, rel=1e-6)
    hours = row["nuisance_per_1000_flow_h"]
    assert (hours["count"], hours["of"], hours["value"]) == (11, 100, pytest.approx(110))
    assert row["bypass_share"] == {
        **{"value": pytest.approx(0.0125), "low": None, "high": None},
        **{"count": 3600, "of": 288_000},  # of 360 000 s of flow, with the bypass known
    }
    assert (row["flow_unknown_s"], row["bypass_unknown_s"]) == (600, 72_000)


@pytest.mark.parametrize(
    ("options", "low", "high", "named"),
    [
        # Newcombe 1998, Table I, methods 3 and 5 (the latter from memory): 15 of 148.
        ("", 0.0624, 0.1605, "its Wilson 95 %"),
        ("--interval wilson", 0.0624, 0.1605, "its Wilson 95 %"),
        ("--interval clopper-pearson", 0.0578, 0.1617, "its exact Clopper-Pearson 95 %"),
    ],
)
def test_the_interval_of_shares_is_chosen_and_named(
    run: Run, fill: Callable[..., None], options: str, low: float, high: float, named: str
) -> None:
    fill(days=[DAYS[0]])
    asked = ["show", "kpis", *options.split()]
    row, _ = run(*asked, "--format", "json").json
    failed = row["failed_hookup_share"]
    assert (failed["low"], failed["high"]) == pytest.approx((low, high), abs=5e-5)
    assert named in run(*asked).out


def test_quantiles_are_within_their_stated_error(run: Run, fill: Callable[..., None]) -> None:
    fill()
    row, _ = run("show", "kpis", "--format", "json").json
    # All times to bond lie in bin 250: from 10**0.49 to 10**0.5 s.
    assert row["time_to_bond_p50_s"] == row["time_to_bond_p95_s"]
    assert row["time_to_bond_p50_s"] == pytest.approx(10**0.495, rel=1e-9)


def test_csv_is_flat_and_says_what_json_says(run: Run, fill: Callable[..., None]) -> None:
    fill()
    row, _ = run("show", "kpis", "--format", "json").json
    flat, _ = csv.DictReader(io.StringIO(run("show", "kpis", "--format", "csv").out))
    assert flat["trips.nuisance/brief_contact_loss"] == "11"
    assert flat["findings.bond_lost_in_flow"] == "3"
    assert flat["time_to_stop"] == "1=11; inf=1"
    figures = {name for name, told in row.items() if isinstance(told, dict) and "low" in told}
    assert len(figures) == 5
    for name in figures:
        for part, number in row[name].items():
            column = name if part == "value" else f"{name}_{part}"
            assert (float(flat[column]) if flat[column] else None) == number
    simple = [name for name, told in row.items() if not isinstance(told, dict)]
    assert {name: flat[name] for name in simple} == {
        name: "" if row[name] is None else str(row[name]) for name in simple
    }


@pytest.mark.parametrize(
    ("options", "expected"),
    [
        ("--by day", [("bay-1", "03-01", 81), ("bay-1", "03-02", 1)]),
        ("--by week --from 2026-03-02", [("bay-1", "03-02", 1)]),
        ("--by month", [("bay-1", "03-01", 82)]),
        ("--from 2026-03-02", [("bay-1", "03-02", 1), ("dryer", "03-02", 0)]),
        ("--to 2026-03-02", [("bay-1", "03-01", 81), ("dryer", "03-01", 0)]),
        ("--station dryer", [("dryer", "03-01", 0)]),
        ("--per area", [("North", "03-01", 82), ("(no area)", "03-01", 0)]),
        ("--per site", [("test-site", "03-01", 82)]),
        ("--area North", [("bay-1", "03-01", 82)]),
        ("--area (no\tarea) --per area", [("(no area)", "03-01", 0)]),
        ("--area North --station dryer", []),
        ("--from 2026-04-01", []),
        ("--to 2026-02-01", []),
        ("--from 2026-02-01 --to 2026-02-02 --per site", [("test-site", "02-01", 0)]),
    ],
)
def test_rows(
    run: Run, fill: Callable[..., None], options: str, expected: list[tuple[str, str, int]]
) -> None:
    fill(AREA)
    words = [word.replace("\t", " ") for word in options.split(" ")]
    found = run("show", "kpis", *words, "--format", "json").json
    key = next((word for word in ("area", "site") if f"--per {word}" in options), "station")
    assert [(row[key], row["from"][5:10], row["transfers"]) for row in found] == expected


@pytest.mark.parametrize(
    ("options", "expected"),
    [
        ("--by-shift --station bay-1", [("night", 2), ("", 0)]),
        ("--shift night", [("night", 2), ("night", 0)]),
        ("--shift night --per site --by month", [("night", 2)]),
        ("--shift=", [("", 0), ("", 0)]),
    ],
)
def test_shifts(
    run: Run, fill: Callable[..., None], options: str, expected: list[tuple[str, int]]
) -> None:
    fill(SITE + SHIFT, parts=[NIGHT])
    found = run("show", "kpis", *options.split(), "--format", "json").json
    assert [(row["shift"], row["transfers"]) for row in found] == expected
    assert list(found[0])[1:4] == ["from", "to", "shift"]


def test_a_shift_without_a_gap_in_its_record_has_none(run: Run, fill: Callable[..., None]) -> None:
    fill(SITE + SHIFT, parts=[NIGHT])
    asked = ["--shift", "night", "--to", "2026-03-02", "--station", "bay-1"]
    (row,) = run("show", "kpis", *asked, "--format", "json").json
    assert (row["known_s"], row["no_record_s"]) == (8 * 3600, 0)


@pytest.mark.parametrize(
    "options", ["", "--by day", "--by week --per area", "--by-shift", "--by month --by-shift"]
)
def test_a_table_fits_and_tells_its_intervals(
    run: Run, fill: Callable[..., None], options: str
) -> None:
    fill(SITE + SHIFT, parts=[NIGHT])
    shown = run("show", "kpis", *options.split())
    assert max(map(len, shown.out.splitlines())) <= 100
    assert "Wilson 95 % interval" in shown.out
    assert "exact Poisson 95 %" in shown.out
    assert "not a safety function" in shown.out
    assert ("night" in shown.out) == ("shift" in options)


def test_a_table_tells_count_value_interval_and_what_is_too_few_to_rank(
    run: Run, fill: Callable[..., None]
) -> None:
    fill()
    whole = run("show", "kpis", "--to", "2026-03-02").out
    assert "15/148" in whole
    assert "10.1 %" in whole
    assert "(6.2-16.0)" in whole
    assert "too few to rank" not in whole.partition("Compliant: of all")[0]
    monday = run("show", "kpis", "--from", "2026-03-02").out.partition("Compliant: of all")[0]
    assert monday.count("too few to rank") >= 2


@pytest.mark.parametrize(
    ("times", "expected"),
    [
        ({}, ["-"]),
        ({250: 4}, ["too few", "n 4"]),
        ({250: 5}, ["3.13/-", "n 5"]),
        ({250: 19}, ["3.13/-", "n 19"]),
        ({250: 20}, ["3.13/3.13", "n 20"]),
        ({200: 1, 250: 1_200}, ["3.13/3.13", "n 1,201"]),
    ],
)
def test_percentiles_stand_with_their_number_and_are_left_out_of_too_few(
    run: Run, fill: Callable[..., None], times: dict[int, int], expected: list[str]
) -> None:
    # All but one of the times lie in bin 250, of which the middle is 10**0.495 s.
    stopped = {250: 100}
    fill(days=[DaySums("bay-1", SUNDAY, time_to_bond=times, time_to_stop=stopped)])
    shown = run("show", "kpis", "--station", "bay-1").out
    lines = shown.partition("Times are")[0].splitlines()
    (head,) = (line for line in lines if "Bond, stop" in line)
    end = head.index("Bond, stop") + len("Bond, stop")
    cells = [line[end - 11 : end].strip() for line in lines[lines.index(head) + 2 :]]
    assert [cell for cell in cells if cell] == [*expected, "3.13/3.13", "n 100"]
    assert "within\n1.2 %" in shown


@pytest.mark.parametrize(
    ("figures", "expected"),
    [
        pytest.param({}, [], id="nothing-unknown"),
        pytest.param({"flow_unknown_s": 60.0, "bypass_unknown_s": 60.0}, [], id="a-minute"),
        pytest.param({"flow_unknown_s": 61.0}, ["flow ? 1 min"], id="flow"),
        pytest.param({"bypass_unknown_s": 3600.0}, ["bypass ? 1 h"], id="bypass"),
        pytest.param({"bypass_unknown_s": 7200.0}, ["bypass ?"], id="bypass-throughout"),
        pytest.param(
            {"flow_unknown_s": 86_400.0, "bypass_unknown_s": 3600.0},
            ["flow ? 1 d", "bypass ? 1 h"],
            id="both",
        ),
    ],
)
def test_a_table_tells_where_flow_or_bypass_was_unknown(
    run: Run, fill: Callable[..., None], figures: dict[str, float], expected: list[str]
) -> None:
    fill(days=[DaySums("bay-1", SUNDAY, transfers=9, flow_s=7200.0, known_s=9.0, **figures)])
    shown = run("show", "kpis", "--station", "bay-1").out.partition("Times are")[0]
    assert "Known of" in shown
    told = [line.rpartition("  ")[2].strip() for line in shown.splitlines() if "?" in line]
    assert told == expected


@pytest.mark.parametrize(
    ("figures", "expected"),
    [
        pytest.param({}, "-", id="none"),
        pytest.param({"bypassed_s": 90.0}, "1:30", id="some"),
        pytest.param(
            {"bypassed_s": 90.0, "bypass_unknown_s": 3600.0}, "1:30", id="unknown-in-part"
        ),
        pytest.param({"bypass_unknown_s": 7200.0}, "?", id="unknown-throughout"),
    ],
)
def test_the_overview_claims_no_bypass_where_none_is_recorded(
    figures: dict[str, float], expected: str
) -> None:
    sums = DaySums("bay-1", SUNDAY, flow_s=7200.0, **figures)
    row = KpiRow("bay-1", 0, 1, None, sums, *figures_of_merit([sums]))
    (bypass,) = (column for column in overview_columns() if column.head == "Bypass")
    assert bypass.cell(row) == expected


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ("--per site --area North", "--per site does not go with --area: an area is not the site"),
        (
            "--per site --station bay-1",
            "--per site does not go with --station: a station is not the site",
        ),
        (
            "--per area --station bay-1",
            "--per area does not go with --station: a station is not the area",
        ),
        (
            "--per area --area North --station bay-1",
            "--per area does not go with --station: a station is not the area",
        ),
    ],
)
def test_a_part_is_not_told_under_the_name_of_the_whole(
    run: Run, fill: Callable[..., None], options: str, said: str
) -> None:
    fill(AREA)
    shown = run("show", "kpis", *options.split())
    assert (shown.status, shown.out) == (2, "")
    assert said in shown.err


FAULTS = [
    ("--shift night", SITE, "the site file names no shifts", "[[shift]]"),
    ("--by-shift", SITE, "the site file names no shifts", "[[shift]]"),
    ("--shift nigt", SITE + SHIFT, "no shift 'nigt'", "Did you mean night?"),
    ("--area Nort", AREA, "no area 'Nort'", "Did you mean North?"),
]


@pytest.mark.parametrize(("options", "site", "said", "remedy"), FAULTS)
def test_what_is_not_there_is_told(
    run: Run, fill: Callable[..., None], options: str, site: str, said: str, remedy: str
) -> None:
    fill(site)
    shown = run("show", "kpis", *options.split())
    assert (shown.status, shown.out) == (2, "")
    assert said in shown.err
    assert remedy in shown.err
    assert shown.err.count("\n") <= 2


def test_without_any_results_there_are_none(run: Run, fill: Callable[..., None]) -> None:
    fill(days=[])
    assert run("show", "kpis").out == "No kpis.\n"
    assert run("show", "kpis", "--format", "json").json == []


@pytest.mark.parametrize(
    "option", ["--per site", "--area North", "--shift night", "--by-shift", "--interval wilson"]
)
def test_what_is_of_kpis_alone_goes_with_nothing_else(run: Run, option: str) -> None:
    shown = run("show", "findings", *option.split())
    assert shown.status == 2
    assert f"{option.split()[0]} does not go with findings; it goes with kpis" in shown.err
