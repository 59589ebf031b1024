"""The command line: finds the verb, imports its module only then, and turns errors into lines."""

import argparse
import gc
import importlib
import io
import os
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from typing import Any, NoReturn, TextIO

from greaseroute import __version__
from greaseroute.cli.interrupt import INTERRUPTED
from greaseroute.cli.parser import VerbParser, nearest

GOOD, FINDINGS, MISUSE = 0, 1, 2

ALLOCATIONS = 200_000  # objects more than before until garbage is looked for

COMMANDS = {
    "check": "every fault of a site folder, or 'good'",
    "due": "print what is due on each machine and why",
    "round": "plan the round, write the card and the files, print the summary",
    "audit": "prove a plan against the raw records of its site",
    "first-day": "plan a new technician's first day",
    "week": "plan the seven mornings ahead and the grease they use",
    "record": "book what was done: a card's export, a receipt, events of a table",
    "history": "what was done at a unit, on one page; with no unit grease, cost, pace, stock",
    "show": "draw a machine type, a unit or the ground",
    "schema": "print the JSON Schema of round.json, or of a file that is read",
    "new": "a commented site folder that plans at once, or a demo site",
    "explain": "any field, role, column or word in a sentence, with unit, bounds and default",
    "warm-up": "compile the inner loops once, or take away what is kept",
    "completion": "print the completion of commands for a shell",
}

EPILOG = """exit codes: 0 good, 1 the plan has findings, 2 misuse or bad input, 130 interrupted
`greaseroute help VERB` tells the options of a verb"""


def entry(argv: Sequence[str] | None = None) -> int:
    """Run one command line; ``argv`` is ``sys.argv`` without the program's name.

    Returns the exit code: 0 good, 1 findings, 2 misuse or bad input, 130 interrupted.
    """
    words = list(sys.argv[1:] if argv is None else argv)
    try:
        return _run(words)
    except SystemExit as leave:
        return leave.code if isinstance(leave.code, int) else MISUSE
    except BrokenPipeError:
        _close_stdout()
        return GOOD
    except KeyboardInterrupt:
        print("greaseroute: interrupted", file=sys.stderr)
        return INTERRUPTED
    except Exception as error:
        return _report(error, debug="--debug" in words, to=sys.stderr)


def run_and_leave() -> NoReturn:
    """Run the command line of this process and leave with its exit code, without taking down.

    To unload the libraries took a third of a second. A character that the terminal cannot show is
    written as an escape.
    """
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
    code = entry()
    for stream in (sys.stdout, sys.stderr):
        with suppress(OSError, ValueError):
            stream.flush()
    os._exit(code)


def _run(words: list[str]) -> int:
    verb = next((word for word in words if not word.startswith("-")), None)
    if verb == "help":
        words = [*(word for word in words if word != "help"), "--help"]
        verb = words[0] if len(words) > 1 else None
    if verb is None or words[0] != verb:
        return _without_verb(words)
    if verb not in COMMANDS:
        raise SystemExit(_unknown_verb(verb))
    args = verb_parser(verb).parse_args(words[1:])
    from greaseroute.processes import at_most_cores  # not needed where help is all that is asked

    with _seldom_collecting(), at_most_cores(getattr(args, "cores", None)):
        code: int = _module(verb).run(args)
    sys.stdout.flush()
    return code


def verb_parser(verb: str) -> argparse.ArgumentParser:
    """The parser of one verb, with the options that every verb has."""
    parser = VerbParser(prog=f"greaseroute {verb}", description=COMMANDS[verb])
    add_verb_arguments(parser, verb)
    return parser


def add_verb_arguments(parser: argparse.ArgumentParser, verb: str) -> None:
    """Give a parser the arguments of a verb."""
    _module(verb).add_arguments(parser)
    loud = parser.add_mutually_exclusive_group()
    loud.add_argument("-q", "--quiet", action="store_true", help="show no progress and no notes")
    loud.add_argument("-v", "--verbose", action="store_true", help="show each stage on a line")
    parser.add_argument("--debug", action="store_true", help="show where an error arose")


def _module(verb: str) -> Any:  # noqa: ANN401 (a module with add_arguments and run)
    return importlib.import_module("greaseroute.cli." + verb.replace("-", "_"))


@contextmanager
def _seldom_collecting() -> Iterator[None]:
    """Look for unreachable cycles seldom: a command makes few, and looking took a tenth of it."""
    before = gc.get_threshold()
    gc.set_threshold(ALLOCATIONS, *before[1:])
    try:
        yield
    finally:
        gc.set_threshold(*before)


def _without_verb(words: list[str]) -> int:
    """Answer ``--help`` and ``--version``; print the help where nothing is said at all."""
    parser = top_parser()
    parser.parse_args(words)
    parser.print_help()
    return GOOD


def top_parser() -> argparse.ArgumentParser:
    """The parser of a line that starts with no verb; its help lists the verbs."""
    width = max(len(verb) for verb in COMMANDS)
    verbs = "\n".join(f"  {verb:<{width}}  {text}" for verb, text in COMMANDS.items())
    parser = VerbParser(
        prog="greaseroute",
        usage="greaseroute VERB ...",
        description="Plans the morning walk that greases every pin joint due on a site's mixed\n"
        f"fleet.\n\nverbs:\n{verbs}",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"greaseroute {__version__}")
    return parser


def _unknown_verb(verb: str) -> int:
    from greaseroute.errors import clipped

    known = ", ".join(COMMANDS)
    guess = nearest(verb, COMMANDS)
    told = clipped(verb)
    print(f"greaseroute: there is no verb '{told}'{guess}; verbs are {known}", file=sys.stderr)
    return MISUSE


def _report(error: Exception, *, debug: bool, to: TextIO) -> int:
    """Print an error, one line each, and give the exit code."""
    import traceback

    from greaseroute.errors import LINE_LIMIT, printable

    if debug:
        traceback.print_exception(error, file=to)
    with suppress(OSError, ValueError):  # nobody reads it
        for line in _lines(error):
            print(printable(line)[:LINE_LIMIT], file=to)
    return MISUSE


def _lines(error: Exception) -> list[str]:
    from greaseroute.errors import BadInput, GreaserouteError

    if isinstance(error, BadInput) and error.faults:
        return [str(fault) for fault in error.faults]
    if isinstance(error, GreaserouteError):
        return [f"greaseroute: {error}"]
    if isinstance(error, OSError):
        return [f"greaseroute: {error.filename or 'file'}: {error.strerror or error}"]
    text = " ".join(str(error).split())
    return [f"greaseroute: fault in the program: {type(error).__name__}: {text}; see --debug"]


def _close_stdout() -> None:
    """Let the interpreter end quietly when the reader of a pipe has gone."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
