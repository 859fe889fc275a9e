"""The store: the time series and what was found in them, over SQLite or PostgreSQL.

Use what is named here; nothing outside this room sees SQL or blocks.
"""

from store.alarm_parts import AlarmColumns
from store.bulk import BulkWriter
from store.compliances import Allowed, FailingTransfer, TransferCount
from store.errors import (
    DamageError,
    NewerStoreError,
    NotAStoreError,
    StoreBusyError,
    StoreError,
    StoreFullError,
    StoreRefusedError,
    StoreUnavailableError,
)
from store.face import Store, open_store
from store.floors import Floor
from store.holds import Holds
from store.merging import Written
from store.points import PointSummary
from store.retention import Removed, Retention
from store.reviews import START, BrokenReview, Reviews, digest_of, follows
from store.stretches import NEVER, Arrivals
from store.summaries import (
    DayMark,
    EpisodeCounts,
    FindingCount,
    FindingMark,
    PartSums,
    Summaries,
    TripCount,
)
from store.touches import Touch
from store.users import Person

__all__ = [
    "NEVER",
    "START",
    "AlarmColumns",
    "Allowed",
    "Arrivals",
    "BrokenReview",
    "BulkWriter",
    "DamageError",
    "DayMark",
    "EpisodeCounts",
    "FailingTransfer",
    "FindingCount",
    "FindingMark",
    "Floor",
    "Holds",
    "NewerStoreError",
    "NotAStoreError",
    "PartSums",
    "Person",
    "PointSummary",
    "Removed",
    "Retention",
    "Reviews",
    "Store",
    "StoreBusyError",
    "StoreError",
    "StoreFullError",
    "StoreRefusedError",
    "StoreUnavailableError",
    "Summaries",
    "Touch",
    "TransferCount",
    "TripCount",
    "Written",
    "digest_of",
    "follows",
    "open_store",
]
