"""SVG to PNG, where the extra ``png`` is installed; everything works without it."""

import subprocess
import sys
from concurrent.futures import Future, ThreadPoolExecutor
from importlib.util import find_spec

ZOOM = 2


def png_ready() -> bool:
    """Whether pictures can also be written as PNG."""
    return find_spec("resvg_py") is not None


def svg_to_png(svg: str, *, zoom: int = ZOOM) -> bytes:
    """The picture at ``zoom`` times its size. Raises ImportError where `png_ready` is false."""
    import resvg_py

    return bytes(resvg_py.svg_to_bytes(svg_string=svg, zoom=zoom))


def png_aside(svg: str) -> Future[bytes]:
    """The picture, drawn by a process of its own while this one goes on.

    A thread would not do: the renderer keeps the interpreter to itself while it draws.
    """
    pool = ThreadPoolExecutor(1)
    picture = pool.submit(_by_another, svg)
    pool.shutdown(wait=False)
    return picture


def _by_another(svg: str) -> bytes:
    command = [sys.executable, "-m", "greaseroute.cards.png"]
    try:
        done = subprocess.run(command, input=svg.encode(), capture_output=True, check=True)
    except (OSError, subprocess.CalledProcessError):  # no other process to be had: draw it here
        return svg_to_png(svg)
    return done.stdout


if __name__ == "__main__":
    sys.stdout.buffer.write(svg_to_png(sys.stdin.buffer.read().decode()))
