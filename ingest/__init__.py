"""Adapters that turn files into samples, work windows and tickets, and write them."""

from ingest.errors import IngestError, Unreadable
from ingest.load import load_files
from ingest.report import FileKind, FileReport, LoadReport, Progress

__all__ = [
    "FileKind",
    "FileReport",
    "IngestError",
    "LoadReport",
    "Progress",
    "Unreadable",
    "load_files",
]
