"""``greaseroute new FOLDER``: a first site that plans at once, or one of the demo sites."""

import argparse
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path

from greaseroute.cli.options import out_folder

HELP = "a commented site folder that plans at once, or a demo site"
PACKAGE = "greaseroute.cli"
TEMPLATE = "new_site"
SOURCES = "sites_demo"  # beside the package in a checkout; in a wheel they come along inside it


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Where to, and which demo."""
    parser.add_argument("folder", metavar="FOLDER", type=out_folder, help="a new or empty folder")
    parser.add_argument(
        "--demo",
        metavar="NAME",
        help="a demo site instead: quarry, harbour, rental or three_machines",
    )


def run(args: argparse.Namespace) -> int:
    """Write the folder whole or not at all; exit code 0."""
    source = files(PACKAGE) / TEMPLATE if args.demo is None else demo(args.demo)
    texts = dict(_texts(source))
    _write(args.folder, texts)
    print(f"Written to {args.folder}: {', '.join(texts)}")
    print(f"Next: greaseroute check {args.folder}")
    print(f"then: greaseroute round {args.folder} --out out")
    return 0


def demos() -> dict[str, Traversable]:
    """The demo sites by name."""
    package = files("greaseroute")
    homes = [package / SOURCES, Path(str(package)).parent / SOURCES]
    home = next((h for h in homes if h.is_dir()), None)
    found = [] if home is None else [entry for entry in home.iterdir() if entry.is_dir()]
    return {entry.name: entry for entry in sorted(found, key=lambda entry: entry.name)}


def demo(name: str) -> Traversable:
    """The demo of that name, or of which it is the first word. Raises UnknownName."""
    known = demos()
    for full, entry in known.items():
        if name in (full, full.split("_")[0]):
            return entry
    from greaseroute.errors import UnknownName

    raise UnknownName("--demo", name, limit=", ".join(known), next_step="name one of these")


def _texts(folder: Traversable, before: str = "") -> list[tuple[str, bytes]]:
    """(path inside, content) of every file of a folder."""
    found = []
    for entry in sorted(folder.iterdir(), key=lambda entry: entry.name):
        if entry.is_dir():
            found += _texts(entry, f"{before}{entry.name}/")
        elif not entry.name.endswith((".py", ".pyc", ".sqlite")):
            found.append((before + entry.name, entry.read_bytes()))
    return found


def _write(folder: Path, texts: dict[str, bytes]) -> None:
    """Put all files in place together. Raises UnknownName where the folder holds something."""
    from greaseroute.cli.put_in_place import folder_aside, made_parents, put_in_place, write_synced
    from greaseroute.errors import UnknownName

    target = folder.resolve()
    if target.exists() and (not target.is_dir() or any(target.iterdir())):
        value = "holds files already" if target.is_dir() else "a file"
        raise UnknownName(
            str(folder), value, limit="a new or empty folder", next_step="name another one"
        )
    with made_parents(target), folder_aside(target) as aside:
        for name, content in texts.items():
            (aside / name).parent.mkdir(exist_ok=True)
            write_synced(aside / name, content)
        put_in_place(aside, target, last="site.toml", gone=())
