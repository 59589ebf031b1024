"""Nine mistakes in seven files are nine lines, found in one run."""

import json

from greaseroute.cli.main import entry
from tests.site.planting import GOOD, good_copy, plant

PLANTED = [
    ("fleet.csv", 3, "B-2,box,40,20,90", "B-2,box,20,95,90", "the two look swapped"),
    ("fleet.csv", 4, "B-3,box,80,65,0", "B-3,boxx,80,65,0", "did you mean 'box'?"),
    ("ground.geojson", 5, '"wait_s": 20', '"wait_s": -20', "at least 0"),
    ("ground.geojson", 7, '"coordinates": [60, 30]', '"coordinates": [70, 30]', "10.0 m from"),
    ("ground.geojson", 9, "[22, 25], [22, 5]]]", "[22, 25]]]", "close the ring"),
    ("last_services.csv", 3, "B-2,hinge", "B-2,hinges", "did you mean 'hinge'?"),
    ("meter_readings.csv", 3, "05:30,980", "05:30,920", "the hours run backwards"),
    ("site.toml", 24, 'grease = "EP 2"', 'grease = "EP2"', "did you mean 'EP 2'?"),
    ("types/crate.toml", 2, 'family = "conveyor"', 'family = "conveyer"', "conveyer"),
]


def _planted(tmp_path):
    folder = good_copy(tmp_path)
    box = (folder / "types/box.toml").read_text(encoding="utf-8")
    crate = box.replace('name = "box"', 'name = "crate"')
    (folder / "types/crate.toml").write_text(crate, encoding="utf-8")
    for file, _, old, new, _ in PLANTED:
        plant(folder, file, old, new)
    return folder


def test_nine_planted_faults_print_nine_lines_and_exit_2(tmp_path, capsys):
    folder = _planted(tmp_path)
    before = sorted((p, p.read_bytes()) for p in folder.rglob("*") if p.is_file())
    assert entry(["check", str(folder)]) == 2
    shown = capsys.readouterr()
    assert shown.out == ""
    lines = shown.err.splitlines()
    assert len(lines) == 9
    for line, (file, number, _, _, words) in zip(lines, PLANTED, strict=True):
        assert line.startswith(f"{file}:{number}: "), line
        assert words in line
    # Nothing is written beside reading.
    assert sorted((p, p.read_bytes()) for p in folder.rglob("*") if p.is_file()) == before


def test_the_same_nine_as_json(tmp_path, capsys):
    assert entry(["check", str(_planted(tmp_path)), "--format", "json"]) == 2
    answer = json.loads(capsys.readouterr().out)
    assert answer["good"] is False
    assert [(f["file"], f["line"]) for f in answer["faults"]] == [p[:2] for p in PLANTED]


def test_a_good_site_prints_its_counts(capsys):
    # B-1, B-2 and B-3 have hinge and slide with one fitting each.
    assert entry(["check", str(GOOD)]) == 0
    assert capsys.readouterr().out == (
        "3 units, 6 joints, 6 fittings: good\nif the west crossing is shut, B-3 is cut off\n"
    )


def test_a_good_site_as_json(capsys):
    assert entry(["check", str(GOOD), "--format", "json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer == {
        "good": True,
        "faults": [],
        "warnings": [],
        "units": 3,
        "joints": 6,
        "fittings": 6,
        "only_ways": ["if the west crossing is shut, B-3 is cut off"],
    }
