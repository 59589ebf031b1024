"""Draw every type of the shelf and every attachment on a carrier, side by side.

``python -m tests.bench.shelf_picture`` writes ``.pictures/shelf.svg``; with a file name after it, a
PNG as well. A test compares the file with what this draws, so it cannot drift.
"""

import sys
from pathlib import Path

from greaseroute.cards.type_sheet import type_at_home
from greaseroute.catalogue.hanging import fitting_names, hung
from greaseroute.catalogue.machine_type import MachineType
from greaseroute.catalogue.shelf import shelf_attachments, shelf_names, shelf_type
from greaseroute.drawings.drawing import STYLE, scene, side_view
from greaseroute.drawings.svg import num, picture, tag, text_width, words

PICTURE = Path(__file__).parents[2] / ".pictures" / "shelf.svg"
COLUMNS, CELL_PX = 6, (250.0, 176.0)
CARRIERS = ("crawler-excavator-22t", "wheel-loader-12t", "skid-steer-loader-3t")


def machines() -> list[tuple[str, MachineType]]:
    """(title, machine) of every type, then of every attachment on the first carrier that fits."""
    found = [(shelf_type(name).title, shelf_type(name)) for name in shelf_names()]
    for name, attachment in shelf_attachments().items():
        found.append((f"{attachment.title} (attachment)", _carrying(name)))
    return found


def _carrying(name: str) -> MachineType:
    on_hand = shelf_attachments()
    carrier = next(c for c in map(shelf_type, CARRIERS) if name in fitting_names(c, on_hand))
    return hung(carrier, (name,), on_hand=on_hand)


def sheet() -> str:
    """All of them as one SVG document, in the service position."""
    cells = [_cell(k, title, machine) for k, (title, machine) in enumerate(machines())]
    rows = -(-len(cells) // COLUMNS)
    size = (CELL_PX[0] * COLUMNS, CELL_PX[1] * rows)
    paper = tag("rect", width="100%", height="100%", fill="#fff")
    label = f"{len(cells)} machine types and attachments from the right side"
    return picture(paper + "".join(cells), size=size, label=label, style=STYLE)


def _cell(place: int, title: str, kind: MachineType) -> str:
    x, y = CELL_PX[0] * (place % COLUMNS), CELL_PX[1] * (place // COLUMNS)
    machine = type_at_home(kind, posture="greasing")
    size = min(11.5, 11.5 * (CELL_PX[0] - 16) / text_width(title, 11.5))
    style = f"text-anchor:start;font-weight:700;font-size:{num(size)}px"
    head = words(title, (x + 8, y + 16), class_="m-t", style=style)
    svg = side_view(scene(machine), with_style=False)
    where = f'x="{num(x + 6)}" y="{num(y + 20)}" width="{num(CELL_PX[0] - 12)}" height="150"'
    before, _, after = svg.partition(" role")
    start = before[: before.index(" width=")]
    return head + f"{start} {where} role{after}".strip()


def main() -> None:
    """Write the picture."""
    PICTURE.write_text(sheet(), encoding="utf-8")
    print(PICTURE.name, PICTURE.stat().st_size)
    if len(sys.argv) > 1:
        from greaseroute.drawings.png import svg_to_png

        Path(sys.argv[1]).write_bytes(svg_to_png(sheet(), zoom=1))


if __name__ == "__main__":
    main()
