"""Random yards through the safety officer's checks: ``python -m tests.bench.random_yards 200``."""

import sys
from collections import Counter

from tests.random_yards import checked


def main(first: int, count: int) -> int:
    """Plan and check so many yards; prints what is found, then the sums."""
    bad, seen = 0, Counter[str]()
    for seed in range(first, first + count):
        found, plan = checked(seed)
        seen.update(
            units=sum(len(t.stops) for t in plan.technicians), calls=len(plan.people),
            leaving=len(plan.leaving), left=len(plan.left),
            no_room=sum("no room" in x.reason for x in plan.left),
        )  # fmt: skip
        for text in found:
            print(f"seed {seed}: {text}", flush=True)
        bad += bool(found)
    print(f"{count} yards, {bad} with findings; {dict(seen)}")
    return int(bad > 0)


if __name__ == "__main__":
    numbers = [int(text) for text in sys.argv[1:]]
    sys.exit(main(numbers[1] if len(numbers) > 1 else 0, numbers[0] if numbers else 200))
