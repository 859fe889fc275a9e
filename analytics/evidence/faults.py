"""What can be wrong with a package, or keep one from being made."""

from __future__ import annotations


class EvidenceError(ValueError):
    """A package cannot be made, read or signed; ``remedy`` says what to do."""

    def __init__(self, what: str, remedy: str = "") -> None:
        super().__init__(what)
        self.remedy = remedy


class UnreadableError(EvidenceError):
    """A file is no package, or one that nobody can read."""


class KeyFileError(EvidenceError):
    """A key file that cannot be used."""


class UnknownTransferError(EvidenceError):
    """No transfer has that id."""


class NotAnalysedError(EvidenceError):
    """Readings came since the station was analysed: what would be enclosed may be out of date."""
