"""The argument parser of the verbs: no shortened options, and a guess at what was meant."""

import argparse
import difflib
import re
from collections.abc import Iterable
from typing import Any, NoReturn


def nearest(word: str, known: Iterable[str]) -> str:
    """``; did you mean X?`` where a known word is close to ``word``, else an empty text."""
    close = difflib.get_close_matches(word, sorted(known), n=1, cutoff=0.6)
    return f"; did you mean {close[0]}?" if close else ""


class VerbParser(argparse.ArgumentParser):
    """argparse with ``allow_abbrev`` off and errors of one line that guess what was meant."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:  # noqa: ANN401
        super().__init__(*args, **{**kwargs, "allow_abbrev": False})

    def error(self, message: str) -> NoReturn:
        """Print one line to stderr and leave with exit code 2."""
        from greaseroute.errors import VALUE_LIMIT, clipped  # not needed where help is asked

        guess = self._guess(message)
        told = clipped(message, 2 * VALUE_LIMIT)
        self.exit(2, f"{self.prog}: {told}{guess}; see {self.prog} --help\n")

    def _guess(self, message: str) -> str:
        choice = re.search(r"invalid choice: '([^']*)' \(choose from (.*)\)", message)
        if choice:
            return nearest(choice[1], re.findall(r"[\w-]+", choice[2]))
        strange = re.search(r"unrecognized arguments: (-[^\s=]*)", message)
        return nearest(strange[1], self._option_string_actions) if strange else ""
