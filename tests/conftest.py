"""What all tests share."""

import signal
from collections.abc import Iterator

import pytest


@pytest.fixture(autouse=True)
def _keyboard() -> Iterator[None]:
    """Ctrl-C raises KeyboardInterrupt, also where the shell that started the tests ignores it."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)
