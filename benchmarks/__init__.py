"""Timings, each beside its yardstick: ``python -m benchmarks`` prints them all."""
