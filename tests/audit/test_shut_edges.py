"""A walk along the very edge of what is shut is neither in it nor idle in front of it."""

from types import SimpleNamespace

from shapely.geometry import box

from greaseroute.audit.ground import ShutForHours
from greaseroute.audit.tracks import Track, Walked

# Along the northern edge of a crossing that is shut, then down over it.
LINE = ((0.0, 10.0), (5.0, 10.0), (9.0, 10.0), (12.0, 5.0))


def walked() -> Walked:
    shut = ShutForHours("crossing", box(5.0, 0.0, 15.0, 10.0), ((0, 1000),))
    plan = SimpleNamespace(slow_ground=(), spot_heights=())
    rules = SimpleNamespace(walking_speed_m_s=1.0)
    basis = SimpleNamespace(site=SimpleNamespace(ground=plan, rules=rules), walkers=(None,))
    ground = SimpleNamespace(by_the_clock=(shut,), passages=())
    return Walked(basis, ground, (Track(0, 0, -1, LINE),))


def shut_m(*, to_the_edge: bool) -> float:
    steps = walked().steps(0, to_the_edge=to_the_edge)
    return sum(step.walk_s for step in steps if step.shut)


def test_along_the_edge_is_not_inside():
    assert shut_m(to_the_edge=False) == (9 + 25) ** 0.5


def test_along_the_edge_one_may_have_to_wait():
    assert shut_m(to_the_edge=True) == 4.0 + (9 + 25) ** 0.5
