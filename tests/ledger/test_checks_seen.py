"""A daily check that was done comes back with the record and is not due again the same day."""

import shutil
from pathlib import Path

from greaseroute.cli.main import entry
from greaseroute.cli.on_record import on_record
from greaseroute.intervals.worklist import checks_due
from greaseroute.site.folder import read_site

RENTAL = Path(__file__).parents[2] / "sites_demo" / "rental_ostrumby"


def test_a_check_that_was_done_is_not_due_the_same_day(tmp_path):
    folder = Path(shutil.copytree(RENTAL, tmp_path / "site"))
    before = checks_due(read_site(folder), read_site(folder).planned_for)
    words = ["record", str(folder), "--event", "check", "unit=ME-1", "check=engine oil"]
    assert entry([*words, "at=2026-06-03T05:00", "technician=Runa"]) == 0
    site, at = on_record(read_site(folder), folder, None)
    assert [(seen.unit, seen.check, seen.meter_h) for seen in site.past.checks] == [
        ("ME-1", "engine oil", 812.5)  # what fleet.csv says that its meter shows
    ]
    after = checks_due(site, at)
    assert set(before["ME-1"]) - set(after["ME-1"]) == {"engine oil"}
    assert {unit: found for unit, found in after.items() if unit != "ME-1"} == {
        unit: found for unit, found in before.items() if unit != "ME-1"
    }
