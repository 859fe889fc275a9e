"""Sparkplug B: births, data and deaths of edge nodes and their devices, to readings of points.

The public face is `SparkplugHost` with what it returns.
"""

from ingest.live.sparkplug.host import SparkplugHost
from ingest.live.sparkplug.taken import Readings, Refused, Taken

__all__ = ["Readings", "Refused", "SparkplugHost", "Taken"]
