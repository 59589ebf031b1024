"""A machine type written as changes of a shelf type."""

import pytest

from greaseroute.catalogue.checks.findings import findings
from greaseroute.catalogue.shelf import read_type, shelf_names, shelf_type

BASE = "crawler-excavator-22t"
OWN = f'''like = "{BASE}"
name = "own-digger"
title = "Own digger"
scale = 1.25
without = ["slew ring teeth", "battery"]

[[joints]]
name = "boom foot pin"
interval = {{ hours = 20.0 }}
dose = {{ strokes = [7, 7] }}

[[joints]]
name = "bucket pin"
fittings = [{{ name = "left", head = "flush" }}]
'''


def read(text=OWN):
    machine, faults = read_type(text, "types/own.toml")
    assert (machine is None) == bool(faults)
    return machine, [str(fault) for fault in faults]


def base():
    return shelf_type(BASE)


def without_names(machine, gone):
    return [j.name for j in machine.joints if j.name not in gone]


@pytest.fixture(scope="module")
def gone():
    """A joint and a check that the base has, as the test's text wants them."""
    return base().joints[1].name, base().looks[0].name


@pytest.fixture(scope="module")
def text(gone):
    return OWN.replace('["slew ring teeth", "battery"]', f'["{gone[0]}", "{gone[1]}"]')


def test_what_is_not_said_is_as_before_and_what_is_said_differs(text, gone):
    machine, faults = read(text)
    assert faults == []
    assert (machine.name, machine.title, machine.family) == (
        "own-digger", "Own digger", base().family,
    )  # fmt: skip
    assert without_names(base(), gone) == [j.name for j in machine.joints]
    assert gone[1] not in {look.name for look in machine.looks}
    foot = machine.joint("boom foot pin")
    assert foot.interval.hours == 20.0 != base().joint("boom foot pin").interval.hours
    assert foot.dose.strokes == (7, 7)
    assert foot.fittings != ()
    assert machine.joint("H-link to bucket pin").dose == base().joint("H-link to bucket pin").dose


def test_lengths_follow_the_scale_and_the_mass_its_cube(text):
    machine, _ = read(text)
    for ours, theirs in zip(machine.links, base().links, strict=True):
        assert ours.pivot_m == pytest.approx([1.25 * x for x in theirs.pivot_m], abs=2e-6)
    for ours, theirs in zip(machine.cylinders, base().cylinders, strict=True):
        assert ours.extended_m == pytest.approx(1.25 * theirs.extended_m, abs=2e-6)
    assert machine.operating_mass_kg == pytest.approx(1.25**3 * base().operating_mass_kg, abs=0.1)
    assert findings(machine) == ()


@pytest.mark.parametrize("name", shelf_names())
def test_every_type_of_the_shelf_can_be_likened_to_and_shrunk(name):
    machine, faults = read(f'like = "{name}"\nname = "own"\nscale = 0.8\n')
    assert faults == []
    assert len(machine.joints) == len(shelf_type(name).joints)


def test_a_name_that_is_to_go_and_is_not_there():
    _, faults = read('like = "grader-18t"\nname = "own"\nwithout = [\n  "moldboard",\n]\n')
    (line,) = faults
    assert line.startswith(
        "types/own.toml:4: machine type: without.1 = 'moldboard'; allowed: one of"
    )


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ('like = "crawler-excavator-22"', "types/own.toml:2: machine type: like = "),
        ("like = 22", "types/own.toml:2: machine type: like = '22'"),
        (f'like = "{BASE}"\nscale = 50.0', "types/own.toml:3: machine type: scale = '50"),
        (f'like = "{BASE}"\nwithout = "battery"', "types/own.toml:3: machine type: without = "),
        (f'like = "{BASE}"\nlenght_m = 1.0', "types/own.toml:3: machine type: lenght_m = "),
    ],
)
def test_a_likeness_that_is_none_is_told_at_its_line(said, told):
    _, faults = read(f'name = "own"\n{said}\n')
    assert len(faults) == 1
    assert faults[0].startswith(told)
    assert len(faults[0]) <= 300


def test_what_no_longer_fits_is_told_at_the_line_that_changed_it():
    # Half of its stroke: the stick cylinder no longer reaches its pins in either posture.
    lines = f'like = "{BASE}"\nname = "own"\n\n[[cylinders]]\nname = "stick cylinder"\n'
    machine = base()
    cylinder = next(c for c in machine.cylinders if c.name == "stick cylinder")
    _, faults = read(lines + f"extended_m = {cylinder.retracted_m + 0.01}\n")
    assert faults
    assert all("stick cylinder" in fault for fault in faults)


def test_a_fault_in_what_comes_from_the_shelf_has_the_line_of_like():
    # A shorter boom by its own pivot: postures of the shelf no longer close.
    _, faults = read(
        f'name = "own"\nlike = "{BASE}"\n[[links]]\nname = "stick"\npivot_m = [1.0, 0.0, 0.0]\n'
    )
    assert faults
    assert all(
        f.startswith(("types/own.toml:2:", "types/own.toml:3:", "types/own.toml:5:"))
        for f in faults
    )
