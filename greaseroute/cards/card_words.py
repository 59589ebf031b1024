"""How the card says its words: the fixed ones by their key, names and sentences by their English.

The page carries them in every language there is, so that whoever holds it may choose.
"""

from collections.abc import Mapping

from markupsafe import Markup, escape

from greaseroute.texts.language import DEFAULT, Language, Text, language, languages

SECTION = "card"


class CardWords:
    """The words of one card, in the language it is written in."""

    def __init__(self, chosen: Language) -> None:
        self._language = chosen
        self._others = [language(code) for code in languages() if code != DEFAULT]
        self._names: dict[str, dict[str, str]] = {other.code: {} for other in self._others}

    @property
    def code(self) -> str:
        """ISO 639-1."""
        return self._language.code

    def fixed(self) -> dict[str, dict[str, Text]]:
        """Key to text, or to (one, many), by language."""
        return {code: language(code).section(SECTION) for code in languages()}

    def told(self, key: str, **values: object) -> str:
        """A text for an attribute. Raises MissingText or KeyError where something is not there."""
        return filled(self._language.plain(f"{SECTION}.{key}"), values)

    def said(self, key: str, **values: object) -> Markup:
        """A text with what the page needs to say it in another language."""
        data = "".join(f' data-w-{escape(k)}="{escape(v)}"' for k, v in values.items())
        if "direction" in values:
            values["direction"] = self.told(f"direction.{values['direction']}")
        text = self.told(key, **values)
        return Markup(f'<span data-w="{escape(key)}"{data}>{escape(text)}</span>')

    def named(self, english: str, family: str = "") -> Markup:
        """A name or a sentence of the plan, in the language of the card; kept for the others."""
        for other in self._others:
            text = in_language(other, english, family)
            if text != english:
                self._names[other.code].setdefault(english, text)
        text = in_language(self._language, english, family)
        kept = f'="{escape(english)}"' if text != english else ""
        return Markup(f"<span data-n{kept}>{escape(text)}</span>")

    def names(self) -> dict[str, dict[str, str]]:
        """What was named so far, by language and English text."""
        return {code: table for code, table in self._names.items() if table}


def in_language(chosen: Language, english: str, family: str = "") -> str:
    """A name, else a sentence, of a plan in a language; as it is where it is not known."""
    name = chosen.name(english, family)
    return name if name != english else chosen.sentence(english, family)


def filled(text: Text, values: Mapping[str, object]) -> str:
    """A text with its values; ``n`` chooses between one and many."""
    chosen = text if isinstance(text, str) else text[str(values.get("n")) != "1"]
    return chosen.format_map(values)
