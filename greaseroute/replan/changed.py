"""What a new plan changes for each technician of a round under way, in one sentence each."""

from collections.abc import Iterator, Mapping, Sequence

from greaseroute.plan.round import RoundPlan
from greaseroute.plan.words import listed

Orders = Mapping[str, Sequence[str]]


def changed(now: RoundPlan, earlier: RoundPlan) -> tuple[str, ...]:
    """``Oda: WL-01 goes to Jarle, DZ-04 comes from Jarle, the order of the rest is kept.``

    One sentence for each technician of the new plan, in its order. What is no longer planned
    because it is done is no change; what fell out for a reason is (``left`` of the new plan).
    """
    orders, before = _orders(now), _orders(earlier)
    return tuple(f"{name}: {_told(name, orders, before, plan=now)}." for name in orders)


def _orders(plan: RoundPlan) -> dict[str, list[str]]:
    return {t.name: [s.unit for s in t.stops if not s.reload] for t in plan.technicians}


def _told(name: str, orders: Orders, before: Orders, *, plan: RoundPlan) -> str:
    own, had = list(orders[name]), list(before.get(name, ()))
    common = [unit for unit in own if unit in had]
    parts = [*_moves(own, had, orders=orders, before=before), *_fallen(had, plan, orders)]
    kept = common == [unit for unit in had if unit in common]
    parts.append("the order of the rest is kept" if kept else "the order of the rest is another")
    return listed(parts) if len(parts) > 1 or not kept else "nothing changes, the rest is as it was"


def _moves(
    own: Sequence[str], had: Sequence[str], *, orders: Orders, before: Orders
) -> Iterator[str]:
    """What goes to somebody else, what comes from somebody else or anew."""
    for unit in had:
        taker = next((n for n, row in orders.items() if unit in row), "")
        if unit not in own and taker:
            yield f"{unit} goes to {taker}"
    for unit in own:
        giver = next((n for n, row in before.items() if unit in row), "")
        if unit not in had:
            yield f"{unit} comes from {giver}" if giver else f"{unit} is new"


def _fallen(had: Sequence[str], plan: RoundPlan, orders: Orders) -> Iterator[str]:
    """Units that fell out for a reason."""
    left = {item.unit for item in plan.left}
    planned = {unit for row in orders.values() for unit in row}
    return (f"{unit} falls out" for unit in had if unit in left and unit not in planned)
