"""Recorded readings out to a broker: for commissioning, training and tests of load."""

from ingest.feeding.feed import Plan, feed
from ingest.feeding.recorded import Wanted
from ingest.feeding.report import FeedReport

__all__ = ["FeedReport", "Plan", "Wanted", "feed"]
