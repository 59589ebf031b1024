"""A type that nothing carries is answered by the nearest of its family and size."""

import pytest

from greaseroute.site.checks.fleet import nearest_type

KNOWN = (
    "crawler-excavator-14t", "crawler-excavator-22t", "crawler-excavator-36t", "wheel-loader-20t",
    "rigid-dumper-40t",
)  # fmt: skip


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("crawler-excavater-22t", "did you mean 'crawler-excavator-22t'?"),
        ("mini-excavator-3t", "the nearest is 'crawler-excavator-14t'; add types/*.toml"),
        ("giant excavator 90t", "the nearest is 'crawler-excavator-36t'; add types/*.toml"),
        ("toaster", "add types/*.toml"),
    ],
)
def test_nearest_of_family_and_size(name, told):
    assert nearest_type(name, KNOWN).startswith(told)
