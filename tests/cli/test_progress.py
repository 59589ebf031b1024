"""The progress line."""

import io

from greaseroute.cli.progress import LINE_WIDTH, Progress


class Terminal(io.StringIO):
    def isatty(self):
        return True


def test_a_pipe_sees_nothing():
    pipe = io.StringIO()
    with Progress(pipe) as progress:
        progress("reading")
    assert pipe.getvalue() == ""


def test_a_terminal_sees_one_line_that_is_wiped():
    screen = Terminal()
    with Progress(screen) as progress:
        progress("reading")
        progress("x" * 200)
    first, second, blank, end = screen.getvalue().split("\r")[1:]
    assert (first.strip(), len(first)) == ("reading", LINE_WIDTH)
    assert second == "x" * LINE_WIDTH
    assert (blank.strip(), end) == ("", "")
