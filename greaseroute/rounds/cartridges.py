"""Cartridges along the walk: before which fitting each goes in, how many to carry and load."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from greaseroute.dose.cartridges import CartridgeRun, walk_cartridges
from greaseroute.dose.count import CartridgeCount
from greaseroute.rounds.team import bag
from greaseroute.site.crew import Gun, Technician
from greaseroute.site.model import Site
from greaseroute.units import ms
from greaseroute.visits.steps import UnitCall


@dataclass(frozen=True, slots=True)
class Carried:
    """One technician's cartridges: ``put_in`` per fitting, call by call, and their counts."""

    put_in: tuple[tuple[int, ...], ...]
    counts: Mapping[str, CartridgeCount]


def carried(calls: Sequence[UnitCall], site: Site) -> Carried:
    """Walk the fittings of ``calls`` in order, cartridges changed as a technician would."""
    tasks = [(f.strokes, f.gun) for call in calls for f in call.fittings]
    run: CartridgeRun = walk_cartridges(tasks, guns=site.guns, greases=site.greases)
    rest = iter(run.put_in)
    put_in = tuple(tuple(next(rest) for _ in call.fittings) for call in calls)
    return Carried(put_in, run.counts)


def in_the_bag(
    counts: Mapping[str, CartridgeCount], technician: Technician, site: Site
) -> dict[str, CartridgeCount]:
    """Counts with as much of each reserve as a bag holds beside what is put in on one trip.

    A bag too small for every reserve keeps room for one cartridge to put in; the reserves fill the
    rest in the order of the site's greases.
    """
    spare = technician.bag_cartridges - bag(technician, site)
    found = dict(counts)
    for grease in site.greases:
        if grease.name in found:
            count = found[grease.name]
            reserve = min(count.reserve, spare)
            spare -= reserve
            found[grease.name] = count.model_copy(
                update={"reserve": reserve, "carry": count.used + reserve}
            )
    return found


def changes_ms(
    call: UnitCall, put_in: Sequence[int], *, guns: Mapping[str, Gun]
) -> tuple[int, ...]:
    """Time of the cartridge changes before each fitting of one unit."""
    pairs = zip(call.fittings, put_in, strict=True)
    return tuple(n * ms(guns[f.gun].change_s) for f, n in pairs)


def change_ms(call: UnitCall, put_in: Sequence[int], *, guns: Mapping[str, Gun]) -> int:
    """Time of the cartridge changes at one unit."""
    return sum(changes_ms(call, put_in, guns=guns))


def loads(
    calls: Sequence[UnitCall], put_in: Sequence[Sequence[int]], *, reloads: Sequence[int]
) -> list[dict[str, int]]:
    """Cartridges per grease taken at the start and at each reload.

    ``reloads`` are the numbers of the calls before which a store is visited, ascending.
    """
    bounds = [0, *reloads, len(calls)]
    return [_used(calls[a:b], put_in[a:b]) for a, b in pairwise(bounds)]


def _used(calls: Sequence[UnitCall], put_in: Sequence[Sequence[int]]) -> dict[str, int]:
    used: Counter[str] = Counter()
    for call, numbers in zip(calls, put_in, strict=True):
        for fitting, n in zip(call.fittings, numbers, strict=True):
            used[fitting.grease] += n
    return {grease: n for grease, n in sorted(used.items()) if n}


def added_up(counts: Sequence[Mapping[str, CartridgeCount]]) -> dict[str, CartridgeCount]:
    """Counts of a whole crew: everything added up, the reserve of a grease per technician."""
    total: dict[str, CartridgeCount] = {}
    for grease in sorted({g for each in counts for g in each}):
        mine = [each[grease] for each in counts if grease in each]
        total[grease] = CartridgeCount(
            carry=sum(c.carry for c in mine),
            used=sum(c.used for c in mine),
            reserve=sum(c.reserve for c in mine),
            strokes=sum(c.strokes for c in mine),
            grams=round(sum(c.grams for c in mine), 6),
        )
    return total
