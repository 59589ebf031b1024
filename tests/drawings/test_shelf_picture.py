"""The contact sheet of the README shows every type of the shelf and every attachment."""

import html
import re

from greaseroute.catalogue.shelf import shelf_attachments, shelf_names, shelf_type
from greaseroute.drawings.machine_shapes import at_home, shapes
from tests.bench.shelf_picture import PICTURE


def test_every_type_and_attachment_is_on_the_contact_sheet():
    titles = html.unescape(PICTURE.read_text(encoding="utf-8"))
    shown = set(re.findall(r"font-weight:700[^>]*>([^<]+)<", titles))
    types = {shelf_type(name).title for name in shelf_names()}
    attachments = {f"{each.title} (attachment)" for each in shelf_attachments().values()}
    assert shown == types | attachments
    assert (len(types), len(attachments)) == (46, 11)


def wheels(name):
    home = at_home(shelf_type(name), posture="parked", slew_deg=0.0)
    return sum(shape.tone == "m-wheel" for shape in shapes(home, "side"))


def test_only_what_is_round_is_drawn_as_a_wheel():
    """A mixer's drum and the frame of a roller's drum are no wheels, whatever they are called."""
    assert wheels("truck-mixer-32t") == 8  # four axles
    assert wheels("single-drum-roller-12t") == 3  # two tyres and the drum
    assert wheels("tandem-roller-9t") == 2
