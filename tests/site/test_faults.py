"""Every kind of fault: the line it is found on and the words it is told in.

The mistakes stand in ``planted.toml``, each with every line that ``check`` prints for it, so that
one mistake telling itself twice fails as much as one that is missed.
"""

import tomllib
from pathlib import Path

import pytest

from greaseroute.site.folder import gather, read_folder
from tests.site.planting import GOOD, faults_after, good_copy, plant

CASES = tomllib.loads((Path(__file__).parent / "planted.toml").read_text(encoding="utf-8"))["case"]


def _listed(value):
    return value if isinstance(value, list) else [value]


@pytest.mark.parametrize("case", CASES, ids=lambda c: c["name"])
def test_a_planted_mistake_prints_its_lines_and_no_others(case, tmp_path):
    folder = good_copy(tmp_path)
    for old, new in zip(_listed(case["old"]), _listed(case["new"]), strict=True):
        plant(folder, case["file"], old, new)
    site, faults = gather(folder)
    assert site is None
    assert [str(f) for f in faults] == case["lines"]


def test_the_good_site_has_no_fault():
    site, faults = gather(GOOD)
    assert faults == ()
    assert [u.unit for u in site.units] == ["B-1", "B-2", "B-3"]


def test_an_unknown_type_is_told_with_a_near_name(tmp_path):
    (fault,) = faults_after(tmp_path, "fleet.csv", "B-2,box", "B-2,bix")
    assert (fault.file, fault.line, fault.record) == ("fleet.csv", 3, "unit B-2")
    assert (fault.field, fault.value, fault.do) == ("type", "bix", "did you mean 'box'?")
    assert "'box'" in fault.allowed
    assert "greaseroute explain types" in fault.allowed


def test_a_fault_in_an_own_type_is_told_once_on_its_line(tmp_path):
    # The units of a type that is at fault are not told to have an unknown type as well.
    faults = faults_after(tmp_path, "types/box.toml", 'family = "conveyor"', 'family = "conveyer"')
    assert [(f.file, f.line) for f in faults] == [("types/box.toml", 2)]


def test_two_own_types_of_one_name(tmp_path):
    folder = good_copy(tmp_path)
    text = (folder / "types/box.toml").read_text(encoding="utf-8")
    (folder / "types/crate.toml").write_text(text, encoding="utf-8")
    (fault,) = gather(folder)[1]
    assert str(fault) == (
        "types/crate.toml:1: type box: name = 'box'; allowed: a name that no other file gives "
        "(types/box.toml does); rename one of them"
    )


def test_a_missing_file_says_what_lies_there_instead(tmp_path):
    folder = good_copy(tmp_path)
    (folder / "fleet.csv").rename(folder / "units.csv")
    faults = [f for f in gather(folder)[1] if f.file == "fleet.csv"]
    assert [str(f) for f in faults] == [
        "fleet.csv:1: folder: - = 'missing'; allowed: a file fleet.csv; add it; "
        "the folder holds last_services.csv, meter_readings.csv, units.csv"
    ]


def test_an_empty_folder_misses_its_three_files(tmp_path):
    site, faults = gather(tmp_path)
    assert site is None
    assert [(f.file, f.value) for f in faults] == [
        ("fleet.csv", "missing"),
        ("ground.geojson", "missing"),
        ("site.toml", "missing"),
    ]


def test_a_folder_that_is_not_there(tmp_path):
    (fault,) = gather(tmp_path / "nowhere")[1]
    assert (fault.value, fault.allowed, fault.do) == (
        "missing",
        "a site folder",
        "correct the path",
    )


def test_history_may_be_missing(tmp_path):
    folder = good_copy(tmp_path)
    (folder / "last_services.csv").unlink()
    (folder / "meter_readings.csv").unlink()
    site, faults = gather(folder)
    assert faults == ()
    assert (site.last_services, site.meter_readings) == ((), ())


@pytest.mark.parametrize(
    ("encoding", "shown"),
    [("cp1252", "Windows-1252"), ("utf-16", "UTF-16"), ("utf-16-le", "UTF-16")],
)
def test_a_file_in_another_encoding_is_read_with_a_remark(tmp_path, encoding, shown):
    folder = good_copy(tmp_path)
    text = (folder / "fleet.csv").read_text(encoding="utf-8").replace("tank,", "tank,grün")
    (folder / "fleet.csv").write_bytes(text.encode(encoding))
    reading = read_folder(folder)
    assert reading.faults == ()
    assert any("grün" in unit.notes for unit in reading.site.units)
    (remark,) = [r for r in reading.remarks if r.file == "fleet.csv"]
    assert f": file: encoding = '{shown}'; usual: UTF-8; it was read so" in str(remark)


def test_bytes_of_no_encoding_are_told_with_their_line(tmp_path):
    folder = good_copy(tmp_path)
    data = (folder / "fleet.csv").read_bytes().replace(b"side tank,", b"side tank,gr\x81n")
    (folder / "fleet.csv").write_bytes(data)
    told = [str(f) for f in gather(folder)[1]]
    # One fault: what follows from it in the other files is not told.
    assert told == ["fleet.csv:4: file: encoding = 'byte 0x81'; allowed: UTF-8; save it as UTF-8"]


def test_a_new_meter_may_read_less(tmp_path):
    folder = good_copy(tmp_path)
    plant(folder, "meter_readings.csv", "unit,at,meter_h", "unit,at,meter_h,new_meter")
    plant(folder, "meter_readings.csv", "B-2,2026-02-24 05:30,1980", "B-2,2026-02-25 05:30,3,yes")
    assert gather(folder)[1] == ()
    plant(folder, "meter_readings.csv", "3,yes", "3,")
    assert [(f.file, f.line, f.value) for f in gather(folder)[1]] == [
        ("meter_readings.csv", 4, "3")
    ]


def test_the_clock_counts_where_it_is_later_than_planned_for(tmp_path):
    from datetime import UTC, datetime

    folder = good_copy(tmp_path)
    plant(folder, "last_services.csv", "2026-02-24 05:40", "2026-03-24 05:40")
    assert len(gather(folder)[1]) == 1  # after planned_for, 2026-03-03
    assert gather(folder, now=datetime(2026, 4, 1, tzinfo=UTC))[1] == ()
    assert len(gather(folder, now=datetime(2020, 1, 1, tzinfo=UTC))[1]) == 1
