"""Plans of small sites against every order gone through: ``python -m tests.bench.enumeration``.

One technician and up to 7 units, then two technicians, windows, small bags and up to 5 units: so
many ``--sites`` of each. Prints every site whose plan differs and a summary; exits 1 if any does.
"""

import argparse
import sys
import time
from collections import Counter
from collections.abc import Callable
from functools import partial

from tests.rounds.small_sites import SmallSite, alone_site, compared, pair_site

MAKERS: dict[str, Callable[[int], SmallSite]] = {
    "alone": alone_site,
    "alone, windows": partial(alone_site, windows=True),
    "pair, windows": pair_site,
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
        found, best = compared(small)
        units[len(small.site.units)] += 1
        less += best.lost > 0
        if found != best:
            differ += 1
            if found.lost == best.lost:
                worst_ms = max(worst_ms, abs(found.last_ms - best.last_ms))
            print(f"  {name}, seed {seed} ({small.kind}): plan {found}, best {best}", flush=True)
    sizes = ", ".join(f"{count} of {size}" for size, count in sorted(units.items()))
    print(
        f"{name}: {len(seeds)} sites ({sizes} units), {less} of them with something left out; "
        f"{differ} differ, by {worst_ms} ms at most where as much is left out; "
        f"{time.process_time() - begun:.0f} processor seconds",
        flush=True,
    )
    return differ


if __name__ == "__main__":
    sys.exit(main())
