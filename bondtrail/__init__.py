"""The front door and the words that every other room shares."""

__version__ = "0.4.0"
