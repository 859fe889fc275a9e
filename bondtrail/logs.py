"""What a long-running command says of itself: plain lines, in UTC, without a secret."""

from __future__ import annotations

import logging
import os
import re
import sys
from collections.abc import Mapping
from typing import TextIO

from bondtrail.settings import hide_password
from bondtrail.times import format_time

LOG_VARIABLE = "BONDTRAIL_LOG"
_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")


class PlainFormatter(logging.Formatter):
    """A time, how grave it is, who says it, what: on one line, unless it is a traceback."""

    def format(self, record: logging.LogRecord) -> str:
        """Return the line of a record; passwords and control characters are left out."""
        at = format_time(int(record.created * 1e9))
        text = f"{at} {record.levelname:<7} {record.name}: {record.getMessage()}"
        if record.exc_info:
            text += "\n" + self.formatException(record.exc_info)
        return _CONTROL.sub("\N{REPLACEMENT CHARACTER}", hide_password(text))


def log_plainly(stream: TextIO | None = None, environment: Mapping[str, str] = os.environ) -> None:
    """Write what ours say, and warnings of others, to standard error.

    With ``BONDTRAIL_LOG=debug`` in the environment also what helps to find a defect.
    """
    level = logging.DEBUG if environment.get(LOG_VARIABLE) == "debug" else logging.INFO
    handler = logging.StreamHandler(stream or sys.stderr)
    handler.setFormatter(PlainFormatter())
    root = logging.getLogger()
    root.handlers = [handler]
    root.setLevel(logging.WARNING)
    for room in ("bondtrail", "store", "ingest", "analytics", "dashboard"):
        logging.getLogger(room).setLevel(level)
