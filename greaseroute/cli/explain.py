"""``greaseroute explain WORD``: any field, role, column or word of the outputs in a sentence."""

import argparse
import json
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from greaseroute.cli.options import add_options
from greaseroute.texts.language import DEFAULT, ENGLISH, Language, language

if TYPE_CHECKING:
    from pydantic import BaseModel

HELP = "any field, role, column or word in a sentence, with unit, bounds and default"
TYPES = "types"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Which word."""
    add_options(parser, "format", "language")
    parser.add_argument(
        "word", metavar="WORD", nargs="*",
        help="a field, role, column or word; 'types' lists the shelf; without one, all are listed",
    )  # fmt: skip


def run(args: argparse.Namespace) -> int:
    """Print every meaning of the word. Raises UnknownName where it has none."""
    word = " ".join(args.word).strip()
    if not word:
        print("\n".join(sorted({entry["word"] for entry in entries()})))
        return 0
    say = language(args.language or DEFAULT)
    found = _types(say) if word == TYPES else [e for e in entries(say) if _is_of(e, word)]
    if not found:
        raise _unknown(word)
    if args.format == "json":
        print(json.dumps(found, indent=1, ensure_ascii=False))
    else:
        print("\n".join(line(entry) for entry in found))
    return 0


def entries(say: Language = ENGLISH) -> Iterator[dict[str, Any]]:
    """Every word with where it stands and what it means; words of the trade in the language."""
    from greaseroute.cli.fields import PARTS, models, nested

    for word, meaning in say.section("glossary").items():
        yield {"word": word, "where": "words", "meaning": meaning}
    seen: set[tuple[str, str]] = set()
    for part in (*PARTS, "round"):
        for name, model in models(part).items():
            if name.startswith("role "):
                yield {"word": name.removeprefix("role "), "where": "role of ground.geojson",
                       "meaning": _first_line(model)}  # fmt: skip
            for inner in nested(model):
                for entry in _of_record(inner, "ground.geojson" if part == "ground" else name):
                    key = (entry["word"], f"{entry['meaning']} {entry['where']}")
                    if key not in seen:
                        seen.add(key)
                        yield entry


def _of_record(model: "type[BaseModel]", file: str) -> Iterator[dict[str, Any]]:
    from greaseroute.cli.fields import sentence, unit_of

    properties = model.model_json_schema(mode="validation").get("properties", {})
    for field, told in properties.items():
        bounds: dict[str, Any] = next(
            (o for o in (told, *told.get("anyOf", ())) if "minimum" in o), {}
        )
        entry = {"word": field, "where": f"{file}, {model.__name__}",
                 "meaning": sentence(model, field), "unit": told.get("unit") or unit_of(field),
                 "least": bounds.get("minimum"), "greatest": bounds.get("maximum"),
                 "usual": told.get("usual"), "default": told.get("default")}  # fmt: skip
        yield {key: value for key, value in entry.items() if value not in (None, "", [])}


def _first_line(model: "type[BaseModel]") -> str:
    return (model.__doc__ or "").split("\n")[0].replace("``", "")


def line(entry: dict[str, Any]) -> str:
    """One meaning in a line."""
    parts = [entry["meaning"]]
    if "unit" in entry:
        parts.append(f"in {entry['unit']}")
    if "least" in entry:
        parts.append(f"{entry['least']:g} to {entry['greatest']:g}")
    if "usual" in entry:
        parts.append("usual {:g} to {:g}".format(*entry["usual"]))
    if "default" in entry and not isinstance(entry["default"], dict):
        parts.append(f"default {json.dumps(entry['default'], ensure_ascii=False)}")
    return f"{entry['word']} ({entry['where']}): {'; '.join(parts)}"


def _types(say: Language) -> list[dict[str, Any]]:
    from greaseroute.catalogue.shelf import shelf_names, shelf_type

    return [
        {"word": name, "where": "types", "meaning": say.name(shelf_type(name).title)}
        for name in shelf_names()
    ]


def _is_of(entry: dict[str, Any], word: str) -> bool:
    """Whether an entry tells of a word: by its English name, or by its name in the language."""
    own = str(entry["meaning"]).partition(":")[0] if entry["where"] == "words" else ""
    return _same(entry["word"], word) or _same(own, word)


def _same(known: str, word: str) -> bool:
    plain = [text.lower().replace("-", " ").replace("_", " ") for text in (known, word)]
    return plain[0] == plain[1]


def _unknown(word: str) -> Exception:
    from greaseroute.errors import UnknownName
    from greaseroute.texts.validation import near

    known = sorted({entry["word"] for entry in entries()})
    do = near(word, known) or "`greaseroute explain` lists all"
    return UnknownName("word", word, limit=f"{len(known)} words", next_step=do)
