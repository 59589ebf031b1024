"""Draw the stages from the import contracts: ``python -m tests.bench.layers_picture``.

Writes ``.pictures/layers.svg``. A test compares the file with what this draws, so it cannot drift.
"""

import ast
import tomllib
from pathlib import Path
from xml.sax.saxutils import escape

ROOT = Path(__file__).parents[2]
PICTURE = ROOT / ".pictures" / "layers.svg"
WIDTH, LEFT, ROW, GAP = 1040, 16, 40, 8
CHARS = 100  # of a room's sentence that fit beside its name


def layers() -> list[list[str]]:
    """Stages from the top down; those in one row do not import each other."""
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    contract = next(c for c in settings["tool"]["importlinter"]["contracts"] if "layers" in c)
    return [
        [name.strip().removeprefix("greaseroute.") for name in row.split("|")]
        for row in contract["layers"]
    ]


def sentence(stage: str) -> str:
    """The first line of the stage's docstring."""
    path = ROOT / "greaseroute" / stage / "__init__.py"
    path = path if path.is_file() else ROOT / "greaseroute" / f"{stage}.py"
    doc = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or ""
    return doc.splitlines()[0]


def picture() -> str:
    """The picture as SVG: a box a stage, a row a layer, imports go down only."""
    body, y = [], 44
    for row in layers():
        width = (WIDTH - 2 * LEFT - GAP * (len(row) - 1)) / len(row)
        for place, stage in enumerate(row):
            body.append(_box(stage, (LEFT + place * (width + GAP), y), width))
        y += ROW + GAP
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {y + 8}" width="{WIDTH}" '
        f'font-family="sans-serif" role="img" aria-label="Layers of greaseroute">'
        f'<rect width="{WIDTH}" height="{y + 8}" fill="#fff"/>'
        f'<text x="{LEFT}" y="26" font-size="15" font-weight="700">Imports go down only; stages '
        "in one row do not import each other</text>"
    )
    return "\n".join([head, *body, "</svg>", ""])


def _box(stage: str, corner: tuple[float, float], width: float) -> str:
    x, y = corner
    most = max(0, int((width - 20) / 6.0) - len(stage) - 3)
    text = sentence(stage)
    text = text if len(text) <= min(most, CHARS) else ""
    return (
        f'<g><rect x="{x:.0f}" y="{y}" width="{width:.0f}" height="{ROW}" rx="4" fill="#f2efe6" '
        f'stroke="#6b6355"/><title>{escape(sentence(stage))}</title>'
        f'<text x="{x + 10:.0f}" y="{y + 25}" font-size="14" font-weight="700">{escape(stage)}'
        f'<tspan font-size="11.5" font-weight="400" dx="8">{escape(text)}</tspan></text></g>'
    )


if __name__ == "__main__":
    PICTURE.write_text(picture(), encoding="utf-8")
    print(PICTURE.relative_to(ROOT))
