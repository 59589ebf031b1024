"""Turn and move a whole site folder, as one would lay the same yard down elsewhere."""

import csv
import json
import math
import shutil
from pathlib import Path

NUMBERS = {"x_m", "y_m", "heading_deg"}


def turned_site(folder: Path, out: Path, *, turn_deg: float, move_m: tuple[float, float]) -> Path:
    """Copy ``folder`` turned anticlockwise by ``turn_deg`` about the origin, then moved."""
    shutil.copytree(folder, out)
    cos, sin = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))

    def moved(x: float, y: float) -> list[float]:
        return [x * cos - y * sin + move_m[0], x * sin + y * cos + move_m[1]]

    def deep(value: list) -> list:
        if isinstance(value[0], int | float):
            return [*moved(value[0], value[1]), *value[2:]]
        return [deep(part) for part in value]

    ground = json.loads((folder / "ground.geojson").read_text(encoding="utf-8"))
    for feature in ground["features"]:
        feature["geometry"]["coordinates"] = deep(feature["geometry"]["coordinates"])
    (out / "ground.geojson").write_text(json.dumps(ground), encoding="utf-8")
    with (folder / "fleet.csv").open(encoding="utf-8", newline="") as lines:
        rows = list(csv.DictReader(lines))
    for row in rows:
        row["x_m"], row["y_m"] = map(repr, moved(float(row["x_m"]), float(row["y_m"])))
        # Compass headings run clockwise, so turning the yard anticlockwise takes degrees off.
        row["heading_deg"] = repr((float(row["heading_deg"]) - turn_deg) % 360.0)
    with (out / "fleet.csv").open("w", encoding="utf-8", newline="") as lines:
        writer = csv.DictWriter(lines, fieldnames=list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    return out
