"""A span of a station replayed: its readings, what happened in it, and what the charge could be."""

from analytics.replay.gather import replay_at, replay_span, replay_transfer
from analytics.replay.replayed import Held, Missing, Replay, UnknownSpanError

__all__ = [
    "Held",
    "Missing",
    "Replay",
    "UnknownSpanError",
    "replay_at",
    "replay_span",
    "replay_transfer",
]
