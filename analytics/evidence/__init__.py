"""Evidence: one transfer with all that is known of it, in a zip that stands alone.

`build` makes a package from a store, `verify` checks one by itself. A package holds the readings
unchanged, what the rules found in them, what people said of it, and all that is needed to run the
rules again. MANIFEST names every file with its SHA-256, and a signature is of MANIFEST.
"""

from analytics.evidence.building import Package, build, write_package
from analytics.evidence.checks import Check, Grade, Outcome, Verification
from analytics.evidence.faults import EvidenceError, KeyFileError, UnreadableError
from analytics.evidence.gathering import MARGIN_S
from analytics.evidence.signing import read_private_key, read_public_key
from analytics.evidence.verifying import verify, verify_bytes

__all__ = [
    "MARGIN_S",
    "Check",
    "EvidenceError",
    "Grade",
    "KeyFileError",
    "Outcome",
    "Package",
    "UnreadableError",
    "Verification",
    "build",
    "read_private_key",
    "read_public_key",
    "verify",
    "verify_bytes",
    "write_package",
]
