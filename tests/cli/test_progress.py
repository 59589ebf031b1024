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


def test_a_stage_is_told_with_its_place_and_the_time():
    screen = Terminal()
    with Progress(screen, stages=("reading", "order of", "drawing")) as progress:
        progress("reading a site")
        progress("order of 7 units")
        progress("12 s, proved 11 s")
    shown = [line.strip() for line in screen.getvalue().split("\r")[1:4]]
    assert shown == [
        "1/3, 0 s: reading a site", "2/3, 0 s: order of 7 units", "2/3, 0 s: 12 s, proved 11 s",
    ]  # fmt: skip


def test_verbose_keeps_each_stage_on_a_line_of_its_own():
    pipe = io.StringIO()
    with Progress(pipe, stages=("reading", "drawing"), verbose=True) as progress:
        progress("reading a site")
        progress("something between")
        progress("drawing")
    assert pipe.getvalue() == "1/2, 0 s: reading a site\n2/2, 0 s: drawing\n"


def test_a_note_stays_and_quiet_shows_nothing():
    pipe, screen = io.StringIO(), Terminal()
    Progress(pipe).note("compiling once")
    assert pipe.getvalue() == "greaseroute: compiling once\n"
    with Progress(screen, quiet=True) as progress:
        progress("reading")
        progress.note("compiling once")
    assert screen.getvalue() == ""
