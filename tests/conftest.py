"""What all tests share."""

import os
import shutil
import signal
from collections.abc import Iterator
from pathlib import Path
from typing import Any

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


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """Chromium without a window, under Playwright; the test is skipped where one is missing."""
    sync_api = pytest.importorskip("playwright.sync_api")
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    if chromium is None:
        pytest.skip("no Chromium on this machine")
    switches = ["--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-sync"]
    with sync_api.sync_playwright() as play:
        found = play.chromium.launch(executable_path=chromium, args=switches)
        yield found
        found.close()
