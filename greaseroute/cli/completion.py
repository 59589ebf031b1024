"""``greaseroute completion SHELL``: what a shell needs to complete verbs, options and files."""

import argparse

from greaseroute.cli.parser import VerbParser

HELP = "print the completion of commands for a shell"
SHELLS = ("bash", "zsh", "tcsh")
EPILOG = """bash: put the output into ~/.local/share/bash-completion/completions/greaseroute
zsh: put the output into a file called _greaseroute in a folder of $fpath"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Which shell."""
    parser.epilog = EPILOG
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.add_argument("shell", metavar="SHELL", choices=SHELLS, help=", ".join(SHELLS))


def run(args: argparse.Namespace) -> int:
    """Print the script; exit code 0."""
    import shtab

    print(shtab.complete(whole_parser(), shell=args.shell))
    return 0


def whole_parser() -> argparse.ArgumentParser:
    """The parser of all verbs at once, which the completion is made from."""
    import shtab

    from greaseroute.cli.main import COMMANDS, add_verb_arguments

    top = VerbParser(prog="greaseroute")
    top.add_argument("--version", action="version", version="", help="which version it is")
    verbs = top.add_subparsers(metavar="VERB")
    for verb, text in COMMANDS.items():
        parser = verbs.add_parser(verb, help=text)
        add_verb_arguments(parser, verb)
        for action in parser._actions:
            if action.type is not None and getattr(action.type, "__name__", "") == "out_folder":
                action.complete = shtab.DIRECTORY  # type: ignore[attr-defined]
            elif action.metavar in {"SITE", "FILE", "CARD", "TYPE|SITE"}:
                action.complete = shtab.FILE  # type: ignore[attr-defined]
    return top
