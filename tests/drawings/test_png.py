"""Pictures of drawings, by this process or a copy of it."""

import pytest

import greaseroute.drawings.png as png
from greaseroute import processes as side_by_side

SQUARE = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="30" height="20">'
    '<rect width="30" height="20" fill="#246"/></svg>'
)

pytestmark = pytest.mark.skipif(not png.png_ready(), reason="the extra png is not installed")


def test_a_copy_of_the_process_draws_the_same_picture():
    picture = png.png_aside(SQUARE).result()
    assert picture == png.svg_to_png(SQUARE)
    assert int.from_bytes(picture[16:20], "big") == png.ZOOM * 30


def test_without_a_copy_the_picture_is_drawn_here(monkeypatch):
    monkeypatch.setattr(side_by_side, "cores", lambda: 1)
    assert png.png_aside(SQUARE).result() == png.svg_to_png(SQUARE)
