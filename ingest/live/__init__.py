"""Readings that arrive as messages: taken from a broker, decoded, committed, acknowledged."""
