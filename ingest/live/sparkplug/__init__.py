"""Sparkplug B: births, data and deaths of edge nodes and their devices, to readings of points."""
