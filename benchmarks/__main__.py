"""Measure everything, each figure beside its yardstick of the same run, and print one table."""

from __future__ import annotations

import argparse
import importlib

from benchmarks.table import Row

SUBJECTS = (
    "at_rest",
    "read_back",
    "load_csv",
    "rules",
    "pandas_groupby",
    "charging",
    "replay",
    "listen",
)
LARGE = ("load_memory", "kpis", "alarms", "quarter_report", "player", "finding_delay")


def main() -> None:
    """Run the subjects that are named, or all but the large ones."""
    parser = argparse.ArgumentParser(description=__doc__, prog="python -m benchmarks")
    parser.add_argument("subjects", nargs="*", metavar="SUBJECT", help=", ".join(SUBJECTS + LARGE))
    parser.add_argument("--large", action="store_true", help="also those that take minutes")
    asked = parser.parse_args()
    subjects = asked.subjects or (*SUBJECTS, *(LARGE if asked.large else ()))
    unknown = [subject for subject in subjects if subject not in SUBJECTS + LARGE]
    if unknown:
        parser.error(f"no subject {', '.join(unknown)}: choose from {', '.join(SUBJECTS + LARGE)}")
    print(f"{'what':<40} {'ours':>20} {'yardstick':>26} {'ratio':>7}  reach")
    for subject in subjects:
        for row in importlib.import_module(f"benchmarks.{subject}").measure():
            print(_line(row), flush=True)


def _line(row: Row) -> str:
    verdict = "reached" if row.reached else "MISSED"
    return (
        f"{row.name:<40} {row.ours:>20} {row.yardstick:>26} {row.ratio:>7.2f}"
        f"  {row.reach}: {verdict}"
    )


if __name__ == "__main__":
    main()
