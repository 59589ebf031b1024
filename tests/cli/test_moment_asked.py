"""Services later than ``planned_for``: ``check`` and the verbs judge them by the same moment."""

import pytest

from greaseroute.cli.main import entry
from tests.site.planting import good_copy, plant

LATER = "last_services.csv:3: unit B-2: at = '2026-03-24 05:40'; allowed: not after the moment"


@pytest.fixture
def later(tmp_path):
    """A site planned for 3 March in which a service is dated 24 March."""
    folder = good_copy(tmp_path)
    plant(folder, "last_services.csv", "2026-02-24 05:40", "2026-03-24 05:40")
    return folder


@pytest.mark.parametrize("verb", ["check", "due", "week", "first-day"])
def test_what_is_refused_by_a_verb_is_refused_by_check(verb, later, tmp_path, capsys):
    out = ["--out", str(tmp_path / "out")] if verb in ("week", "first-day") else []
    assert entry([verb, str(later), *out]) == 2
    assert capsys.readouterr().err.startswith(LATER)


def test_a_later_moment_asked_for_takes_the_service(later, capsys):
    assert entry(["due", str(later), "--at", "2026-03-24T05:30"]) == 2  # ten minutes too early
    assert LATER in capsys.readouterr().err
    assert entry(["due", str(later), "--at", "2026-03-24T05:45"]) == 0
    assert entry(["due", str(later), "--at", "2026-03-24T04:45+00:00"]) == 0  # 05:45 on the site
    assert entry(["due", str(later), "--at", "2026-03-24T04:35+00:00"]) == 2


def test_a_plan_of_a_later_moment_is_audited_with_its_services(later, tmp_path, capsys):
    out = tmp_path / "out"
    assert entry(["round", str(later), "--at", "2026-03-25T05:00", "--out", str(out)]) in (0, 1)
    assert entry(["audit", str(later), str(out)]) == 0
    assert "no findings" in capsys.readouterr().out


def test_without_planned_for_check_goes_by_the_clock(later, capsys):
    plant(later, "site.toml", "planned_for = 2026-03-03T05:00:00\n", "")
    assert entry(["check", str(later)]) == 0
    plant(later, "last_services.csv", "2026-03-24 05:40", "2198-03-24 05:40")
    assert entry(["check", str(later)]) == 2
    assert "2198-03-24" in capsys.readouterr().err
