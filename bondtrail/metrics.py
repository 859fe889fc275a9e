"""The figures that a running Bondtrail gives to a monitoring system, under their names."""

from __future__ import annotations

from prometheus_client import CollectorRegistry, Counter, Gauge, Histogram

SECONDS = (0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 30.0, 60.0)


class Metrics:
    """Each figure once, in a registry of its own unless one is given."""

    def __init__(self, registry: CollectorRegistry | None = None) -> None:
        self.registry = registry or CollectorRegistry()
        self.messages = Counter(
            "bondtrail_messages", "Messages taken from the broker.", registry=self.registry
        )
        self.samples = Counter(
            "bondtrail_samples",
            "Samples committed, by what they were.",
            ["outcome"],
            registry=self.registry,
        )
        self.rejects = Counter(
            "bondtrail_rejects", "Readings or messages rejected.", registry=self.registry
        )
        self.commit = Histogram(
            "bondtrail_commit_seconds",
            "Time to commit a batch.",
            buckets=SECONDS,
            registry=self.registry,
        )
        self.lag = Histogram(
            "bondtrail_lag_seconds",
            "Arrival minus time of live readings: the median of each source, at each commit.",
            buckets=SECONDS,
            registry=self.registry,
        )
        self.held = Gauge(
            "bondtrail_held_messages",
            "Messages taken and not yet committed.",
            registry=self.registry,
        )
        self.folds = Counter(
            "bondtrail_folded_rows", "Journal rows folded into segments.", registry=self.registry
        )
        self.analysed = Gauge(
            "bondtrail_analysis_timestamp_seconds",
            "When the last analysis ended well.",
            registry=self.registry,
        )
        self.analysis = Histogram(
            "bondtrail_analysis_seconds",
            "Time an analysis takes.",
            buckets=SECONDS,
            registry=self.registry,
        )
        self.findings = Gauge(
            "bondtrail_findings", "Findings in the store.", ["kind"], registry=self.registry
        )
        self.silent = Gauge(
            "bondtrail_silent_points",
            "Points whose last reading no longer holds.",
            registry=self.registry,
        )
