"""Everything that is shown to people, in the languages of ``strings/``.

A language is a folder of TOML files, one for each subject; a text is known by its file and its key,
``summary.head``. Placeholders stand in braces with a format as in Python (``{walk_m:.0f}``), and
figures get the marks of the language. A text of two, ``["{n} joint", "{n} joints"]``, is one and
many. A key that is not there is an error, in every language alike.

Machines name their parts in English, and a plan tells its reasons in English, since programs read
both. ``name`` and ``sentence`` put them into another language when they are shown.
"""

import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from functools import cache, cached_property
from pathlib import Path
from string import Formatter
from typing import Any

from greaseroute.errors import UnknownName

STRINGS = Path(__file__).parent / "strings"
DEFAULT = "en"
NAMES = "names"  # how the files of the names of parts begin; English needs few
PLAN = "plan"  # file of the sentences that a plan carries
CAUTIONS = "cautions"  # file of the cautions that it names by their keys
S_PER_MIN = 60.0

Text = str | tuple[str, str]


def languages() -> tuple[str, ...]:
    """Codes of the languages there are, such as ``de`` and ``en``; ISO 639-1."""
    return tuple(sorted(folder.name for folder in STRINGS.iterdir() if folder.is_dir()))


@cache
def language(code: str = DEFAULT) -> "Language":
    """The language of a code. Raises UnknownName for one that there is not."""
    if code not in languages():
        raise UnknownName(
            "language", repr(code), limit=", ".join(languages()), next_step="choose one of these"
        )
    tables = {file.stem: _toml(file) for file in sorted((STRINGS / code).glob("*.toml"))}
    names = _merged(tables.pop(stem) for stem in sorted(tables) if stem.startswith(NAMES))
    texts = dict(pair for stem, table in tables.items() for pair in _flat(table, stem))
    return Language(code, texts, names)


def _toml(file: Path) -> dict[str, Any]:
    return tomllib.loads(file.read_text(encoding="utf-8"))


def _merged(tables: Iterable[Mapping[str, Any]]) -> dict[str, Any]:
    """The tables of several files as one, table by table."""
    whole: dict[str, Any] = {}
    for table in tables:
        for name, part in table.items():
            whole[name] = {**whole.get(name, {}), **part}
    return whole


def _flat(table: Mapping[str, Any], prefix: str) -> Iterator[tuple[str, Text]]:
    """(``file.table.key``, text) of every text of a file."""
    for key, value in table.items():
        if isinstance(value, dict):
            yield from _flat(value, f"{prefix}.{key}")
        elif isinstance(value, list):
            yield f"{prefix}.{key}", (value[0], value[1])
        else:
            yield f"{prefix}.{key}", value


class MissingText(LookupError):
    """A key that a language does not have: a fault of the program."""


@dataclass(frozen=True, eq=False)
class Language:
    """One language: call it with a key and the values of the text's placeholders.

    Attributes
    ----------
    code : str
        ISO 639-1.
    texts : mapping of str to str or (one, many)
        Every text by ``file.table.key``.
    names : mapping
        Names of machine parts and how names are made of others, see ``strings/de/names*.toml``.
    """

    code: str
    texts: Mapping[str, Text]
    names: Mapping[str, Any]

    def __call__(self, key: str, /, **values: object) -> str:
        """The text of a key, filled. Raises MissingText, or KeyError for a value not given."""
        text = self.plain(key)
        if not isinstance(text, str):
            raise MissingText(f"{key} has a form for one and one for many: use count")
        return self._filled(text, values)

    def plain(self, key: str) -> Text:
        """The text of a key as it stands in the table. Raises MissingText."""
        try:
            return self.texts[key]
        except KeyError:
            raise MissingText(f"no text {key!r} in {self.code}") from None

    def section(self, prefix: str) -> dict[str, Text]:
        """The texts whose keys begin with ``prefix.``, without it: for a script in a page."""
        start = f"{prefix}."
        return {k.removeprefix(start): t for k, t in self.texts.items() if k.startswith(start)}

    def has(self, key: str) -> bool:
        """Whether there is such a text."""
        return key in self.texts

    def count(self, number: int, noun: str) -> str:
        """``1 joint``, ``2 joints``: the text ``count.<noun>``, in the form for that number."""
        forms = self.plain(f"count.{noun}")
        if isinstance(forms, str):
            raise MissingText(f"count.{noun} needs a form for one and one for many")
        return self._filled(forms[number != 1], {"n": number})

    def number(self, value: float, decimals: int = 0) -> str:
        """A figure with so many decimals and the decimal mark of the language."""
        return f"{value:.{decimals}f}".translate(self._marks)

    def short(self, value: float) -> str:
        """A figure with as many decimals as it needs: ``7``, ``7.5``."""
        return f"{value:g}".translate(self._marks)

    def minutes(self, time_s: float) -> str:
        """Minutes with one decimal, such as ``38.9 min``."""
        return f"{self.number(time_s / S_PER_MIN, 1)} min"

    def clock(self, iso: str) -> str:
        """``HH:MM`` of an ISO 8601 moment, in the offset it carries."""
        return datetime.fromisoformat(iso).strftime("%H:%M")

    def day(self, iso: str) -> str:
        """Such as ``Monday 2 March 2026``."""
        moment = datetime.fromisoformat(iso)
        return self(
            "dates.day",
            weekday=self.weekday(moment),
            day=moment.day,
            month=self._listed_in("dates.months", moment.month - 1),
            year=str(moment.year),
        )

    def short_day(self, iso: str) -> str:
        """Such as ``Mon 2 Mar``."""
        moment = datetime.fromisoformat(iso)
        month = self._listed_in("dates.short_months", moment.month - 1)
        weekday = self._listed_in("dates.short_weekdays", moment.weekday())
        return self("dates.short_day", weekday=weekday, day=moment.day, month=month)

    def day_label(self, iso: str) -> str:
        """Such as ``Mon 2``, where month and year are told elsewhere."""
        moment = datetime.fromisoformat(iso)
        return self("dates.label", weekday=self.short_weekday(moment), day=moment.day)

    def weekday(self, moment: date) -> str:
        """Such as ``Monday``."""
        return self._listed_in("dates.weekdays", moment.weekday())

    def short_weekday(self, moment: date) -> str:
        """Such as ``Mon``."""
        return self._listed_in("dates.short_weekdays", moment.weekday())

    def listed(self, words: Iterable[str]) -> str:
        """``a``, ``a and b``, ``a, b and c``."""
        *first, last = list(words) or [""]
        return self("dates.and", first=", ".join(first), last=last) if first else last

    def name(self, english: str, family: str = "") -> str:
        """The name of a part, joint, fitting, posture or family; as it is where it has none.

        A machine ``family`` may have its own word: the bucket of a loader is not that of an
        excavator. Names made of others, such as ``left boom cylinder rod end``, are put together.
        """
        return self._part(english, family) or english

    def sentence(self, english: str, family: str = "") -> str:
        """A sentence that a plan carries, in this language; as it is where it is not known.

        It is found again by the English text of ``plan.toml`` that it was made from; names inside
        it are put into the language as well.
        """
        if self.code == DEFAULT:
            return english
        return self._known(english, family) or "; ".join(
            self._known(part, family) or self.name(part, family) for part in english.split("; ")
        )

    def _filled(self, text: str, values: Mapping[str, object]) -> str:
        return _Filler(self._marks).vformat(text, (), values)

    def _listed_in(self, key: str, index: int) -> str:
        """One of the words of a text that lists them, separated by blanks."""
        return str(self.plain(key)).split()[index]

    @cached_property
    def _marks(self) -> dict[int, str]:
        """From Python's marks in figures to those of the language."""
        return str.maketrans({".": str(self.plain("dates.decimal_mark")),
                              ",": str(self.plain("dates.thousands_mark"))})  # fmt: skip

    def _part(self, english: str, family: str) -> str | None:
        own = self.names.get("of", {}).get(family, {})
        found = own.get(english) or self.names.get("parts", {}).get(english)
        return found or self._made_of(english, family)

    def _made_of(self, english: str, family: str) -> str | None:
        """A name after a rule, where what is left of it is known as well."""
        for pattern, text in self._rules:
            match = pattern.fullmatch(english)
            if match:
                parts = {key: self._part(value, family) for key, value in match.groupdict().items()}
                if None not in parts.values():
                    return text.format_map(parts)
        return None

    @cached_property
    def _rules(self) -> list[tuple[re.Pattern[str], str]]:
        rules = self.names.get("made_of", {})
        return [(_pattern(english), text) for english, text in rules.items()]

    def _known(self, english: str, family: str) -> str | None:
        for pattern, key in _sentences():
            match = pattern.fullmatch(english)
            if match:
                values = match.groupdict()
                return self._filled(
                    str(self.plain(key)), {k: self._value(v, family) for k, v in values.items()}
                )
        return None

    def _value(self, english: str, family: str) -> object:
        """What stood in a sentence: a figure, a sentence of its own, or a name."""
        if re.fullmatch(r"-?\d+\.\d+", english):
            return english.translate(self._marks)
        parts = english.split("; ")
        each = [self._known(part, family) for part in parts]
        if len(parts) > 1 and all(each):
            return "; ".join(str(part) for part in each)
        return self._known(english, family) or ", ".join(
            self.name(each, family) for each in english.split(", ")
        )


class _Filler(Formatter):
    """Fills placeholders; figures get the marks of a language, a format is dropped for text."""

    def __init__(self, marks: Mapping[int, str]) -> None:
        self._marks = marks

    def format_field(self, value: object, format_spec: str) -> str:
        if isinstance(value, str):
            return value
        return format(value, format_spec).translate(self._marks)


@cache
def _sentences() -> list[tuple[re.Pattern[str], str]]:
    """The English sentences of a plan as patterns, those with the most words of their own first."""
    texts = language(DEFAULT).texts
    plain = {key: text for key, text in texts.items()
             if key.split(".")[0] in (PLAN, CAUTIONS) and isinstance(text, str)}  # fmt: skip
    ordered = sorted(plain, key=lambda key: -len(re.sub(r"\{.*?\}", "", plain[key])))
    return [(_pattern(plain[key]), key) for key in ordered]


def _pattern(text: str) -> re.Pattern[str]:
    """What matches a text with any value at its placeholders."""
    parts = []
    for literal, field, _, _ in Formatter().parse(text):
        parts.append(re.escape(literal))
        if field is not None:
            parts.append(f"(?P<{field}>.+?)" if f"<{field}>" not in "".join(parts)
                         else f"(?P={field})")  # fmt: skip
    return re.compile("".join(parts), re.DOTALL)


ENGLISH = language(DEFAULT)
