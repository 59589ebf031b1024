"""The fixed words of the card, in every language there is, and how a template says them."""

import tomllib
from functools import cache
from importlib.resources import files

from markupsafe import Markup, escape

Words = dict[str, str | list[str]]


@cache
def card_words() -> dict[str, Words]:
    """Key to text, or to (one, many), by language; English first."""
    folder = files("greaseroute.cards") / "words"
    found = {
        file.name.removesuffix(".toml"): tomllib.loads(file.read_text(encoding="utf-8"))
        for file in folder.iterdir()
        if file.name.endswith(".toml")
    }
    return dict(sorted(found.items(), key=lambda item: (item[0] != "en", item[0])))


def filled(words: Words, key: str, **values: object) -> str:
    """A text of one language with its values put in; ``n`` chooses between one and many."""
    text = words[key]
    if isinstance(text, list):
        text = text[values.get("n") != 1]
    return text.format_map(values)


def said(key: str, **values: object) -> Markup:
    """A text as the template says it: in English, with what the script needs to say it otherwise.

    Raises KeyError for a key or a value that there is not.
    """
    text = filled(card_words()["en"], key, **values)
    data = "".join(f' data-w-{escape(k)}="{escape(v)}"' for k, v in values.items())
    return Markup(f'<span data-w="{escape(key)}"{data}>{escape(text)}</span>')


def told(key: str, **values: object) -> str:
    """A text in English, for an attribute."""
    return filled(card_words()["en"], key, **values)
