"""``greaseroute show``: draw a machine type, a unit, the ground of a site, or the whole shelf."""

import argparse
import re
from pathlib import Path
from typing import TYPE_CHECKING

from greaseroute.cli.options import add_options, in_language
from greaseroute.cli.output_set import OutputSet
from greaseroute.errors import UnknownName

if TYPE_CHECKING:
    from greaseroute.catalogue.kinematics.placed import PlacedMachine
    from greaseroute.site.model import Site
    from greaseroute.texts.language import Language

HELP = "draw a machine type, a unit or the ground"

UNFIT = re.compile(r"[^\w.-]+|^\.+")  # what a file's name is not made of


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What to draw, in which posture, and where to."""
    parser.add_argument(
        "what", metavar="TYPE|SITE", nargs="?", help="a type of the shelf, or a site's folder"
    )
    parser.add_argument("unit", metavar="UNIT", nargs="?", help="a unit of that site")
    parser.add_argument("--all", action="store_true", help="every type of the shelf in one sheet")
    parser.add_argument(
        "--posture", metavar="NAME", help="posture drawn (default: the unit's own, or parked)"
    )
    add_options(parser, "out", "language")


def run(args: argparse.Namespace) -> int:
    """Draw; prints the list of numbered fittings and the files written."""
    OutputSet(args.out, "show", ()).check()
    if args.all:
        return _show_shelf(args)
    if args.what is None:
        raise UnknownName(
            "show", "nothing named", limit="a TYPE, a SITE [UNIT] or --all", next_step="name one"
        )
    folder = Path(args.what)
    if (folder / "site.toml").is_file() or args.unit:
        return _show_site(args, folder)
    return _show_type(args)


def _show_shelf(args: argparse.Namespace) -> int:
    from greaseroute.cards.type_sheet import contact_sheet
    from greaseroute.catalogue.shelf import shelf_names, shelf_type

    types = [shelf_type(name) for name in shelf_names()]
    sheet = contact_sheet(types, posture=args.posture or "parked")
    _write(args, "shelf", _pictures("shelf", sheet, zoom=1))
    return 0


def _show_type(args: argparse.Namespace) -> int:
    from greaseroute.cards.type_sheet import type_at_home
    from greaseroute.catalogue.shelf import shelf_type
    from greaseroute.texts.language import DEFAULT, language

    kind = shelf_type(args.what)
    machine = type_at_home(kind, posture=args.posture or "parked")
    return _show_machine(
        args, machine, name=kind.name, north=False, say=language(args.language or DEFAULT)
    )


def _show_site(args: argparse.Namespace, folder: Path) -> int:
    from greaseroute.cards.paper import labels_pdf, type_book_pdf
    from greaseroute.cards.typesetter import pdf_ready
    from greaseroute.drawings.map_svg import map_svg
    from greaseroute.site.folder import read_site
    from greaseroute.site.placed_units import placed_unit

    site = in_language(read_site(folder), args.language)
    if args.unit is None:
        book = {}
        if pdf_ready():
            book = {"types.pdf": type_book_pdf(site), "labels.pdf": labels_pdf(site)}
        _write(args, "ground", {**_pictures("ground", map_svg(site)), **book})
        return 0
    unit = next((unit for unit in site.units if unit.unit == args.unit), None)
    if unit is None:
        raise _no_such_unit(site, args.unit)
    return _show_machine(
        args,
        placed_unit(site, unit, posture=args.posture),
        name=unit.unit,
        north=True,
        say=site.say,
    )


def _no_such_unit(site: "Site", name: str) -> UnknownName:
    known = ", ".join(unit.unit for unit in site.units)
    return UnknownName(
        f"unit of {site.name}", repr(name), limit=known, next_step="name one of these"
    )


def _show_machine(
    args: argparse.Namespace,
    machine: "PlacedMachine",
    *,
    name: str,
    north: bool,
    say: "Language",
) -> int:
    from greaseroute.cards.type_sheet import numbered_scene
    from greaseroute.drawings.drawing import side_view, top_view

    shown = numbered_scene(machine, north=north)
    name = UNFIT.sub("_", name)
    files = {
        **_pictures(f"{name}-side", side_view(shown)),
        **_pictures(f"{name}-top", top_view(shown)),
    }
    print("\n".join(_listing(machine, say)))
    _write(args, name, files)
    return 0


def _listing(machine: "PlacedMachine", say: "Language") -> list[str]:
    """The fittings as numbered on the drawing."""
    from greaseroute.cards.type_sheet import numbered_fittings

    kind = machine.machine_type
    told = {"title": say.name(kind.title), "type": kind.name, "origin": kind.origin}
    lines = [say("show.head", **told, posture=say.name(machine.posture))]
    rows = numbered_fittings(machine, say)
    width = max((len(row.joint) for row in rows), default=0)
    named = max((len(row.fitting) for row in rows), default=0)
    lines += [
        f"{row.label:>4}  {row.joint:<{width}}  {row.fitting:<{named}}  {row.note or row.interval}"
        for row in rows
    ]
    return lines


def _pictures(name: str, svg: str, *, zoom: int = 2) -> dict[str, bytes]:
    """One picture as SVG, and as PNG where that is installed, by file name."""
    from greaseroute.drawings.png import png_ready, svg_to_png

    files = {f"{name}.svg": svg.encode()}
    if png_ready():
        files[f"{name}.png"] = svg_to_png(svg, zoom=zoom)
    return files


def _write(args: argparse.Namespace, name: str, files: dict[str, bytes]) -> None:
    """Write pictures that belong together, and say so."""
    OutputSet(args.out, f"show {name}", tuple(files)).write(files)
    print(f"Written to {args.out}: {', '.join(files)}")
