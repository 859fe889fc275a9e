"""The demo as it lies in the package: read once, judged once."""

from __future__ import annotations

import csv
import io
from collections import defaultdict
from collections.abc import Mapping

import pyarrow as pa
import pyarrow.csv
import pytest
import zstandard

from analytics.core.drift import ResistanceTrend, drift_findings, resistance_trends
from analytics.core.station import judge
from bondtrail.results import Finding, StationResults, Ticket, WorkWindow
from bondtrail.samples import Samples
from bondtrail.site import Site, load_site
from bondtrail.times import parse_time
from replay_data import demo_files

COLUMNS = {
    "time": pa.timestamp("ns", "UTC"),
    "tag": pa.string(),
    "value": pa.string(),
    "quality": pa.uint8(),
}


@pytest.fixture(scope="session")
def site() -> Site:
    return load_site(demo_files().site)


@pytest.fixture(scope="session")
def recorded() -> Mapping[str, Samples]:
    """The readings by tag, in the order of the files and in the unit of the tag."""
    options = pyarrow.csv.ConvertOptions(column_types=COLUMNS)
    unpack = zstandard.ZstdDecompressor().decompress
    frame = pa.concat_tables(
        pyarrow.csv.read_csv(io.BytesIO(unpack(path.read_bytes())), convert_options=options)
        for path in demo_files().readings
    ).to_pandas()
    time = frame["time"].dt.tz_localize(None).to_numpy("datetime64[ns]").astype("int64")
    value = frame["value"].replace("OL", "inf").to_numpy(float)
    quality = frame["quality"].fillna(0).to_numpy("uint8")
    rows = frame.groupby("tag").indices
    return {tag: Samples(time[at], value[at], quality[at]) for tag, at in rows.items()}


@pytest.fixture(scope="session")
def tickets() -> list[Ticket]:
    with demo_files().batch.open(encoding="utf-8", newline="") as lines:
        return [
            Ticket(
                row["station"],
                parse_time(row["start"]),
                parse_time(row["end"]),
                row["batch"],
                row["product"],
                row["operator"],
            )
            for row in csv.DictReader(lines)
        ]


@pytest.fixture(scope="session")
def work() -> list[WorkWindow]:
    with demo_files().work.open(encoding="utf-8", newline="") as lines:
        return [
            WorkWindow(
                row["station"], parse_time(row["start"]), parse_time(row["end"]), row["what"]
            )
            for row in csv.DictReader(lines)
        ]


@pytest.fixture(scope="session")
def results(
    site: Site,
    recorded: Mapping[str, Samples],
    tickets: list[Ticket],
    work: list[WorkWindow],
) -> Mapping[str, StationResults]:
    """What the rules say of every station."""
    tickets_of, work_of = defaultdict(list), defaultdict(list)
    for ticket in tickets:
        tickets_of[ticket.station].append(ticket)
    for window in work:
        work_of[window.station].append(window)
    judged = {}
    for station in site.stations:
        signals = {}
        for role, point in station.points.items():
            raw = recorded[point.aliases[0]]
            signals[role] = Samples(raw.time, raw.value * point.scale, raw.quality)
        judged[station.id] = judge(
            station,
            signals,
            zone=site.zone,
            work=work_of[station.id],
            tickets=tickets_of[station.id],
        )
    return judged


@pytest.fixture(scope="session")
def work_of(site: Site, work: list[WorkWindow]) -> Mapping[str, list[WorkWindow]]:
    """The work orders of every station."""
    return {
        station.id: [window for window in work if window.station == station.id]
        for station in site.stations
    }


@pytest.fixture(scope="session")
def trends(
    results: Mapping[str, StationResults], work_of: Mapping[str, list[WorkWindow]]
) -> Mapping[str, list[ResistanceTrend]]:
    """What the bonded resistance of every station did."""
    return {
        station: resistance_trends(found.hookups, work_of[station])
        for station, found in results.items()
    }


@pytest.fixture(scope="session")
def findings(
    site: Site,
    results: Mapping[str, StationResults],
    work_of: Mapping[str, list[WorkWindow]],
) -> Mapping[str, list[Finding]]:
    """Every finding of every station, of drift too."""
    drifts = {
        station.id: drift_findings(
            station.id,
            results[station.id].hookups,
            work_of[station.id],
            lambda _, limits=station.limits: limits,
        )
        for station in site.stations
    }
    return {station: [*found.findings, *drifts[station]] for station, found in results.items()}
