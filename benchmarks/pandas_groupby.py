"""The findings of a bench station by a plain pandas script, beside the rules."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analytics.core.situation import Signals
from analytics.core.station import judge
from benchmarks.rules import bench_site, year_of_transfers
from benchmarks.table import Row, median_seconds
from bondtrail.site import Role

SAMPLES = 12_000_000


def runs(frame: pd.DataFrame, column: str) -> pd.DataFrame:
    """Return one row a run of equal values, as an analyst would write it."""
    frame = frame.assign(run=(frame[column] != frame[column].shift()).cumsum())
    grouped = frame.groupby("run").agg(
        state=(column, "first"), start=("time", "first"), lowest=("resistance", "min")
    )
    grouped["end"] = grouped["start"].shift(-1)
    grouped["length"] = (grouped["end"] - grouped["start"]) / 1e9
    return grouped


def findings_by_pandas(signals: Signals) -> set[tuple[str, int]]:
    """Return kind and start of the findings that the bench station has, and no others.

    It knows only what this recording needs: equal times, no gaps, no bad data, no bypass.
    """
    resistance = signals[Role.RESISTANCE]
    frame = pd.DataFrame(
        {
            "time": resistance.time,
            "resistance": resistance.value,
            "permissive": signals[Role.PERMISSIVE].value,
            "flow": signals[Role.FLOW].value >= 5.0,
        }
    )
    frame["bond"] = np.select(
        [frame["resistance"] <= 10.0, frame["resistance"] < 100_000.0], ["low", "high"], "open"
    )
    frame["contact"] = frame["bond"] != "open"
    bond, flow, contact = runs(frame, "bond"), runs(frame, "flow"), runs(frame, "contact")
    permissive = runs(frame, "permissive")
    found: set[tuple[str, int]] = set()
    hookups = contact[contact["state"].astype(bool) & (contact["length"] >= 3.0)]
    failed = hookups[hookups["lowest"] > 10.0]
    found |= {("failed_hookup", int(start)) for start in failed["start"]}
    lost = bond[(bond["state"] != "low") & (bond["state"].shift() == "low")]
    flowing = flow[flow["state"].astype(bool)].dropna()
    opened = permissive[permissive["state"] == 0.0]
    for run in flowing.itertuples():
        cause = opened[
            (opened["start"] >= run.end - 10e9)
            & (opened["start"] <= run.end)
            & (opened["start"] >= run.start)
        ]
        loss = lost[(lost["start"] >= run.start) & (lost["start"] <= run.end)]
        if len(cause) and len(loss) and loss["length"].iloc[-1] < 2.0:
            found.add(("nuisance_trip", int(cause["start"].iloc[-1])))
        if len(loss) and (run.end - loss["start"].iloc[-1]) / 1e9 > 5.0:
            found.add(("bond_lost_in_flow", int(loss["start"].iloc[-1])))
    return found


def measure() -> list[Row]:
    """Time the rules beside the script, which must find the same."""
    site = bench_site()
    signals = year_of_transfers(SAMPLES)
    results = judge(site.stations[0], signals, zone=site.zone)
    ours = {(str(finding.kind), finding.start) for finding in results.findings}
    theirs = findings_by_pandas(signals)
    if ours != theirs:
        raise AssertionError(f"the script and the rules disagree on {sorted(ours ^ theirs)[:5]}")
    slow = median_seconds(lambda: findings_by_pandas(signals))
    fast = median_seconds(lambda: judge(site.stations[0], signals, zone=site.zone))
    return [
        Row(
            f"{len(ours)} findings in {SAMPLES / 1e6:.0f} M samples",
            f"{fast:.2f} s",
            f"{slow:.2f} s (pandas)",
            slow / fast,
            "at least 10",
            slow / fast >= 10,
        )
    ]


if __name__ == "__main__":
    print(*measure(), sep="\n")
