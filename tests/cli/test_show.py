"""The show verb."""

from xml.etree import ElementTree as ET

import pytest

import greaseroute.cards.typesetter as typesetter
import greaseroute.drawings.png as png
import greaseroute.site.folder as folder
from greaseroute.catalogue.shelf import shelf_names
from greaseroute.cli.main import entry
from greaseroute.drawings.png import png_ready, svg_to_png
from tests.cards import sample


@pytest.fixture
def plain(monkeypatch):
    """A machine without renderers of pictures and pages."""
    monkeypatch.setattr(png, "find_spec", lambda name: None)
    monkeypatch.setattr(typesetter, "find_spec", lambda name: None)


@pytest.fixture
def yard(monkeypatch, tmp_path):
    """A folder that reads as the sample site."""
    site = tmp_path / "yard"
    site.mkdir()
    (site / "site.toml").write_text("")
    monkeypatch.setattr(folder, "read_site", lambda path: sample.site())
    return str(site)


def names(out):
    return sorted(path.name for path in out.iterdir() if path.name != "manifest.json")


def test_a_type_is_drawn_twice_and_its_fittings_listed(plain, tmp_path, capsys):
    out = tmp_path / "out"
    assert entry(["show", "wheel-loader-20t", "--out", str(out)]) == 0
    assert names(out) == ["wheel-loader-20t-side.svg", "wheel-loader-20t-top.svg"]
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("Wheel loader, 20 t (wheel-loader-20t), parked; origin of figures:")
    numbers = [line.split()[0] for line in lines[1:-1]]
    pumped = [n for n in numbers if n.isdigit()]
    assert pumped == [str(k) for k in range(1, len(pumped) + 1)]
    assert lines[-1].startswith("Written to ")
    for name in names(out):
        drawn = ET.parse(out / name).getroot()
        texts = [t.text for t in drawn.iter("{http://www.w3.org/2000/svg}text")]
        assert set(numbers) <= set(texts)


def test_another_posture_is_another_drawing(plain, tmp_path):
    for posture in ("parked", "greasing"):
        words = ["--posture", posture, "--out", str(tmp_path / posture)]
        assert entry(["show", "crawler-excavator-22t", *words]) == 0
    one, other = (
        (tmp_path / p / "crawler-excavator-22t-side.svg").read_text()
        for p in ("parked", "greasing")
    )
    assert one != other


def test_a_unit_of_a_site(plain, yard, tmp_path, capsys):
    out = tmp_path / "out"
    assert entry(["show", yard, "EX-03", "--out", str(out)]) == 0
    assert names(out) == ["EX-03-side.svg", "EX-03-top.svg"]
    assert "   1  boom root      left   10 h" in capsys.readouterr().out
    assert ">N</text>" in (out / "EX-03-top.svg").read_text()  # it stands somewhere


def test_the_ground_of_a_site(plain, yard, tmp_path):
    out = tmp_path / "out"
    assert entry(["show", yard, "--out", str(out)]) == 0
    assert names(out) == ["ground.svg"]
    assert "EX-01" in (out / "ground.svg").read_text()


def test_pictures_are_written_where_they_can_be(yard, tmp_path):
    if not png_ready():
        pytest.skip("the extra png is not installed")
    out = tmp_path / "out"
    entry(["show", yard, "--out", str(out)])
    assert (out / "ground.png").read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"
    assert int.from_bytes((out / "ground.png").read_bytes()[16:20], "big") == 2 * 760
    assert svg_to_png((out / "ground.svg").read_text()) == (out / "ground.png").read_bytes()


def test_unknown_type_names_those_there_are(tmp_path, capsys):
    assert entry(["show", "tractor", "--out", str(tmp_path)]) == 2
    err = capsys.readouterr().err
    assert err.count("\n") == 1
    assert "'tractor'" in err
    assert shelf_names()[0] in err


def test_unknown_unit_names_those_there_are(yard, tmp_path, capsys):
    assert entry(["show", yard, "EX-99", "--out", str(tmp_path)]) == 2
    assert capsys.readouterr().err == (
        "greaseroute: unit of Sample yard: 'EX-99'; allowed: EX-01, HT-02, EX-03, HT-04, EX-05, "
        "HT-06; name one of these\n"
    )


def test_unknown_posture_is_told(tmp_path, capsys):
    words = ["show", "grader-18t", "--posture", "flying", "--out", str(tmp_path)]
    assert entry(words) == 2
    assert "'flying'" in capsys.readouterr().err


def test_nothing_named_is_misuse(tmp_path, capsys):
    assert entry(["show", "--out", str(tmp_path)]) == 2
    assert capsys.readouterr().err == (
        "greaseroute: show: nothing named; allowed: a TYPE, a SITE [UNIT] or --all; name one\n"
    )
