"""Plans of small sites against every order gone through: ``python -m tests.bench.enumeration``.

One technician and up to 7 units, then two technicians, windows, small bags and up to 5 units, then
what hangs on the clock (cartridge changes, zones and crossings with hours, guns part used):
so many ``--sites`` of each. Prints every site whose plan is worse than the best by enumeration or
whose bound is above it, and a summary; exits 1 if there is any.
"""

import argparse
import sys
import time
from collections import Counter
from collections.abc import Callable
from functools import partial

from tests.rounds.every_order import Best
from tests.rounds.small_sites import (
    SmallSite,
    alone_site,
    by_the_clock,
    clock_site,
    compared,
    pair_site,
)

MAKERS: dict[str, Callable[[int], SmallSite]] = {
    "alone": alone_site,
    "alone, windows": partial(alone_site, windows=True),
    "pair, windows": pair_site,
    "clock": clock_site,
}


def main() -> int:
    """Compare and print; 1 where a plan differs from the best there is."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sites", type=int, default=200, help="sites of each kind (default 200)")
    parser.add_argument("--first", type=int, default=0, help="seed of the first one (default 0)")
    parser.add_argument("--kind", choices=MAKERS, action="append", help="only these; may repeat")
    args = parser.parse_args()
    seeds = range(args.first, args.first + args.sites)
    differ = sum(_compare(name, MAKERS[name], seeds) for name in args.kind or MAKERS)
    return 1 if differ else 0


def _compare(name: str, make: Callable[[int], SmallSite], seeds: range) -> int:
    begun = time.process_time()
    units: Counter[int] = Counter()
    differ, worst_ms, less = 0, 0, 0
    for seed in seeds:
        small = make(seed)
        found, best, bound_ms = _of(name, small)
        units[len(small.site.units)] += 1
        less += best.lost > 0
        if found > best or (bound_ms > best.last_ms and found.lost == best.lost):
            differ += 1
            if found.lost == best.lost:
                worst_ms = max(worst_ms, abs(found.last_ms - best.last_ms))
            print(f"  {name}, seed {seed} ({small.kind}): plan {found}, best {best}", flush=True)
    sizes = ", ".join(f"{count} of {size}" for size, count in sorted(units.items()))
    print(
        f"{name}: {len(seeds)} sites ({sizes} units), {less} of them with something left out; "
        f"{differ} are worse or bounded above it, by {worst_ms} ms at most; "
        f"{time.process_time() - begun:.0f} processor seconds",
        flush=True,
    )
    return differ


def _of(name: str, small: SmallSite) -> tuple[Best, Best, float]:
    """What the plan comes to, the best there is, and the moment before which none is to end."""
    if name != "clock":
        return (*compared(small), 0.0)
    plan, found, best = by_the_clock(small)
    return found, best, 1000 * (plan.bound.no_sooner_s or 0.0) - 1e-6


if __name__ == "__main__":
    sys.exit(main())
