"""Random yards for the safety officer's checks: machines close together, ground of every kind."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
from shapely.geometry import Point, box

from greaseroute.rounds.planner import plan_round
from greaseroute.rounds.request import Effort, RoundRequest
from greaseroute.site.crew import WorkingRules
from greaseroute.site.ground_plan import Area
from greaseroute.site.people import Person
from tests.rounds.yards import AT, GUNS, some_work, technician, unit, yard
from tests.yard_checks import findings

KINDS = (
    *("crawler-excavator-22t", "crawler-excavator-22t", "wheel-loader-20t", "grader-18t"),
    *("articulated-dumper-30t", "crawler-dozer-20t", "mini-excavator-6t"),
)
THINGS = ("stockpile", "quarry face", "pond", "rail siding", "building", "")


def random_site(seed):
    """One or two technicians, two to four machines, none to three people, ground round them."""
    rng = np.random.default_rng(900 + seed)
    units = [
        unit(k, str(rng.choice(KINDS)), x, y, heading_deg=float(rng.integers(0, 360)))
        for k, (x, y) in enumerate(_spots(rng, int(rng.integers(2, 5))))
    ]
    people = tuple(
        Person(name=f"P{k}", on_site_from=f"04:{int(rng.integers(0, 50)):02}",
               on_site_to=f"0{int(rng.integers(5, 9))}:30",
               operates=() if rng.random() < 0.6 else ("excavator", "loader"))
        for k in range(int(rng.integers(0, 4)))
    )  # fmt: skip
    guns = (*GUNS, *(g.model_copy(update={"name": f"{g.name} 2"}) for g in GUNS))
    crew = [technician()]
    if rng.random() < 0.5:
        crew.append(technician("Bo", guns=("lever 2", "second 2")))
    rules = WorkingRules(posture_moves=bool(rng.random() < 0.8),
                         posture_move_min=float(rng.choice([1.0, 3.0])))  # fmt: skip
    site = yard(_leaving(units, seed), rules=rules, technicians=crew, guns=guns, people=people)
    return replace(site, ground=_ground(site.ground, units, rng, seed)), rng


def _leaving(units, seed):
    """The same, with some that leave from a few minutes to two hours after the begin."""
    rng = np.random.default_rng(5900 + seed)
    return [
        u.model_copy(update={"parked_to": AT + timedelta(minutes=int(rng.integers(8, 120)))})
        if rng.random() < 0.4
        else u
        for u in units
    ]


def _spots(rng, count):
    """Places 6 to 25 m apart: some too near to slew, some not."""
    found = [(60.0, 60.0)]
    while len(found) < count:
        x, y = found[int(rng.integers(0, len(found)))]
        angle, far_m = rng.uniform(0, 2 * np.pi), rng.uniform(9.5, 26)
        spot = (x + far_m * np.cos(angle), y + far_m * np.sin(angle))
        if all(np.hypot(spot[0] - a, spot[1] - b) > 9.5 for a, b in found):
            found.append(spot)
    return [(float(np.clip(x, 15, 145)), float(np.clip(y, 15, 105))) for x, y in found]


def _ground(plan, units, rng, seed):
    areas = []
    for number in range(int(rng.integers(2, 7))):
        x, y = rng.uniform(8, 150), rng.uniform(8, 110)
        shape = box(x, y, x + rng.uniform(2, 10), y + rng.uniform(2, 10))
        near = min(shape.distance(Point(u.x_m, u.y_m)) for u in units)
        if near < 9 or shape.distance(Point(2, 2)) < 6 or shape.distance(Point(158, 2)) < 6:
            continue
        role = "no_go" if rng.random() < 0.25 else "obstacle"
        areas.append(Area(f"{role} {number}", role, shape, kind=str(rng.choice(THINGS))))
    obstacles = tuple(a for a in areas if a.role == "obstacle")
    zones = tuple(a for a in areas if a.role == "no_go")
    road = Area("haul road", "haul_road", box(0, 114, 160, 120))
    roads = (road,) if seed % 3 else ()
    return replace(plan, obstacles=obstacles, no_go=zones, haul_roads=roads)


def checked(seed):
    """What is found on one random yard, and its plan."""
    site, rng = random_site(seed)
    rings = [(u.unit, "slew ring") for u in site.units if "excavator" in u.type]
    work = dict.fromkeys([*some_work(site, rng, most=6), *rings])
    wish = RoundRequest(AT, list(work))
    plan = plan_round(site, wish, effort=Effort(1, iterations=1500, prove=False))
    return findings(site, plan), plan
