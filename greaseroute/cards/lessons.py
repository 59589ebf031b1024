"""What a learner reads: each kind of joint, what goes wrong, the words, questions, sign-off.

Common practice in our own words, no source, unless a line says otherwise. The machine maker's
manual goes before all of it.
"""

from dataclasses import dataclass

from greaseroute.texts.language import DEFAULT, ENGLISH, Language


@dataclass(frozen=True, slots=True)
class KindLesson:
    """One kind of joint: what it is, how it is greased, what to look for, when one can do it."""

    kind: str
    what: str
    how: str
    look_for: str
    can_do: str


@dataclass(frozen=True, slots=True)
class Trouble:
    """Something that goes wrong: how it shows and what to do."""

    name: str
    shows: str
    do: str


@dataclass(frozen=True, slots=True)
class Word:
    """A word of the trade and what it means here."""

    word: str
    meaning: str


TROUBLES = ("blocked", "wrong_place", "too_much", "no_feeling", "missing", "other_grease")
QUESTIONS = ("machine", "start", "place", "fitting", "seen", "left", "card")
WORDS = (
    *("unit", "fitting", "coupler", "pin joint", "stroke", "cartridge", "stand"),
    *("service position", "isolation", "due", "daily checks", "crossing", "pinion grease bath"),
    "grease block",
)
"""What is explained on the first day, by the keys of the glossary."""


def glossary(say: Language) -> tuple[Word, ...]:
    """The words of the first day, in the language."""
    told = [(key, str(say.plain(f"glossary.{key}"))) for key in WORDS]
    if say.code == DEFAULT:
        return tuple(Word(key, meaning) for key, meaning in told)
    return tuple(Word(*(part.strip() for part in text.split(":", 1))) for _, text in told)


def troubles(say: Language) -> tuple[Trouble, ...]:
    """What goes wrong, in the order in which it is told."""
    return tuple(
        Trouble(*(say(f"lessons.trouble.{key}.{part}") for part in ("name", "shows", "do")))
        for key in TROUBLES
    )


def questions(say: Language) -> tuple[str, ...]:
    """Questions to ask oneself at each machine."""
    return tuple(say(f"lessons.question.{key}") for key in QUESTIONS)


def lesson_of(kind: str, say: Language = ENGLISH) -> KindLesson:
    """The lesson of a kind of joint; a kind without one of its own is told as a pin."""
    key = f"lessons.kind.{kind.replace(' ', '_')}"
    if not say.has(f"{key}.what"):
        return lesson_of("pin", say)
    parts = (say(f"{key}.{part}") for part in ("what", "how", "look_for", "can_do"))
    return KindLesson(say.name(kind), *parts)
