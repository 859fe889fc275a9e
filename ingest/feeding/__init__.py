"""Recorded readings out to a broker: for commissioning, training and tests of load."""

from ingest.feeding.feed import Form, Plan, feed
from ingest.feeding.recorded import Wanted
from ingest.feeding.report import FeedReport

__all__ = ["FeedReport", "Form", "Plan", "Wanted", "feed"]
