"""One sentence a technician: what goes, what comes, what falls out, whether the order is kept."""

from greaseroute.replan.changed import changed
from tests.cards import sample


def plan_of(orders, *, left=()):
    """A plan that visits units in these orders, made of the sample's stops."""
    base = sample.plan()
    stops = {s.unit: s for s in base.technicians[0].stops}
    walks = tuple(
        base.technicians[0].model_copy(
            update={"name": name, "stops": tuple(stops[unit] for unit in row)}
        )
        for name, row in orders.items()
    )
    out = tuple(base.left[0].model_copy(update={"unit": unit}) for unit in left)
    return base.model_copy(update={"technicians": walks, "left": out})


UNITS = [s.unit for s in sample.plan().technicians[0].stops if not s.reload]
A, B, C, D, E = UNITS


def test_what_is_done_is_no_change():
    now, earlier = plan_of({"Ada": [B, C], "Bo": [E]}), plan_of({"Ada": [A, B, C], "Bo": [D, E]})
    assert changed(now, earlier) == (
        "Ada: nothing changes, the rest is as it was.",
        "Bo: nothing changes, the rest is as it was.",
    )


def test_what_goes_to_somebody_else_is_told_to_both():
    earlier = plan_of({"Ada": [A, B, C], "Bo": [D, E]})
    assert changed(plan_of({"Ada": [A, C], "Bo": [D, B, E]}), earlier) == (
        f"Ada: {B} goes to Bo and the order of the rest is kept.",
        f"Bo: {B} comes from Ada and the order of the rest is kept.",
    )


def test_another_order_and_what_falls_out():
    earlier = plan_of({"Ada": [A, B, C], "Bo": [D, E]})
    assert changed(plan_of({"Ada": [C, A], "Bo": [D, E]}, left=[B]), earlier)[0] == (
        f"Ada: {B} falls out and the order of the rest is another."
    )
