"""Sparkplug B: births, data and deaths of edge nodes and their devices, to readings of points.

The public face is `SparkplugHost` with what it returns, and `filters_of`.
"""

from ingest.live.sparkplug.host import SparkplugHost
from ingest.live.sparkplug.taken import Readings, Refused, Taken
from ingest.live.sparkplug.topics import filters_of

__all__ = ["Readings", "Refused", "SparkplugHost", "Taken", "filters_of"]
