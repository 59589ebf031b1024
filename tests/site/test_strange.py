"""Values that can be but are strange are remarked on; those that cannot be are refused."""

import pytest

from greaseroute.site.folder import read_folder
from tests.site.planting import GOOD, good_copy, plant

REMARKS = [
    ("site.toml", "stroke_cm3 = 1.0", "stroke_cm3 = 12.0", "stroke_cm3 = '12.0'; usual: 0.4 to 3"),
    ("site.toml", 'thickener = "lithium complex"', 'thickener = "soap"', "'soap'; usual: such as"),
    ("site.toml", 'shift_start = "06:30"', 'shift_start = "04:30"', "usual: up to 6 h after"),
    ("fleet.csv", ",2000,8", ",20000,8", "meter_h = '20000'; usual: near the last one on record"),
]


@pytest.mark.parametrize(("file", "old", "new", "words"), REMARKS)
def test_a_strange_value_is_remarked_on_at_its_line(tmp_path, file, old, new, words):
    folder = good_copy(tmp_path)
    text = (folder / file).read_text(encoding="utf-8")
    line = text[: text.index(old)].count("\n") + 1
    (folder / file).write_text(text.replace(old, new, 1), encoding="utf-8")
    reading = read_folder(folder)
    assert reading.site is not None
    (remark,) = [str(r) for r in reading.remarks]
    assert remark.startswith(f"warning: {file}:{line}: "), remark
    assert words in remark


def test_nothing_is_strange_about_a_good_folder():
    assert read_folder(GOOD).remarks == ()


def test_a_folder_without_any_service_says_that_all_is_due(tmp_path):
    folder = good_copy(tmp_path)
    (folder / "last_services.csv").unlink()
    (remark,) = read_folder(folder).remarks
    assert "no service at all" in str(remark)
    (folder / "record.sqlite").write_bytes(b"")
    assert read_folder(folder).remarks == ()


# Each of these was called good once, and ended a later verb without file and line.
REFUSED = [
    ("stroke_cm3 = 1.0", "stroke_cm3 = 1e7", "at least 0.05 and at most 50"),
    ("stroke_cm3 = 1.0", "stroke_cm3 = 1e-300", "at least 0.05 and at most 50"),
    ("stroke_cm3 = 1.0", "stroke_cm3 = 1.0\nstroke_s = 1e9", "at least 0.05 and at most 60"),
    ("stroke_cm3 = 1.0", "stroke_cm3 = 1.0\npriming_strokes = 1000", "at least 0 and at most 200"),
    ("stroke_cm3 = 1.0", "stroke_cm3 = 1.0\nchange_s = 1e300", "at least 0 and at most 3600"),
    ('nlgi = "2"', 'nlgi = "2"\ncartridge_g = 1', "at least 20 and at most 50000"),
    ('finish = "hut"', 'reach = { settle_s = -5 }\nfinish = "hut"', "at least 0 and at most 600"),
    ('finish = "hut"', 'reach = { couple_s = -50 }\nfinish = "hut"', "at least 0 and at most 600"),
    ('finish = "hut"', 'reach = { stoop_s = -500 }\nfinish = "hut"', "at least 0 and at most 300"),
    (
        'finish = "hut"',
        'reach = { stoop_to_m = 1.7 }\nfinish = "hut"',
        "from the lowest to the highest",
    ),
    ("planned_for = 2026-03-03T05:00:00", "planned_for = 9999-12-31T23:00:00", "1971 to 2199"),
]


@pytest.mark.parametrize(("old", "new", "words"), REFUSED)
def test_a_number_that_cannot_be_is_refused_with_both_bounds(tmp_path, old, new, words):
    folder = good_copy(tmp_path)
    plant(folder, "site.toml", old, new)
    reading = read_folder(folder)
    assert reading.site is None
    (fault,) = reading.faults
    assert str(fault).startswith("site.toml:")
    assert words in fault.allowed


def test_a_rule_out_of_bounds(tmp_path):
    folder = good_copy(tmp_path)
    plant(folder, "site.toml", "[rules]", "[rules]\nisolation_s = 1e15")
    told = [str(f) for f in read_folder(folder).faults]
    assert any("allowed: a number at least 0 and at most 7200" in line for line in told), told


@pytest.mark.parametrize("hours", ["1e-9", "0", "1e9"])
def test_an_interval_out_of_bounds(tmp_path, hours):
    folder = good_copy(tmp_path)
    path = next((folder / "types").glob("*.toml"))
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("hours = 50", f"hours = {hours}", 1), encoding="utf-8")
    told = [str(f) for f in read_folder(folder).faults]
    assert any(("interval" in line and "0.5" in line) or "50000" in line for line in told), told
