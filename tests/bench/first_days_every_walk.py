"""First days of small sites beside every choice of joints in every order of machines.

``python -m tests.bench.first_days_every_walk [--sites N]``

The sites are the small yard with other hours of its machines and of its shift, and with joints
that were greased lately. Each is asked for several windows: as many pairs as any walk, and never
fewer with more minutes.
"""

import argparse
import random
from dataclasses import replace
from pathlib import Path

from greaseroute.site.folder import read_site
from greaseroute.site.moment import time_of_day
from tests.training.test_by_the_clock import as_good_as_every_walk

YARD = Path(__file__).parents[2] / "sites_demo" / "three_machines"
WINDOWS_MIN = (3, 5, 7, 9, 12, 60)


def small_site(yard, seed):
    """The yard, some machines leaving soon or coming late, an early shift, other paces."""
    rng = random.Random(seed)
    units = []
    for unit in yard.units:
        leaves = rng.choice([None, None, f"05:{rng.randint(3, 20):02}"])
        comes = rng.choice([None, None, f"05:{rng.randint(1, 9):02}"])
        units.append(
            unit.model_copy(
                update={
                    "parked_to_clock": leaves and time_of_day(leaves),
                    "parked_from_clock": comes and time_of_day(comes),
                    "x_m": unit.x_m + rng.uniform(-3, 3),
                }
            )
        )
    kept = tuple(s for s in yard.last_services if rng.random() < 0.5)
    shift = rng.choice(["06:30", f"05:{rng.randint(6, 25):02}"])
    return replace(yard, units=tuple(units), last_services=kept, shift_start=shift)


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sites", type=int, default=60)
    args = parser.parse_args()
    yard, wrong, steps = read_site(YARD), 0, 0
    for seed in range(args.sites):
        met = as_good_as_every_walk(small_site(yard, seed), WINDOWS_MIN)
        ours = [a for a, _ in met]
        steps += len(set(ours))
        if ours != [b for _, b in met] or ours != sorted(ours):
            wrong += 1
            print(f"site {seed}: (met, most possible) {met}", flush=True)
        if seed % 10 == 9:
            print(f"{seed + 1} sites, {wrong} differ", flush=True)
    print(f"{args.sites} sites, {len(WINDOWS_MIN)} windows each, {steps} numbers of pairs: "
          f"{wrong} differ")  # fmt: skip
    raise SystemExit(bool(wrong))


if __name__ == "__main__":
    main()
