"""A thousand random sites planned and audited: ``python -m tests.bench.audit_sites --count 1000``.

One line for each finding with the seed of its site, then how many sites and findings of each
promise. ``python -m tests.bench.audit_sites --first SEED --count 1 --keep FOLDER`` writes one site
to look at.
"""

import argparse
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from greaseroute.errors import BadInput
from tests.broad_sites import audited


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--first", type=int, default=1000, help="the first seed")
    parser.add_argument("--count", type=int, default=1000)
    parser.add_argument("--prove", action="store_true", help="seek a bound on every site")
    parser.add_argument("--keep", type=Path, help="folder for the sites")
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        return run(args, args.keep or Path(folder))


def run(args: argparse.Namespace, folder: Path) -> int:
    """Every site in turn; 1 where there is any finding."""
    findings: Counter[str] = Counter()
    sites: Counter[str] = Counter()
    holds: Counter[str] = Counter()
    refused: list[int] = []
    begun = time.process_time()
    for seed in range(args.first, args.first + args.count):
        try:
            found = audited(folder, seed, prove=True if args.prove else None)
        except BadInput:  # a machine put on a road, about one site in a thousand
            refused.append(seed)
            continue
        holds.update(found.holds)
        findings.update(f.promise for f in found.findings)
        sites.update({f.promise for f in found.findings})
        for finding in found.findings:
            print(f"{seed}: {finding.line()}", flush=True)
    spent_s = time.process_time() - begun
    print(f"{args.count - len(refused)} sites, {spent_s:.0f} s of processor; refused: {refused}")
    print("held:", ", ".join(f"{n} {what or 'stands'}" for what, n in sorted(holds.items())))
    print("findings:", ", ".join(f"{n} {what} on {sites[what]} sites" for what, n in
                                 findings.most_common()) or "none")  # fmt: skip
    return 1 if findings else 0


if __name__ == "__main__":
    sys.exit(main())
