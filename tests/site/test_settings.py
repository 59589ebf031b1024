"""``site.toml``: what is taken, in which spellings."""

from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from greaseroute.errors import BadInput
from greaseroute.site.files.settings import coordinate_system
from greaseroute.site.folder import gather, read_site
from tests.site.planting import GOOD, good_copy, plant


@pytest.mark.parametrize(
    ("text", "system"),
    [
        ("local metres", "local metres"),
        ("Metres", "local metres"),
        ("lon/lat", "lon/lat"),
        ("WGS 84", "lon/lat"),
        ("EPSG:4326", "lon/lat"),
        ("epsg 25832", "EPSG:25832"),
    ],
)
def test_spellings_of_coordinate_systems(text, system):
    assert coordinate_system(text) == system


def test_the_whole_site():
    site = read_site(GOOD)
    assert (site.name, site.shift_start, site.round_start) == ("Test yard", "06:30", "05:00")
    assert site.planned_for == datetime(2026, 3, 3, 5, tzinfo=ZoneInfo("Europe/Berlin"))
    assert [g.name for g in site.greases] == ["EP 2", "moly 1"]
    assert [g.name for g in site.guns] == ["lever", "pistol"]
    assert site.technicians[0].guns == ("lever", "pistol")
    assert [s.interval_factor for s in site.severities] == [0.5]
    assert (site.rules.clearance_m, site.rules.isolation_s) == (0.25, 120.0)
    assert list(site.types) == ["box"]
    assert site.origin_lonlat is None


def test_bad_input_carries_every_fault(tmp_path):
    folder = good_copy(tmp_path)
    plant(folder, "site.toml", "clearance_m = 0.25", "clearance_m = 9")
    plant(folder, "fleet.csv", "B-2,box,40,20,90", "B-2,box,40,20,-90")
    with pytest.raises(BadInput, match="2 faults; allowed: none; mend each line") as caught:
        read_site(folder)
    assert [(f.file, f.value) for f in caught.value.faults] == [
        ("fleet.csv", "-90"),
        ("site.toml", "9"),
    ]


def test_times_of_day_may_be_toml_times(tmp_path):
    folder = good_copy(tmp_path)
    plant(folder, "site.toml", 'shift_start = "06:30"', "shift_start = 06:45:00")
    assert read_site(folder).shift_start == "06:45"


def test_without_planned_for(tmp_path):
    folder = good_copy(tmp_path)
    plant(folder, "site.toml", "planned_for = 2026-03-03T05:00:00\n", "")
    assert read_site(folder).planned_for is None


@pytest.mark.parametrize("value", ["true", '"0.25"', "nan", "[0.25]"])
def test_only_numbers_are_numbers(tmp_path, value):
    folder = good_copy(tmp_path)
    plant(folder, "site.toml", "clearance_m = 0.25", f"clearance_m = {value}")
    (fault,) = gather(folder)[1]
    assert (fault.line, fault.field) == (9, "rules.clearance_m")
    assert fault.allowed in {"a number", "a finite number"}


def test_one_bad_gun_does_not_hide_a_bad_technician(tmp_path):
    folder = good_copy(tmp_path)
    plant(folder, "site.toml", "stroke_cm3 = 1.0", "stroke_cm3 = 0")
    plant(folder, "site.toml", 'finish = "hut"', 'finish = "huts"')
    told = [(f.line, f.record, f.field) for f in gather(folder)[1]]
    assert told == [(25, "gun lever", "stroke_cm3"), (35, "technician Rika", "finish")]


def test_the_language_is_the_sites_or_english(tmp_path):
    folder = good_copy(tmp_path)
    assert read_site(folder).say.code == "en"
    plant(folder, "site.toml", 'shift_start = "06:30"', 'shift_start = "06:30"\nlanguage = "de"')
    assert read_site(folder).say.code == "de"
    plant(folder, "site.toml", '"de"', '"xx"')
    _, faults = gather(folder)
    assert [(f.field, f.value, f.allowed) for f in faults] == [("language", "xx", "de, en")]
