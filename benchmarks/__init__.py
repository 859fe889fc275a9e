"""Timings, each beside its yardstick: ``python -m benchmarks`` prints them all."""

import sys
from pathlib import Path
from types import ModuleType

# The services that tests start are started here too, and an installed library has a "tests" as
# well, which would be found first: ours is only a folder.
if "tests" not in sys.modules:
    sys.modules["tests"] = ModuleType("tests")
    sys.modules["tests"].__path__ = [str(Path(__file__).parents[1] / "tests")]
