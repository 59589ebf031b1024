"""The same yard told otherwise: turned, moved far from zero, shuffled, renamed, split.

    python -m tests.bench.metamorphic --first 0 --count 100

Each random site is planned as it is and in every other telling. The finish of the last technician
may differ by a millionth of the time walked and worked, what is left out not at all.
"""

import argparse
import csv
import json
import random
import re
import shutil
import sys
import tempfile
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path

from shapely.geometry import LineString, mapping, shape
from shapely.ops import split

from greaseroute.plan.round import RoundPlan
from greaseroute.rounds.planner import plan_round
from greaseroute.rounds.request import Effort, RoundRequest
from greaseroute.site.folder import read_site
from tests.broad_sites import write_broad_site
from tests.turning import turned_site

RELATIVE = 1e-6
# Times are whole milliseconds: each leg and each stop may be rounded either way.
ROUNDING_S = 0.1
TABLES = ("fleet.csv", "last_services.csv", "meter_readings.csv")


def moved(folder: Path, out: Path, rng: random.Random) -> None:
    """A thousand kilometres east and five thousand north, as in a national grid."""
    turned_site(folder, out, turn_deg=0.0, move_m=(1e6, 5e6))


def turned(folder: Path, out: Path, rng: random.Random) -> None:
    """By an angle that is nobody's friend."""
    turned_site(folder, out, turn_deg=rng.uniform(5.0, 355.0), move_m=(0.0, 0.0))


def shuffled(folder: Path, out: Path, rng: random.Random) -> None:
    """Rows of the tables and features of the ground in another order."""
    shutil.copytree(folder, out)
    for name in TABLES:
        head, *rows = (folder / name).read_text(encoding="utf-8").splitlines()
        rng.shuffle(rows)
        (out / name).write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    ground = json.loads((folder / "ground.geojson").read_text(encoding="utf-8"))
    rng.shuffle(ground["features"])
    (out / "ground.geojson").write_text(json.dumps(ground), encoding="utf-8")


def renamed(folder: Path, out: Path, rng: random.Random) -> None:
    """Units with other fleet numbers, which sort otherwise."""
    shutil.copytree(folder, out)
    with (folder / "fleet.csv").open(encoding="utf-8", newline="") as lines:
        names = [row["unit"] for row in csv.DictReader(lines)]
    others = [f"Z{number:02}" for number in range(len(names))]
    rng.shuffle(others)
    new = dict(zip(names, others, strict=True))
    for name in TABLES:
        text = (folder / name).read_text(encoding="utf-8")
        for old, other in new.items():
            text = re.sub(rf"^{re.escape(old)},", f"{other},", text, flags=re.MULTILINE)
        (out / name).write_text(text, encoding="utf-8")


def cut(folder: Path, out: Path, rng: random.Random) -> None:
    """Every obstacle drawn as two that touch."""
    shutil.copytree(folder, out)
    ground = json.loads((folder / "ground.geojson").read_text(encoding="utf-8"))
    features = []
    for feature in ground["features"]:
        if feature["properties"]["role"] != "obstacle":
            features.append(feature)
            continue
        parts = _halves(feature["geometry"])
        for number, part in enumerate(parts):
            name = f"{feature['properties'].get('name', 'obstacle')} {'ab'[number]}"
            told = {**feature["properties"], "name": name}
            features.append({**feature, "properties": told, "geometry": part})
    (out / "ground.geojson").write_text(
        json.dumps({**ground, "features": features}), encoding="utf-8"
    )


def _halves(geometry: dict[str, object]) -> list[dict[str, object]]:
    area = shape(geometry)
    west, south, east, north = area.bounds
    middle = LineString([((west + east) / 2, south - 1), ((west + east) / 2, north + 1)])
    parts = [p for p in split(area, middle).geoms if p.area > 1e-6]
    return [mapping(part) for part in parts] if len(parts) == 2 else [geometry]


TELLINGS: tuple[Callable[[Path, Path, random.Random], None], ...] = (
    moved, turned, shuffled, renamed, cut,
)  # fmt: skip


def planned(folder: Path) -> RoundPlan:
    """The round of a folder, without a proof."""
    site = read_site(folder)
    effort = Effort(1, iterations=2000, prove=False)
    return plan_round(site, RoundRequest(site.planned_for), effort=effort)


def figures(plan: RoundPlan) -> tuple[float, int, int, tuple[str, ...]]:
    """Seconds of all technicians together, fittings, strokes, and reasons of what is left out."""
    times = [
        (datetime.fromisoformat(t.finish) - datetime.fromisoformat(t.start)).total_seconds()
        for t in plan.technicians
    ]
    tasks = [f for t in plan.technicians for s in t.stops for v in s.stands for f in v.fittings]
    left = sorted(f"{x.joint} {x.fitting or ''}" for x in plan.left)
    return max(times, default=0.0), len(tasks), sum(f.strokes for f in tasks), tuple(left)


def differences(seed: int, folder: Path) -> Iterator[str]:
    """What differs between the tellings of one site."""
    plain = write_broad_site(folder / "plain", seed)
    before = figures(planned(plain))
    for tell in TELLINGS:
        out = folder / tell.__name__
        tell(plain, out, random.Random(seed))
        after = figures(planned(out))
        if abs(after[0] - before[0]) > RELATIVE * before[0] + ROUNDING_S:
            yield f"{seed} {tell.__name__}: {after[0]:.3f} s for {before[0]:.3f} s"
        if after[1:] != before[1:]:
            yield f"{seed} {tell.__name__}: {after[1:3]} for {before[1:3]}, left {after[3]}"


def main() -> int:
    """Print each difference, then how many sites were compared."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--count", type=int, default=100)
    args = parser.parse_args()
    found = 0
    for seed in range(args.first, args.first + args.count):
        with tempfile.TemporaryDirectory() as folder:
            for line in differences(seed, Path(folder)):
                found += 1
                print(line, flush=True)
    print(f"{args.count} sites, {len(TELLINGS)} other tellings each, {found} differences")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
