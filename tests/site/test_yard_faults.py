"""People, clearances and procedures of a folder that cannot be: one line each."""

import shutil
from pathlib import Path

import pytest

from greaseroute.site.folder import read_folder

DEMO = Path(__file__).parents[2] / "sites_demo" / "three_machines"


def faults(tmp_path, more="", old="", new=""):
    folder = tmp_path / "site"
    shutil.copytree(DEMO, folder)
    file = folder / "site.toml"
    text = file.read_text(encoding="utf-8")
    assert old in text
    file.write_text(text.replace(old, new, 1) + more, encoding="utf-8")
    return [str(fault) for fault in read_folder(folder).faults]


def person(**fields):
    values = {"name": '"Vera"', "on_site_from": '"05:15"', "on_site_to": '"06:00"', **fields}
    return "\n[[person]]\n" + "".join(f"{k} = {v}\n" for k, v in values.items())


def test_a_person_with_hours_in_the_round_is_good(tmp_path):
    assert faults(tmp_path, person()) == []


CASES = (
    (person(on_site_from='"07:00"', on_site_to='"15:00"'),
     "person Vera: on_site_from = '07:00'; allowed: hours that meet the round, 05:00 to 06:30"),
    (person(on_site_from='"25:00"'), "person Vera: on_site_from = '25:00'; allowed: a time"),
    (person(operates='["crawler"]'), "person Vera: operates = 'crawler'; allowed:"),
    (person(at_once="0"), "person Vera: at_once = '0'; allowed: from 1"),
    (person() + person(), "person Vera: name = 'Vera'; allowed: each person once"),
)  # fmt: skip


@pytest.mark.parametrize(("more", "line"), CASES)
def test_people_that_cannot_be(tmp_path, more, line):
    found = faults(tmp_path, more)
    assert any(f.startswith("site.toml:") and line.split("; allowed")[0] in f for f in found)
    assert len(found) == 1


def test_hours_over_midnight_meet_a_round_in_the_morning(tmp_path):
    night = person(on_site_from='"22:00"', on_site_to='"05:01"')
    assert faults(tmp_path, night) == []
    early = person(on_site_from='"22:00"', on_site_to='"05:00"')
    assert len(faults(tmp_path / "b", early)) == 1


def test_a_clearance_wider_than_the_yard(tmp_path):
    wide = ("clearance_m = 0.25\n", "clearance_m = 0.25\nedge_clearance_m = 29\n")
    (line,) = faults(tmp_path, old=wide[0], new=wide[1])
    assert "rules.edge_clearance_m = '29'; allowed: less than" in line


def test_a_procedure_whose_steps_form_a_circle(tmp_path):
    folder = tmp_path / "site"
    shutil.copytree(DEMO, folder)
    file = folder / "types" / "belt-feeder-6m.toml"
    text = file.read_text(encoding="utf-8")
    first = text.index("[[joints]]") + len("[[joints]]\n")
    steps = (
        "procedure.minutes = 2.0\nprocedure.steps = ["
        '{ do = "Stop it.", name = "stop", after = ["start"] }, '
        '{ do = "Start it.", name = "start", after = ["stop"] }]\n'
    )
    file.write_text(text[:first] + steps + text[first:], encoding="utf-8")
    found = [str(fault) for fault in read_folder(folder).faults]
    assert len(found) == 1
    assert "a circle: stop, start" in found[0]
    assert found[0].startswith("types/belt-feeder-6m.toml:")
    mended = file.read_text(encoding="utf-8").replace(', after = ["start"]', "")
    file.write_text(mended, encoding="utf-8")
    assert read_folder(folder).faults == ()


def test_an_emergency_number_is_digits(tmp_path):
    (line,) = faults(tmp_path, old='emergency_number = "112"', new='emergency_number = "ask Bo"')
    assert "emergency_number = 'ask Bo'" in line
