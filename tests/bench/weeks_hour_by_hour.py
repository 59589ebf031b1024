"""Weeks of random sites beside a walk hour by hour that shares nothing with the planner.

``python -m tests.bench.weeks_hour_by_hour [--sites N] [--first N]``

Each site is planned for 1, 7, 14 and 60 mornings, by rounds that leave nothing out, some for want
of time, or some for good.
"""

import argparse
import tempfile
from pathlib import Path

from greaseroute.site.folder import read_site
from tests.forecast.hour_by_hour import LeavesOut, faults, first_day_off, varied
from tests.forecast.test_hour_by_hour import week_of
from tests.site_maker import write_random_site

MORNINGS = (1, 7, 14, 60)


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sites", type=int, default=200)
    parser.add_argument("--first", type=int, default=1000)
    args = parser.parse_args()
    wrong = services = weeks = 0
    for seed in range(args.first, args.first + args.sites):
        with tempfile.TemporaryDirectory() as place:
            site = varied(read_site(write_random_site(Path(place) / "s", seed)), seed)
        for mornings in MORNINGS:
            plan = (None, LeavesOut(seed, 0.2, 0.0), LeavesOut(seed, 0.1, 0.01))[seed % 3]
            at = first_day_off(site) if seed % 2 else None
            week = week_of(site, mornings=mornings, plan=plan, at=at)
            found = faults(site, week)
            weeks += 1
            services += sum(len(m.services) for m in week.mornings)
            wrong += len(found)
            for day, key, what in found[:3]:
                print(f"site {seed}, {mornings} mornings, {day}, {key}: {what}", flush=True)
    print(f"{args.sites} sites, {weeks} weeks, {services} services: {wrong} faults")
    raise SystemExit(bool(wrong))


if __name__ == "__main__":
    main()
