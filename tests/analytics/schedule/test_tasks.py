"""What each job does, and the sentence that it leaves."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

from analytics.retention import Retained
from analytics.runs import AnalysisReport, analyse
from analytics.schedule import tasks as every
from analytics.schedule.figures import findings_by_kind, show_figures
from analytics.schedule.tasks import (
    Task,
    is_anything_to_judge,
    judged_sentence,
    tasks,
)
from analytics.schedule.turn import NotWellError, StopRequestedError, Turn
from bondtrail.metrics import Metrics
from bondtrail.results import Kind
from bondtrail.samples import Samples
from bondtrail.site import parse_site
from bondtrail.times import NS_PER_S
from store import DamageError, Store
from tests.analytics.core.build import ns
from tests.analytics.workdays import DAY, HOUR, MONDAY, site, told, workdays

S = NS_PER_S
LATER = ns(MONDAY + 90 * DAY)


@pytest.fixture
def metrics() -> Metrics:
    return Metrics()


def task(name: str, metrics: Metrics) -> Task:
    return next(each for each in tasks(metrics) if each.name == name)


def turn(store: Store, now: int = LATER, *, stopping: Callable[[], bool] = lambda: False) -> Turn:
    return Turn(store, now, lambda: now, stopping)


def value(metrics: Metrics, name: str, **labels: str) -> float | None:
    return metrics.registry.get_sample_value(name, labels)


def ready(store: Store, *ohms: float) -> None:
    store.put_site(site("spot"), 0)
    store.write(workdays(*ohms))


def test_what_every_schedule_does(metrics: Metrics) -> None:
    assert [each.name for each in tasks(metrics)] == [
        "fold",
        "analyse",
        "silence",
        "reports",
        "retention",
        "integrity",
    ]


def test_the_document_tells_of_every_job(metrics: Metrics) -> None:
    text = (Path(__file__).parents[3] / "docs" / "service.md").read_text(encoding="utf-8")
    told = re.findall(r"^\| `([a-z]+)` \| (?:every|daily)", text, re.MULTILINE)
    assert sorted(told) == sorted(each.name for each in tasks(metrics))


# Folding.


def test_folding_counts_what_it_folded(store: Store, metrics: Metrics) -> None:
    fold = task("fold", metrics)
    assert fold.work(turn(store)) == "nothing to fold"
    ready(store, 2.0)
    store.write(workdays(2.0, station="other"))
    assert fold.work(turn(store)) == "2 commits folded into segments"
    assert value(metrics, "bondtrail_folded_rows_total") == 2


# Analysing.


def test_what_is_new_is_judged_and_told(store: Store, metrics: Metrics) -> None:
    ready(store, 2.0, 12.0)
    work = task("analyse", metrics).work
    assert work(turn(store)) == "1 station judged, 2 findings"
    assert work(turn(store)) == "nothing new to judge"
    assert value(metrics, "bondtrail_analysis_seconds_count") == 1


def test_late_readings_are_judged_too(store: Store, metrics: Metrics) -> None:
    ready(store, 2.0, 2.0)
    work = task("analyse", metrics).work
    work(turn(store))
    before = told(store).findings
    late = Samples.of([ns(MONDAY + 8.5 * HOUR) + 1], [float("inf")])
    store.write({"spot.resistance": late})
    assert work(turn(store)) == "1 station judged, 1 finding"
    assert told(store).findings != before


def test_without_a_site_file_it_says_so(store: Store, metrics: Metrics) -> None:
    store.write(workdays(2.0))
    said = task("analyse", metrics).work(turn(store))
    assert said == "nothing can be judged: the store has no site file yet"


@pytest.mark.parametrize(
    ("after_s", "expected"),
    [
        pytest.param(0, False, id="just-judged"),
        pytest.param(59, False, id="not-for-long"),
        pytest.param(60, True, id="a-minute-on"),
    ],
)
def test_a_reading_that_goes_on_holding_is_judged_again_now_and_then(
    store: Store, after_s: float, expected: bool
) -> None:
    store.put_site(site("spot", stale_s=2 * HOUR), 0)
    store.write(workdays(2.0))
    last = max(point.last for point in store.points())
    analyse(store, now=last + S)
    assert is_anything_to_judge(store, last + S + round(after_s * S)) is expected


def test_once_nothing_holds_any_more_all_is_judged(store: Store) -> None:
    ready(store, 2.0)
    analyse(store, now=LATER)
    assert not is_anything_to_judge(store, LATER + 10 * ns(DAY))


def test_a_stop_ends_it_between_two_stations(store: Store, metrics: Metrics) -> None:
    store.put_site(site("a", "b"), 0)
    store.write(workdays(12.0, station="a") | workdays(12.0, station="b"))
    asked: list[bool] = []

    def stopping() -> bool:
        asked.append(True)
        return len(asked) > 1

    work = task("analyse", metrics).work
    with pytest.raises(StopRequestedError):
        work(turn(store, stopping=stopping))
    assert {finding.station for finding in store.findings()} == {"a"}
    work(turn(store))
    assert {finding.station for finding in store.findings()} == {"a", "b"}


# Damage.


def damage(row_id: int) -> DamageError:
    return DamageError("db", part="segment", row_id=row_id, point="spot.flow", start=0, end=S)


def test_damage_that_an_analysis_met_is_told() -> None:
    report = AnalysisReport(stations=2, windows=2, findings=0, damaged=[damage(1), damage(2)])
    said = judged_sentence(report)
    assert said.startswith(
        "2 stations judged, 0 findings; 2 blocks could not be read, the first: db: segment 1 of "
        "spot.flow"
    )


def test_the_daily_check_finds_damage(store: Store, store_file: Path, metrics: Metrics) -> None:
    ready(store, 2.0)
    store.fold()
    verify = task("integrity", metrics).work
    assert verify(turn(store)) == "no damage in what is stored of 2 points, looked at in 0 s"
    with sqlite3.connect(store_file) as connection:
        connection.execute("update segment set checksum = checksum + 1 where id = 1")
    connection.close()
    with pytest.raises(NotWellError, match=r"^damage found; 1 block could not be read") as found:
        verify(turn(store))
    assert "restore the database from a backup" in str(found.value)


# Retention and figures.


def test_nothing_is_removed_unless_the_site_file_says_so(store: Store, metrics: Metrics) -> None:
    ready(store, 2.0)
    said = task("retention", metrics).work(turn(store))
    assert said == "off: the site file keeps every reading"


@pytest.mark.parametrize(
    ("kept", "expected"),
    [
        ((0, 0), "5 readings of 1 station removed"),
        ((2, 3), "5 readings of 1 station removed; 5 readings kept for holds or open findings"),
    ],
)
def test_what_was_removed_and_kept_is_told(
    store: Store,
    metrics: Metrics,
    monkeypatch: pytest.MonkeyPatch,
    kept: tuple[int, int],
    expected: str,
) -> None:
    store.put_site(parse_site(f"{site('spot').text}\n[retention]\nreadings_days = 365\n"), 0)
    monkeypatch.setattr(every, "retain", lambda _store, now: Retained(1, 5, *kept))
    assert task("retention", metrics).work(turn(store)) == expected


def test_figures_of_the_findings_and_of_the_last_analysis(store: Store, metrics: Metrics) -> None:
    show_figures(store, metrics)
    assert value(metrics, "bondtrail_findings", kind="no_bond_transfer") == 0
    assert value(metrics, "bondtrail_analysis_timestamp_seconds") == 0
    ready(store, 2.0, 12.0)
    analyse(store, now=LATER)
    store.jobs.end("analyse", LATER, "", failed=False)
    show_figures(store, metrics)
    assert value(metrics, "bondtrail_findings", kind="no_bond_transfer") == 1
    assert value(metrics, "bondtrail_analysis_timestamp_seconds") == LATER / S
    listed = [finding.kind for finding in store.findings()]
    assert dict(findings_by_kind(store)) == {
        kind: listed.count(kind) for kind in Kind if kind in listed or kind is Kind.RESISTANCE_DRIFT
    }
