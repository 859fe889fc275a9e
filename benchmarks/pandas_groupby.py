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
    grouped["end"] = grouped["start"].shift(-1, fill_value=frame["time"].iloc[-1])
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
    flowing = flow[flow["state"].astype(bool)]
    opened = permissive[permissive["state"] == 0.0]
    before = opened["start"].searchsorted(flowing["end"], side="right") - 1
    stopped = flowing.assign(opened=opened["start"].to_numpy()[before])
    before = lost["start"].searchsorted(flowing["end"], side="right") - 1
    stopped = stopped.assign(
        lost=lost["start"].to_numpy()[before], loss=lost["length"].to_numpy()[before]
    )
    stopped = stopped[stopped["lost"].between(stopped["start"], stopped["end"])]
    tripped = stopped[
        stopped["opened"].between(stopped["start"], stopped["end"])
        & (stopped["end"] - stopped["opened"] <= 10e9)
    ]
    brief = tripped[tripped["loss"] < 2.0]
    found |= {("nuisance_trip", int(moment)) for moment in brief["opened"]}
    ran_on = stopped[stopped["end"] - stopped["lost"] > 5e9]
    found |= {("bond_lost_in_flow", int(moment)) for moment in ran_on["lost"]}
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
