"""A type written as what differs from a type of the shelf: ``like = "crawler-excavator-22t"``."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from pydantic import ConfigDict, ValidationError

from greaseroute.catalogue.record_text import tuples
from greaseroute.records import Record, about
from greaseroute.texts.finding import Finding
from greaseroute.texts.toml_places import KeyPath
from greaseroute.texts.toml_text import TomlText
from greaseroute.texts.validation import findings_in, unknown_name

_Table = Mapping[str, Any]
_Place = tuple[KeyPath, KeyPath]
# Lists whose entries ``without`` can take out.
_REMOVABLE = ("joints", "looks", "decks", "cautions")


@dataclass(frozen=True)
class LikeText(TomlText):
    """The tables of a type after its changes; lines are those of the file with the changes.

    ``said`` gives, for each place of the merged tables that the file itself writes, its place in
    the file. What comes from the shelf has the line of ``like``.
    """

    said: Mapping[KeyPath, KeyPath] = field(default_factory=dict)

    def line(self, path: KeyPath) -> int:
        """Line in the file of the value at ``path`` of the merged tables."""
        for length in range(len(path), 0, -1):
            if path[:length] in self.said:
                return super().line(self.said[path[:length]])
        return super().line(("like",))


class Likeness(Record):
    """How a type of a site follows from a type of the shelf; other fields are what differs."""

    model_config = ConfigDict(extra="ignore")

    like: str = about("the type of the shelf that this one is like; only what differs is written")
    scale: float = about(
        "own length over that of the other type: multiplies every length, and the mass by its cube",
        1.0,
        ge=0.2,
        le=5.0,
    )
    without: tuple[str, ...] = about(
        "names of joints, checks, decks and cautions of the other type that this one lacks", ()
    )


OWN_KEYS = tuple(Likeness.model_fields)


def likeness_of(
    tables: Mapping[str, Any], names: tuple[str, ...]
) -> tuple[Likeness | None, tuple[Finding, ...]]:
    """What a file says of its likeness, or what is wrong with it; ``names`` are the shelf's."""
    try:
        likeness = Likeness.model_validate(tuples(tables), strict=True)
    except ValidationError as error:
        return None, tuple(findings_in(error, Likeness))
    if likeness.like in names:
        return likeness, ()
    texts = unknown_name(likeness.like, names, define="correct the name")
    return None, (Finding(("like",), likeness.like, *texts),)


def merged(
    own: TomlText, likeness: Likeness, base: Mapping[str, Any]
) -> tuple[LikeText, tuple[Finding, ...]]:
    """The tables of ``base`` with the changes of ``own``, and names to go that are not there.

    ``scale`` multiplies every length (fields that end in ``_m``) and, by its cube, the mass.
    Tables are merged key by key. Entries of a list that have a name are matched by it: one with a
    new name is added, one that is named in ``without`` goes. Any other value takes the place of
    the one before. Doses, intervals and strokes are not scaled.
    """
    data = _scaled(base, likeness.scale)
    data["operating_mass_kg"] = round(base["operating_mass_kg"] * likeness.scale**3, 1)
    known = {str(_name(entry)) for key in _REMOVABLE for entry in base.get(key, [])}
    for key in _REMOVABLE:
        if key in data:
            data[key] = [entry for entry in data[key] if _name(entry) not in likeness.without]
    merge = _Merge()
    changes = {key: value for key, value in own.data.items() if key not in OWN_KEYS}
    result = merge.table(data, changes, ((), ()))
    return LikeText(own.text, result, merge.said), tuple(_strays(likeness.without, sorted(known)))


@dataclass
class _Merge:
    """One file laid over another; ``said`` fills up as in ``LikeText``.

    ``at`` is where one is: the place in the result, and the place in the file.
    """

    said: dict[KeyPath, KeyPath] = field(default_factory=dict)

    def table(self, base: _Table, own: _Table, at: _Place) -> dict[str, Any]:
        """One table over another, key by key."""
        result = dict(base)
        for key, value in own.items():
            inner = self._note(at, key, key)
            result[key] = self._value(result.get(key), value, inner)
        return result

    def _value(self, base: Any, own: Any, at: _Place) -> Any:  # noqa: ANN401 - any value of TOML
        if isinstance(base, Mapping) and isinstance(own, Mapping):
            return self.table(base, own, at)
        return self._entries(base, own, at) if _is_named(base) and _is_named(own) else own

    def _entries(self, base: list[_Table], own: list[_Table], at: _Place) -> list[_Table]:
        """Entries matched by their names; new ones come last, in the file's order."""
        result = list(base)
        where = {entry["name"]: number for number, entry in enumerate(result)}
        for number, entry in enumerate(own):
            place = where.setdefault(entry["name"], len(result))
            inner = self._note(at, place, number)
            before = result[place] if place < len(result) else {}
            result[place : place + 1] = [self.table(before, entry, inner)]
        return result

    def _note(self, at: _Place, key: str | int, own_key: str | int) -> _Place:
        inner = ((*at[0], key), (*at[1], own_key))
        self.said[inner[0]] = inner[1]
        return inner


def _scaled(value: Any, scale: float, *, length: bool = False) -> Any:  # noqa: ANN401 - any value
    """A tree with every number below a key that ends in ``_m`` multiplied."""
    if isinstance(value, Mapping):
        return {k: _scaled(v, scale, length=k.endswith("_m")) for k, v in value.items()}
    if isinstance(value, list):
        return [_scaled(inner, scale, length=length) for inner in value]
    # Micrometres are enough, and keep figures readable.
    return round(value * scale, 6) if length and _is_number(value) else value


def _strays(names: tuple[str, ...], known: list[str]) -> Iterator[Finding]:
    for number, name in enumerate(names):
        if name not in known:
            texts = unknown_name(name, known, define="correct the name or take it out of the list")
            yield Finding(("without", number), name, *texts)


def _is_named(value: object) -> bool:
    return isinstance(value, list) and all(
        isinstance(entry, Mapping) and isinstance(entry.get("name"), str) for entry in value
    )


def _name(entry: object) -> object:
    return entry.get("name") if isinstance(entry, Mapping) else entry


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)
