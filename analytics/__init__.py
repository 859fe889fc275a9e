"""Runs of the rules over the store, around a pure core."""
