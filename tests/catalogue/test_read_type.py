"""Mistakes in a type file: each told once, in plain words, at its line."""

from pathlib import Path

import pytest

from greaseroute.catalogue.shelf import read_type, shelf_names, shelf_text

GOOD = (Path(__file__).parent / "plate.toml").read_text(encoding="utf-8")


def faults(*changes):
    text = GOOD
    for old, new in changes:
        assert text.count(old) == 1
        text = text.replace(old, new)
    machine, found = read_type(text, "types/plate.toml")
    assert (machine is None) == bool(found)
    return [str(fault) for fault in found]


def one(*changes):
    (line,) = faults(*changes)
    return line


def test_good_file_has_no_fault():
    machine, found = read_type(GOOD, "types/plate.toml")
    assert found == ()
    assert (machine.name, machine.source_file) == ("plate-loader", "types/plate.toml")


def test_unknown_link():
    assert one(('rod_link = "crank"', 'rod_link = "crnak"')) == (
        "types/plate.toml:34: cylinder 'lift cylinder': rod_link = 'crnak'; "
        "allowed: a link: coupler, crank, frame, rocker; mend the name or add what it names"
    )


def test_unknown_parent_names_the_links_above():
    first, *_ = faults(('parent = "crank"', 'parent = "rocker"'))
    assert first.startswith(
        "types/plate.toml:20: link 'coupler': parent = 'rocker'; "
        "allowed: a link listed above: crank, frame;"
    )


def test_cylinder_too_long_in_a_posture():
    # Pins 1 m from the pivot, 100 degrees apart: chord 2 sin 50 = 1.532 m, 32 mm over 1.5.
    assert one(("crank = 80.0", "crank = 100.0")) == (
        "types/plate.toml:54: posture 'greasing': - = 'lift cylinder 1.53 m, allowed 0.90 to "
        "1.50; 32 mm too long'; allowed: a length within the stroke; change the angles of the "
        "posture, the pins or the stroke of the cylinder"
    )


def test_four_bar_that_cannot_close():
    # At 80 degrees the crank pin is 1.0369 m from the rocker's pivot; 0.3 + 0.5 m fall short.
    lines = faults(("coupler_pin_m = [1.0,", "coupler_pin_m = [0.3,"))
    assert len(lines) == 2  # once in either posture
    assert lines[1].startswith(
        "types/plate.toml:54: posture 'greasing': - = 'parallelogram: the four-bar cannot close: "
        "the pins are too far apart by 237 mm';"
    ), lines


def test_fitting_inside_a_solid():
    assert one(("position_m = [0.0, 1.0, 0.5]", "position_m = [0.0, 0.7, 0.5]")) == (
        "types/plate.toml:65: joint 'crank pivot': fittings.1.position_m = '300 mm inside block "
        "of frame when greasing'; allowed: at most 50 mm below a surface; "
        "move the fitting out to the surface"
    )


def test_fitting_in_the_air():
    assert "fittings.1.position_m = 'more than 150 mm from any solid when greasing'" in one(
        ("position_m = [0.0, 1.0, 0.5]", "position_m = [0.0, 1.2, 0.5]")
    )


def test_fitting_on_a_cylinder_counts_as_on_a_surface():
    # The lift cylinder runs from (1, 0, 1.5) to the crank; its head eye is 0.06 m thick each way.
    changed = ("position_m = [0.0, 1.0, 0.5]", "position_m = [1.0, 0.1, 1.5]")
    assert faults(changed) == []


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        (
            ('  { name = "left", link = "frame", position_m = [0.0, 1.0, 0.5] },\n', ""),
            "types/plate.toml:64: joint 'crank pivot': fittings = 'nothing in the list'; "
            "allowed: at least 1 in the list; correct it",
        ),
        (
            ('code = "KP2K-30"', 'code = "blue stuff"'),
            "types/plate.toml:63: joint 'crank pivot': grease.code = 'blue stuff'; allowed: a code "
            "after DIN 51825 such as KP2K-30, or after ISO 6743-9 such as L-XCCIB2; "
            "mend the code or give nlgi and thickener",
        ),
        (
            ("operating_mass_kg = 1000.0", 'operating_mass_kg = "1000"'),
            "types/plate.toml:5: machine type: operating_mass_kg = '1000'; allowed: a number; "
            "correct it",
        ),
        (
            ("operating_mass_kg = 1000.0", "operating_mass_kg = -1"),
            "types/plate.toml:5: machine type: operating_mass_kg = '-1'; allowed: "
            "a number at least 5 and at most 2000000; correct it",
        ),
        (
            ('family = "loader"', 'family = "tractor"'),
            "types/plate.toml:2: machine type: family = 'tractor'; allowed: one of 'excavator', ",
        ),
        (
            ('cautions = ["STOP"]', 'cautions = ["STOPP"]'),
            "types/plate.toml:6: machine type: cautions.1 = 'STOPP'; allowed: a caution key: ",
        ),
        (
            ("hours = 50.0", "hrs = 50.0"),
            "types/plate.toml:62: joint 'crank pivot': interval.hrs = '50.0'; "
            "allowed: the fields hours, days, every_shift; did you mean 'hours'?",
        ),
        (
            ("retracted_m = 0.9", "retracted_m = 0.7"),
            "types/plate.toml:30: cylinder 'lift cylinder': - = ",
        ),
        (
            ("pivot_m = [0.5, 0.0, 0.0]", "pivot_m = [0.5, 0.0]"),
            "types/plate.toml:21: link 'coupler': pivot_m.3 = 'nothing'; allowed: a value; add it",
        ),
        (
            ("pivot_m = [0.5, 0.0, 0.0]", "pivot_m = [0.5, 0.0, 0.0, 1.0]"),
            "types/plate.toml:21: link 'coupler': pivot_m = '4 in the list'; "
            "allowed: at most 3 in the list; correct it",
        ),
        (
            ('axis = "pitch"\n\n[[links]]\nname = "coupler"', '\n[[links]]\nname = "coupler"'),
            "types/plate.toml:41: four-bar 'parallelogram': crank = 'crank hangs on frame, axis "
            "fixed'; allowed: a child of frame that pitches; mend the link or the name",
        ),
        (
            ('name = "greasing"', 'name = "greased"'),
            "types/plate.toml:50: machine type: postures = \"no posture 'greasing'\"; "
            "allowed: postures parked and greasing at least; add it",
        ),
        (
            ("{ crank = 80.0 }", "{ crank = 80.0, frame = 3.0 }"),
            "types/plate.toml:56: posture 'greasing': angles_deg.frame = 'frame'; "
            "allowed: a link that turns: coupler, crank, rocker;",
        ),
        (
            ('links = ["frame", "crank"]', 'links = ["frame", "krank"]'),
            "types/plate.toml:60: joint 'crank pivot': links.2 = 'krank'; "
            "allowed: a link or a cylinder: coupler, crank, frame, lift cylinder, rocker;",
        ),
        (
            ("[[-1.0, -1.0, 0.0], [1.0, 1.0, 1.0]]", "[[-1.0, -1.0, 0.0], [1.0, -1.0, 1.0]]"),
            "types/plate.toml:10: link 'frame': solids.1 = ",
        ),
    ],
)
def test_each_mistake_at_its_line(change, expected):
    found = faults(change)
    assert any(line.startswith(expected) for line in found), found


def test_broken_grammar_is_one_fault_at_its_place():
    assert one(("retracted_m = 0.9", "retracted_m = = 0.9")) == (
        "types/plate.toml:36: TOML: syntax = 'retracted_m = = 0.9'; allowed: valid TOML; "
        "mend it: invalid value at column 15"
    )


def test_all_mistakes_in_one_run():
    lines = faults(
        ('family = "loader"', 'family = "tractor"'),
        ("retracted_m = 0.9", 'retracted_m = "short"'),
        ('rocker_side = "left"', 'rocker_side = "up"'),
        ("hours = 50.0", "hours = 0"),
    )
    assert [line.split(":")[1] for line in lines] == ["2", "36", "47", "62"]


def test_what_is_wrong_only_with_an_attachment_is_told_of_it():
    (line,) = faults(('links = [ { name = "box", parent = "frame"', 'links = [ { name = "box"'))
    assert line.startswith(
        "types/plate.toml:68: attachment 'ballast': - = 'missing (with it hung on, at "
        "links.4.parent)'; allowed: the link it hangs on;"
    ), line


@pytest.mark.parametrize("name", shelf_names())
def test_shelf_files_have_no_fault(name):
    machine, found = read_type(shelf_text(name), f"{name}.toml")
    assert [str(fault) for fault in found] == []
    assert machine.name == name
