"""What a site can get wrong with types, attachments and start values: one line each."""

import shutil
from pathlib import Path

import pytest

from greaseroute.catalogue.shelf import read_type, shelf_text
from greaseroute.site.folder import gather
from tests.site.planting import plant

RENTAL = Path(__file__).parents[2] / "sites_demo" / "rental_ostrumby"


@pytest.fixture
def yard(tmp_path):
    return Path(shutil.copytree(RENTAL, tmp_path / "site"))


def test_an_attachment_that_does_not_fit_its_carrier(yard):
    plant(yard, "fleet.csv", "trenching bucket", "pallet forks")  # on an excavator's stick
    _, faults = gather(yard)
    (told,) = [str(fault) for fault in faults]
    assert told.startswith("fleet.csv:2: unit ME-1: attachments = 'pallet forks")
    assert "fits" in told
    assert "take it out" in told


def test_values_nobody_confirmed_where_the_site_forbids_them(yard):
    plant(yard, "site.toml", "[rules]\n", '[rules]\nstart_values = "forbidden"\n')
    _, faults = gather(yard)
    assert len(faults) == 12  # one a type in use
    told = str(faults[0])
    assert told.startswith("fleet.csv:2: unit ME-1: type = 'mini-excavator-1.8t: start values of")
    assert "allowed: confirmed values (rules.start_values = 'forbidden')" in told


def mended(old, new, *, name="mini-excavator-1.8t"):
    text = shelf_text(name)
    assert old in text
    _, faults = read_type(text.replace(old, new, 1), "types/mine.toml")
    return [str(fault) for fault in faults]


def test_a_check_that_does_not_say_how_often_it_is_due():
    text = shelf_text("mini-excavator-1.8t")
    start = text.index("[[looks]]")
    line = next(x for x in text[start:].splitlines() if x.startswith("interval"))
    (told,) = mended(text[start:], text[start:].replace(line + "\n", "", 1))
    assert "interval" in told
    assert "allowed: hours, days or every_shift; add how often the check is due" in told


def test_a_procedure_on_a_joint_that_has_none_of_its_links():
    (told,) = mended('kind = "slew"\n', 'kind = "full lock"\n')
    assert told.startswith("types/mine.toml:")
    assert "procedure.kind = 'full lock, between undercarriage and upperstructure'" in told
    assert "allowed: full lock on a joint with a link that steers" in told
