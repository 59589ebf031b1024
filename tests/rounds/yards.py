"""Small sites made in memory: shelf machines on a rectangle, in rows, with what is due told."""

from datetime import datetime
from zoneinfo import ZoneInfo

from shapely.geometry import Point, box

from greaseroute.catalogue.shelf import shelf_type
from greaseroute.site.crew import Grease, Gun, Technician, WorkingRules
from greaseroute.site.fleet import Unit
from greaseroute.site.ground_plan import Area, GroundPlan, Place
from greaseroute.site.model import Site
from greaseroute.site.people import Person

AT = datetime(2031, 3, 4, 4, 0, tzinfo=ZoneInfo("UTC"))
KINDS = ("wheel-loader-20t", "articulated-dumper-30t", "crawler-dozer-20t", "grader-18t")
GREASES = (
    Grease(name="plain", nlgi="2", thickener="lithium complex"),
    Grease(name="moly", nlgi="2", thickener="lithium complex", moly=True),
)
GUNS = (
    Gun(name="lever", grease="plain", stroke_cm3=1.4, left_strokes=200),
    Gun(name="second", grease="moly", stroke_cm3=1.4, left_strokes=200),
)


EVERYBODY = (Person(name="mate", on_site_from="00:00", on_site_to="00:00", at_once=9),)


def technician(name="Ada", **changes):
    values = {"name": name, "start": "store", "finish": "store", "guns": ("lever", "second")}
    return Technician(**{**values, "bag_cartridges": 40, **changes})


def unit(number, kind, x_m, y_m, **changes):
    values = {"unit": f"U-{number}", "type": kind, "x_m": x_m, "y_m": y_m, "heading_deg": 0.0}
    return Unit(**{**values, "meter_h": 1000.0, **changes})


def yard(units, *, technicians=None, rules=None, areas=(), width=160.0, height=120.0, **changes):
    crew = technicians or (technician(),)
    ground = GroundPlan(
        boundary=box(0, 0, width, height),
        obstacles=tuple(Area(f"heap {k}", "obstacle", area) for k, area in enumerate(areas)),
        places=(Place("store", "store", Point(2, 2)), Place("gate", "finish", Point(width - 2, 2))),
    )
    values = {
        "name": "Yard",
        "time_zone": "UTC",
        "coordinates": "local metres",
        "shift_start": "11:00",
        "round_start": "04:00",
        "rules": rules or WorkingRules(posture_moves=False),
        "greases": GREASES,
        "guns": GUNS,
        "technicians": tuple(crew),
        "severities": (),
        "ground": ground,
        "units": tuple(units),
        "people": EVERYBODY,
        "types": {u.type: shelf_type(u.type) for u in units},
    }
    return Site(**{**values, **changes})


def random_yard(rng, count, *, kinds=KINDS, **changes):
    """``count`` machines in cells of 40 m, turned at random, with heaps between some of them."""
    cells = rng.permutation(12)[:count]
    units = [
        unit(
            k,
            kinds[int(rng.integers(0, len(kinds)))],
            20.0 + 40.0 * float(cell % 4) + float(rng.uniform(-3, 3)),
            20.0 + 40.0 * float(cell // 4) + float(rng.uniform(-3, 3)),
            heading_deg=float(rng.integers(0, 360)),
        )
        for k, cell in enumerate(cells)
    ]
    heaps = [
        box(x - 2, y - 6, x + 2, y + 6)
        for x, y in [(40, 40), (80, 40), (120, 40), (40, 80), (80, 80), (120, 80)]
        if rng.random() < 0.6
    ]
    return yard(units, areas=heaps, **changes)


def some_work(site, rng, most=3):
    """Up to ``most`` joints of each unit, picked at random, as (unit, joint)."""
    chosen = []
    for each in site.units:
        joints = [j.name for j in site.types[each.type].joints if not (j.never_pump or j.central)]
        picked = rng.permutation(len(joints))[: int(rng.integers(1, most + 1))]
        chosen += [(each.unit, joints[int(k)]) for k in sorted(picked)]
    return chosen
