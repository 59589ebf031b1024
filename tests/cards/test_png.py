"""Pictures of drawings, by this process or another."""

import subprocess

import pytest

import greaseroute.cards.png as png

SQUARE = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="30" height="20">'
    '<rect width="30" height="20" fill="#246"/></svg>'
)

pytestmark = pytest.mark.skipif(not png.png_ready(), reason="the extra png is not installed")


def test_another_process_draws_the_same_picture():
    picture = png.png_aside(SQUARE).result()
    assert picture == png.svg_to_png(SQUARE)
    assert int.from_bytes(picture[16:20], "big") == png.ZOOM * 30


def test_without_another_process_the_picture_is_drawn_here(monkeypatch):
    def refused(*args, **options):
        raise OSError("no more processes")

    monkeypatch.setattr(subprocess, "run", refused)
    assert png.png_aside(SQUARE).result() == png.svg_to_png(SQUARE)
