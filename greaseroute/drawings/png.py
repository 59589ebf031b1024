"""SVG to PNG, where the extra ``png`` is installed; everything works without it."""

from importlib.util import find_spec

from greaseroute.processes import Aside

ZOOM = 2


def png_ready() -> bool:
    """Whether pictures can also be written as PNG."""
    return find_spec("resvg_py") is not None


def svg_to_png(svg: str, *, zoom: int = ZOOM) -> bytes:
    """The picture at ``zoom`` times its size. Raises ImportError where `png_ready` is false."""
    import resvg_py

    return bytes(resvg_py.svg_to_bytes(svg_string=svg, zoom=zoom))


def png_aside(svg: str) -> Aside[bytes]:
    """The picture, drawn by a copy of this process while this one goes on.

    A thread would not do: the renderer keeps the interpreter to itself while it draws.
    """
    return Aside(lambda: svg_to_png(svg))
