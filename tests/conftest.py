"""What all tests share."""

import os
import signal
from collections.abc import Iterator
from pathlib import Path

import pytest

# With GREASEROUTE_TESTS=planning only these run, with =rest all others; two processes side by side
# take half the time. Unset, all run.
PLANNING = {"audit", "rounds", "visits", "stands", "walk", "solvers", "test_random_sites.py"}


def pytest_ignore_collect(collection_path: Path) -> bool | None:
    """Leave out the other half of the tests, where one half is asked for."""
    half = os.environ.get("GREASEROUTE_TESTS")
    tests = Path(__file__).parent
    if half is None or tests not in collection_path.parents:
        return None
    first = collection_path.relative_to(tests).parts[0]
    return True if (first in PLANNING) != (half == "planning") else None


@pytest.fixture(autouse=True)
def _keyboard() -> Iterator[None]:
    """Ctrl-C raises KeyboardInterrupt, also where the shell that started the tests ignores it."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)
