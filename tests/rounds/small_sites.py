"""Small sites of every kind for going through every order: made in memory, from a seed alone.

``alone_site`` is for one technician and up to 7 units, ``pair_site`` for two, windows and up to 5.
Cartridge changes take no time there (``change_s`` 0): how many there are hangs on where each one
runs out. ``clock_site`` is for what hangs on the clock: changes that take time, guns part used,
bags of few cartridges, windows, zones and crossings with hours, technicians who start late.
"""

from dataclasses import dataclass, replace
from datetime import time, timedelta

import numpy as np
from shapely.geometry import LineString, Point, box

from greaseroute.plan.round import RoundPlan
from greaseroute.rounds.planner import plan_round
from greaseroute.rounds.prepare import prepare
from greaseroute.rounds.request import RoundRequest
from greaseroute.site.crew import WorkingRules
from greaseroute.site.ground_plan import Area, Barrier, Gate, Hours, Place
from greaseroute.site.model import Site
from greaseroute.site.reach import Reach
from tests.rounds.every_order import Best, best_plan, of_plan
from tests.rounds.every_way import best_by_the_clock
from tests.rounds.yards import AT, GUNS, KINDS, random_yard, some_work, technician

MORE_KINDS = (*KINDS, "crawler-excavator-22t", "skid-steer-loader-3t", "single-drum-roller-12t")
WIDTH_M, HEIGHT_M = 160.0, 120.0


@dataclass(frozen=True, slots=True, eq=False)
class SmallSite:
    """A site and what is to be done there; ``kind`` says in a few words what is special."""

    site: Site
    wish: RoundRequest
    kind: str


def alone_site(seed: int, *, windows: bool = False) -> SmallSite:
    """One technician and 1 to 7 units, with ``windows`` some that stand for a while only."""
    rng = np.random.default_rng(seed)
    site = _yard(rng, 1 + seed % 7, crew=(technician(speed_m_s=float(rng.choice([1.0, 1.2]))),))
    site, kind = _with_ground(site, rng, number=seed // 7)
    if windows:
        site, kind = _with_windows(site, rng, share=0.4), f"{kind}, windows"
    return SmallSite(site, RoundRequest(AT, some_work(site, rng)), kind)


def pair_site(seed: int) -> SmallSite:
    """Two technicians and 1 to 5 units with windows; small bags, two paces, two reaches."""
    rng = np.random.default_rng(10_000 + seed)
    changes = _second_technician(rng, number=seed // 5)
    crew = (technician(), technician("Bo", finish="gate", **changes))
    site = _yard(rng, 1 + seed % 5, crew=crew)
    site, kind = _with_ground(site, rng, number=seed // 15)
    site = _with_windows(site, rng, share=0.6)
    kind += f", second technician {', '.join(changes) or 'alike'}"
    if seed % 4 == 3:
        site, kind = _with_small_bags(site, rng), f"{kind}, small bags"
    minutes = float(rng.choice([40, 60, 150]))
    wish = RoundRequest(AT, some_work(site, rng), finish_by=AT + timedelta(minutes=minutes))
    return SmallSite(site, wish, kind)


def clock_site(seed: int) -> SmallSite:
    """One or two technicians and 1 to 5 units, by the clock."""
    rng = np.random.default_rng(50_000 + seed)
    crew = (technician(),)
    if seed % 3 == 2:
        changes = _second_technician(rng, number=seed // 3)
        crew = (technician(), technician("Bo", finish="gate", **changes))
    site = random_yard(rng, 1 + seed % (4 if len(crew) == 2 else 5), kinds=MORE_KINDS,
                       technicians=crew)  # fmt: skip
    site, kind = _with_ground(site, rng, number=seed // 5)
    if seed % 2:
        site, kind = _with_zones(site, rng), f"{kind}, zones with hours"
    site = _with_windows(site, rng, share=0.4)
    guns = tuple(
        g.model_copy(update={
            "change_s": float(rng.choice([40.0, 90.0, 200.0])),
            "left_strokes": int(rng.integers(0, 25)),
        })
        for g in site.guns
    )  # fmt: skip
    size_g = float(rng.choice([20.0, 45.0, 120.0]))
    greases = tuple(g.model_copy(update={"cartridge_g": size_g}) for g in site.greases)
    bag = int(rng.choice([3, 5, 40]))
    crew = tuple(t.model_copy(update={"bag_cartridges": bag}) for t in site.technicians)
    site = replace(site, guns=guns, greases=greases, technicians=crew)
    minutes = float(rng.choice([25, 60, 150]))
    wish = RoundRequest(AT, some_work(site, rng), finish_by=AT + timedelta(minutes=minutes))
    return SmallSite(site, wish, f"{kind}, {size_g:g} g, bag {bag}, {len(crew)} technicians")


def _with_zones(site: Site, rng: np.random.Generator) -> Site:
    """Two zones across the yard that are shut in turn, for some minutes each."""
    y, first = float(rng.choice([38, 78])), int(rng.integers(3, 25))
    long = int(rng.integers(2, 15))
    zones = tuple(
        Area(name, "no_go", box(x, y, x + WIDTH_M / 2, y + 4.0),
             hours=(Hours(time(4, minute), time(4, minute + long)),))
        for name, x, minute in (("west", 0.0, first), ("east", WIDTH_M / 2, first + long))
    )  # fmt: skip
    return replace(site, ground=replace(site.ground, no_go=(*site.ground.no_go, *zones)))


def by_the_clock(small: SmallSite) -> tuple[RoundPlan, Best, Best]:
    """The plan of a small site, what it comes to, and the best there is by the clock."""
    wish = small.wish
    plan = plan_round(small.site, RoundRequest(wish.at, work=wish.work, finish_by=wish.finish_by))
    ready = prepare(small.site, wish, progress=lambda text: None)
    return plan, of_plan(plan, ready), best_by_the_clock(ready)


def compared(small: SmallSite) -> tuple[Best, Best]:
    """What the plan of a small site comes to, and the best there is."""
    wish = small.wish
    plan = plan_round(small.site, RoundRequest(wish.at, work=wish.work, finish_by=wish.finish_by))
    ready = prepare(small.site, wish, progress=lambda text: None)
    return of_plan(plan, ready), best_plan(ready)


def _yard(rng: np.random.Generator, count: int, *, crew) -> Site:
    guns = tuple(g.model_copy(update={"change_s": 0.0}) for g in GUNS)
    return random_yard(rng, count, kinds=MORE_KINDS, technicians=crew, guns=guns)


def _second_technician(rng: np.random.Generator, *, number: int) -> dict[str, object]:
    """Alike, quicker, shorter of arm, later, or with one gun only."""
    return (
        {},
        {"speed_m_s": 1.4},
        {"reach": Reach(arm_m=0.5, overhead_to_m=1.7)},
        {"starts_at": "04:10"},
        {"guns": ("lever",), "speed_m_s": float(rng.choice([1.0, 1.3]))},
    )[number % 5]


def _with_windows(site: Site, rng: np.random.Generator, *, share: float) -> Site:
    """Some units come late, some leave early, some both."""
    units = []
    for unit in site.units:
        if rng.random() < share:
            come, stay = rng.integers(0, 35), rng.integers(15, 60)
            window = {
                "parked_from": AT + timedelta(minutes=int(come)),
                "parked_to": AT + timedelta(minutes=int(come + stay)),
            }
            for name in rng.permutation(list(window))[: int(rng.integers(0, 2))]:
                del window[str(name)]
            unit = unit.model_copy(update=window)
        units.append(unit)
    return replace(site, units=tuple(units))


def _with_small_bags(site: Site, rng: np.random.Generator) -> Site:
    """Guns empty, small cartridges, bags of three or four (two are kept in reserve), two stores."""
    guns = tuple(g.model_copy(update={"left_strokes": 0}) for g in site.guns)
    greases = tuple(g.model_copy(update={"cartridge_g": 60.0}) for g in site.greases)
    size = int(rng.integers(3, 5))
    crew = tuple(t.model_copy(update={"bag_cartridges": size}) for t in site.technicians)
    store = Place("far store", "store", Point(WIDTH_M - 3, HEIGHT_M - 3))
    ground = replace(site.ground, places=(*site.ground.places, store))
    return replace(site, guns=guns, greases=greases, technicians=crew, ground=ground)


def _with_ground(site: Site, rng: np.random.Generator, *, number: int) -> tuple[Site, str]:
    """One of seven kinds of ground and rules, by number."""
    makers = (_plain, _road, _fence, _mud, _hill, _postures, _shut)
    return makers[number % len(makers)](site, rng)


def _plain(site: Site, rng: np.random.Generator) -> tuple[Site, str]:
    return site, "heaps"


def _road(site: Site, rng: np.random.Generator) -> tuple[Site, str]:
    """A haul road between two columns, with a crossing at which one waits."""
    x, y = float(rng.choice([40, 80, 120])), float(rng.uniform(5, HEIGHT_M - 5))
    road = Area("main road", "haul_road", box(x - 1.5, 0, x + 1.5, HEIGHT_M))
    crossing = Area(
        "crossing", "crossing", box(x - 3, y - 1.5, x + 3, y + 1.5),
        wait_s=float(rng.choice([0, 15, 40])),
    )  # fmt: skip
    ground = replace(site.ground, obstacles=(), haul_roads=(road,), crossings=(crossing,))
    return replace(site, ground=ground), "haul road"


def _fence(site: Site, rng: np.random.Generator) -> tuple[Site, str]:
    """A fence between two rows; the gate is missing now and then."""
    y, x = float(rng.choice([40, 80])), float(rng.uniform(5, WIDTH_M - 5))
    line = Barrier("fence", LineString([(0, y), (WIDTH_M, y)]))
    gate = Gate("gate of the fence", LineString([(x - 1, y), (x + 1, y)]))
    gates = (gate,) if rng.random() < 0.85 else ()
    ground = replace(site.ground, obstacles=(), barriers=(line,), gates=gates)
    return replace(site, ground=ground), "fence"


def _mud(site: Site, rng: np.random.Generator) -> tuple[Site, str]:
    """Slow ground across the middle."""
    y = float(rng.uniform(20, 60))
    mud = Area("mud", "slow_ground", box(20, y, 140, y + 25), time_factor=1.8)
    return replace(site, ground=replace(site.ground, slow_ground=(mud,))), "slow ground"


def _hill(site: Site, rng: np.random.Generator) -> tuple[Site, str]:
    """Spot heights: a hill somewhere."""
    top = rng.uniform(30, 90, 2)
    heights = tuple(
        (x, y, 8.0 * float(np.exp(-((x - top[0]) ** 2 + (y - top[1]) ** 2) / 1500.0)))
        for x in np.linspace(0, WIDTH_M, 5).tolist()
        for y in np.linspace(0, HEIGHT_M, 4).tolist()
    )
    return replace(site, ground=replace(site.ground, spot_heights=heights)), "slope"


def _postures(site: Site, rng: np.random.Generator) -> tuple[Site, str]:
    """Units may be asked for another posture."""
    rules = WorkingRules(posture_moves=True, posture_move_min=float(rng.choice([0.5, 3.0])))
    return replace(site, rules=rules), "posture moves"


def _shut(site: Site, rng: np.random.Generator) -> tuple[Site, str]:
    """A road whose near crossing is shut for ten minutes of the morning; the far one is not."""
    site, _ = _road(site, rng)
    (road,), (near,) = site.ground.haul_roads, site.ground.crossings
    x = road.polygon.centroid.x
    minute = int(rng.integers(5, 30))
    hours = (Hours(time(4, minute), time(4, minute + 10)),)
    y = HEIGHT_M - 4 if near.polygon.centroid.y < HEIGHT_M / 2 else 4.0
    far = Area("far crossing", "crossing", box(x - 3, y - 1.5, x + 3, y + 1.5), wait_s=5.0)
    crossings = (replace(near, hours=hours), far)
    return replace(site, ground=replace(site.ground, crossings=crossings)), "crossing shut a while"
