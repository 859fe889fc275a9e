"""What a report says of a month whose numbers are known."""

from __future__ import annotations

import datetime as dt
import math
import re
import shutil
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from analytics.core.shares import wilson
from analytics.reports import Period, Report, gather, limits
from analytics.reports.html import html_file
from analytics.reports.source import Source
from analytics.reports.tables import Table
from bondtrail.results import RULES_VERSION, DaySums, StationResults
from bondtrail.samples import Samples
from bondtrail.site import Site
from store import Allowed, Store, open_store
from tests.analytics.reports.quay import (
    FAILING,
    FORMULA,
    LOST,
    MARCH,
    NOW,
    SITE,
    at,
    fill,
)


def table(report: Report, name: str) -> Table:
    return next(each for each in report.tables() if each.name == name)


def cells(report: Report, name: str, *columns: str) -> list[Any]:
    rows = table(report, name).rows
    if len(columns) == 1:
        return list(rows[columns[0]])
    return [tuple(row) for row in rows[list(columns)].itertuples(index=False)]


# Two transfers a day each at rail-1 (28 days on record) and tote (31 days), and four that fail.
GOOD = 2 * 28 + 2 * 31
OF = GOOD + 4


def test_the_headline_is_the_share_of_all_with_its_interval(report: Report) -> None:
    assert report.cover.compliance == wilson(GOOD, OF)


def test_bad_bond_bypassed_and_not_verifiable_are_told_apart(report: Report) -> None:
    cover = report.cover
    assert (cover.bad_bond, cover.bypassed, cover.unverifiable) == (2, 1, 1)
    assert cells(report, "not_compliant", "worst") == [
        "bad bond",
        "bypassed",
        "not verifiable",
        "bad bond",  # bypassed too
    ]


def test_every_failing_transfer_is_there_with_its_cause(report: Report) -> None:
    rows = table(report, "not_compliant").rows
    assert list(rows["transfer"]) == [row.id for row in FAILING]
    assert rows["cause"][0].startswith("The bond was lost in flow")
    assert rows["kinds"][3] == "bypassed_flow; unbonded_start"
    assert rows["batch"][0] == FORMULA
    assert rows["start"][0] == dt.datetime.fromisoformat("2026-03-10T06:00+00:00")
    assert list(rows["volume"]) == [48_000.0] * 4


def test_coverage_adds_up_to_all_station_time(report: Report) -> None:
    coverage = report.cover.coverage
    month_s = 31 * 86_400 - 3600  # the clocks go forward on the 29th
    assert coverage.station_s == pytest.approx(3 * month_s)
    assert (coverage.unknown_s, coverage.no_record_s) == (40.0, 3 * 86_400.0)


def test_holes_are_told_in_words_on_the_first_page(report: Report) -> None:
    caveat = report.cover.caveats[0]
    assert caveat.text.startswith("The records have holes at 2 stations.")
    assert caveat.cases == [
        "rail-1: no record for 3 d, mostly 2026-03-16 to 2026-03-18",
        "tote: bond unknown for 40 s",
    ]


def test_the_first_page_says_when_and_from_what_it_was_made(report: Report) -> None:
    assert report.cover.made == NOW
    assert report.cover.last_reading == at(31, 23.9)
    assert report.cover.rules.startswith(f"Version {RULES_VERSION}")
    assert report.cover.scope == "All 3 stations of the site."


def test_stations_rank_by_the_cautious_end(report: Report) -> None:
    assert cells(report, "stations", "station", "rank_in_words") == [
        ("rail-1", "1"),
        ("tote", "2"),
        ("bowl", ""),
    ]
    assert cells(report, "stations", "rank")[:2] == [1, 2]
    assert cells(report, "stations", "compliance_count", "compliance_of")[0] == (56, 59)


def test_areas_are_told_where_the_site_names_some(report: Report) -> None:
    assert cells(report, "areas", "area") == ["Rail", "(no area)"]


def test_a_site_without_shifts_has_an_empty_table_of_them(report: Report) -> None:
    assert len(table(report, "shifts").rows) == 0
    assert table(report, "shifts").empty == ""


def test_weeks_add_up_to_the_month(report: Report) -> None:
    rows = table(report, "weeks").rows
    assert list(rows["week"]) == [f"2026-w{week:02}" for week in range(9, 15)]
    assert (rows["transfers"].sum(), rows["not_compliant"].sum()) == (OF, 4)
    assert rows["centre"][0] == pytest.approx(4 / OF)


def test_each_station_is_told_by_week_where_that_is_asked_for(report: Report) -> None:
    rows = table(report, "periods").rows
    assert rows["compliance_of"].sum() == OF
    assert str(rows["first"][1]) == "2026-03-02"


def test_bypass_failed_hookups_and_nuisance_trips_are_counted(report: Report) -> None:
    assert cells(report, "bypass", "station", "bypassed_s", "findings") == [("rail-1", 60.0, 2)]
    assert cells(report, "failed_hookups", "station", "cause", "share_count", "share_of") == [
        ("rail-1", "all causes", 1, 60),
        ("rail-1", "layer", 1, 60),
    ]
    assert cells(report, "nuisance_causes", "station", "cause", "count", "cumulative") == [
        ("rail-1", "brief contact loss", 6, 1.0)
    ]
    rates = cells(
        report, "nuisance_rates", "station", "nuisance_per_100_transfers_count", "rank_note"
    )
    assert rates == [("rail-1", 6, ""), ("tote", 0, "too few to rank")]


def test_a_station_that_records_no_bypass_is_named(report: Report) -> None:
    (section,) = (each for each in report.sections if each.title == "Bypass use")
    assert section.text == [
        "Not recorded at 1 of 2 stations with flow, so that no bypass can be seen there: tote.",
        "Unknown for 1 h of flow in all at rail-1: a bypass may have been on then.",
    ]
    assert report.cover.without_bypass == (1, 2)


def test_bypass_that_is_not_recorded_is_no_0(report: Report) -> None:
    rows = dict(cells(report, "stations", "station", "bypassed_s"))
    assert rows["rail-1"] == 60.0
    assert math.isnan(rows["tote"])
    assert math.isnan(rows["bowl"])
    flow = dict(cells(report, "stations", "station", "flow_s"))
    assert flow["tote"] > 0
    assert math.isnan(flow["bowl"])  # nothing tells whether it runs
    assert cells(report, "not_compliant", "station", "bypassed_s")[1] == ("rail-1", 30.0)
    assert math.isnan(cells(report, "not_compliant", "bypassed_s")[2])
    assert cells(report, "areas", "bypassed_s")[0] == 60.0
    text = html_file(report).decode()
    assert text.count(">not recorded</td>") >= 3
    assert "not recorded at 1 of 2 stations with flow" in text


def test_time_in_which_flow_is_unknown_is_told_on_the_first_page(report: Report) -> None:
    assert report.cover.coverage.flow_unknown_s == 7200.0
    assert dict(cells(report, "holes", "station", "flow_unknown_s"))["tote"] == 7200.0
    assert report.cover.caveats[1].text == (
        "Whether product flowed is unknown for 2 h in all at 1 station (tote): no transfer can be "
        "seen then, neither good nor bad."
    )


def test_what_rests_on_the_allowances_is_told_beside_the_figure(report: Report) -> None:
    assert report.cover.allowed == Allowed(2, 3.0, 1, 9.0, 0)
    told = dict(cells(report, "summary", "item", "value"))
    assert told["compliant, bond not verified within allowances"] == 2
    assert told["compliant, bond unknown within allowances, in all"] == 9.0
    text = " ".join(html_file(report).decode().split())
    assert "within the allowances of the site file, no finding" in text
    assert (
        f"Of the {GOOD} compliant, 2 ran for a while with the bond not verified, within the "
        "allowances (3 s in all), and 1 with it unknown (9 s in all)."
    ) in text


def test_fixed_items_without_a_bond_are_told(report: Report) -> None:
    assert cells(report, "other_findings", "station", "kind") == [("bowl", "item isolated")]


def test_alarms_are_told_beside_the_published_levels(report: Report) -> None:
    rows = cells(report, "alarm_load", "figure", "acceptable", "manageable", "judgement")
    assert ("average_per_hour", 6.0, 12.0, "within acceptable") in rows
    assert cells(report, "top_alarms", "station", "kind", "count") == [("rail-1", "bond lost", 1)]


def test_what_a_station_cannot_be_judged_on_is_told(report: Report) -> None:
    gaps = cells(report, "not_judged", "about", "stations")
    assert ("transfers", "bowl") in gaps


@pytest.fixture
def own(quay_file: Path, tmp_path: Path) -> Any:
    """A copy of the store that a test may change."""
    shutil.copy(quay_file, tmp_path / "own.db")
    with open_store(f"sqlite:///{tmp_path / 'own.db'}") as store:
        yield store


def test_results_that_are_not_up_to_date_are_warned_of(
    own: Store, site: Site, march: Period
) -> None:
    own.touch("tote", at(20))
    told = [caveat.text for caveat in gather(own, site, march, now=NOW).cover.caveats]
    assert told[0].startswith("The results of 1 station are not up to date (tote)")


def test_what_was_touched_after_the_period_does_not_matter(
    own: Store, site: Site, march: Period
) -> None:
    own.touch("tote", at(31, 25))
    told = [caveat.text for caveat in gather(own, site, march, now=NOW).cover.caveats]
    assert not any("not up to date" in text for text in told)


def test_what_comes_while_a_report_is_made_is_not_in_it(
    own: Store, site: Site, march: Period, report: Report, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every number is of one state of the store, even if an analysis ends in between."""

    def held(source: Source) -> list[limits.Held]:
        with open_store(own.where) as other:
            days = tuple(other.days("tote"))  # its failing transfer is gone, and its findings
            found = StationResults("tote", days=days)
            other.save_results(found, since=-(2**63), since_day=dt.date.min)
        return found_limits(source)

    found_limits = limits.held
    monkeypatch.setattr(limits, "held", held)
    again = gather(own, site, march, now=NOW, by="week")
    assert again.cover == report.cover
    assert table(again, "limits").rows.equals(table(report, "limits").rows)
    assert len(own.transfers("tote")) == 0


@pytest.fixture
def loaded(store: Store, site: Site) -> Store:
    """Readings of March and of one station the half of it, and no analysis."""
    store.put_site(site, 0)
    for station in ("rail-1", "tote"):
        last = at(31, 24) if station == "rail-1" else at(16, 0)
        store.write({f"{station}.resistance": Samples.of([at(1, 0), last], [3.0, 3.0])})
    return store


def test_what_is_loaded_and_not_analysed_is_not_told_as_missing(
    loaded: Store, site: Site, march: Period
) -> None:
    report = gather(loaded, site, march, now=NOW, by="week")
    days = 86_400.0
    coverage = report.cover.coverage
    assert coverage.not_analysed_s == pytest.approx((31 + 15) * days - 3600)
    assert coverage.no_record_s == pytest.approx((16 + 31) * days - 2 * 3600)
    assert report.cover.caveats[0].text.startswith(
        "Not analysed: readings of 2 stations (rail-1, tote) are loaded"
    )
    assert not any("not up to date" in each.text for each in report.cover.caveats)
    assert cells(report, "stations", "station", "no_record_s", "not_analysed_s")[0] == (
        "rail-1",
        0.0,
        pytest.approx(31 * days - 3600),
    )
    area = dict(cells(report, "areas", "area", "not_analysed_s"))
    assert area["Rail"] == pytest.approx(31 * days - 3600)
    assert report.cover.rules.startswith(f"Version {RULES_VERSION}; no finding of this period")
    text = html_file(report).decode()
    assert "<b>Not analysed</b>" in text
    assert "No transfers began" not in text
    assert "results changed" not in text


def test_the_rules_of_the_findings_of_the_period_are_told(
    own: Store, site: Site, march: Period
) -> None:
    older = replace(own.findings("bowl")[0], rules="1")
    days = tuple(own.days("bowl"))
    found = StationResults("bowl", findings=(older,), days=days)
    own.save_results(found, since=-(2**63), since_day=dt.date.min)
    told = gather(own, site, march, now=NOW).cover
    assert told.rules.startswith("1, 2 in the findings of this period")
    assert any("judged by version 1 of the rules" in each.text for each in told.caveats)
    other = gather(own, site, march, now=NOW, stations={"tote"}).cover
    assert other.rules.startswith("Version 2 ")
    assert not any("judged by version" in each.text for each in other.caveats)


def test_stations_that_the_file_no_longer_names_are_told(
    own: Store, site: Site, march: Period
) -> None:
    own.save_results(
        StationResults("old", days=(DaySums("old", MARCH, known_s=86_400.0),)),
        since=-(2**63),
        since_day=dt.date.min,
    )
    assert gather(own, site, march, now=NOW).cover.scope == (
        "All 3 stations of the site, and 1 that its file no longer names (old)."
    )


def test_only_some_stations(filled: Store, site: Site, march: Period) -> None:
    report = gather(filled, site, march, now=NOW, stations={"tote"})
    assert report.cover.scope == "1 of 3 stations of the site: tote."
    assert report.cover.compliance == wilson(62, 63)
    assert cells(report, "not_compliant", "station") == ["tote"]
    assert cells(report, "stations", "station") == ["tote"]
    assert set(cells(report, "limits", "station")) == {"tote"}
    assert cells(report, "failed_hookups", "station") == []


def test_a_period_without_readings_says_so(filled: Store, site: Site) -> None:
    june = Period(dt.date(2025, 6, 1), dt.date(2025, 7, 1))
    report = gather(filled, site, june, now=NOW)
    assert report.cover.compliance == wilson(0, 0)
    told = [caveat.text for caveat in report.cover.caveats]
    assert told[0] == (
        "There are no readings of this period: they run from 2026-03-01 to 2026-03-31."
    )
    assert report.cover.coverage.share == 0
    assert cells(report, "alarm_load", "value") == []
    assert cells(report, "weeks", "week") == []


def test_a_period_that_is_not_over_is_clipped_at_the_clock(filled: Store, site: Site) -> None:
    report = gather(filled, site, Period(MARCH, dt.date(2026, 5, 1)), now=NOW)
    assert report.cover.caveats[0].text.startswith("The period is not over")
    month_s = 31 * 86_400 - 3600
    april_s = (NOW - at(31, 24)) / 1e9
    assert report.cover.coverage.station_s == pytest.approx(3 * (month_s + april_s))


def test_a_period_that_has_not_begun_is_refused(filled: Store, site: Site) -> None:
    with pytest.raises(ValueError, match="has not begun"):
        gather(filled, site, Period(dt.date(2026, 5, 1), dt.date(2026, 6, 1)), now=NOW)


def test_an_empty_store_has_a_report(store: Store, march: Period) -> None:
    from bondtrail.site import parse_site

    site = parse_site(SITE)
    store.put_site(site, 0)
    report = gather(store, site, march, now=NOW)
    assert "no readings of these stations at all" in report.cover.caveats[0].text
    assert report.cover.last_reading is None


def test_the_same_store_and_clock_give_the_same_report(
    filled: Store, site: Site, march: Period, report: Report
) -> None:
    again = gather(filled, site, march, now=NOW, by="week")
    assert again.cover == report.cover
    for one, other in zip(again.tables(), report.tables(), strict=True):
        assert one.rows.equals(other.rows)


def test_postgresql_says_the_same(postgres_url: str, march: Period, report: Report) -> None:
    with open_store(postgres_url) as store:
        again = gather(store, fill(store), march, now=NOW, by="week")
    assert again.cover == report.cover
    for one, other in zip(again.tables(), report.tables(), strict=True):
        assert one.rows.equals(other.rows), one.name


def test_ids_lead_from_a_transfer_to_its_findings(report: Report) -> None:
    found = table(report, "not_compliant").rows["findings"][0]
    assert found == f"rail-1/bond_lost_in_flow/{LOST.id.split('/')[1].replace('06000', '06010')}"


def test_the_document_names_every_table(report: Report) -> None:
    text = (Path(__file__).parents[3] / "docs" / "report.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| (`\w+`(?:, `\w+`)*) \|", text.split("## Tables")[1], re.MULTILINE)
    named = [name for row in rows for name in re.findall(r"`(\w+)`", row)]
    assert sorted(named) == sorted(each.name for each in report.tables())
