"""A small yard with one of everything that a plan can get wrong, made in memory.

Three machines in a row west of a haul road, two east of it; one crossing with a wait, shut for a
while; a fence with a gate, mud, a slope, a window, two technicians with guns of their own, one of
them with a bag so small that he has to go back to the store.
"""

from dataclasses import replace
from datetime import time, timedelta
from functools import cache

from shapely.geometry import LineString, Point, box

from greaseroute.audit.basis import Basis
from greaseroute.audit.certificate import route_time_s
from greaseroute.plan.round import Bound, RoundPlan
from greaseroute.rounds.planner import plan_round
from greaseroute.rounds.request import Effort, RoundRequest
from greaseroute.site.crew import Gun, WorkingRules
from greaseroute.site.ground_plan import Area, Barrier, Gate, Hours, Place
from greaseroute.site.model import Site
from tests.rounds.yards import AT, GREASES, technician, unit, yard

GUNS = (
    Gun(name="lever A", grease="plain", stroke_cm3=1.4, left_strokes=40),
    Gun(name="second A", grease="moly", stroke_cm3=1.4, left_strokes=200),
    Gun(name="lever B", grease="plain", stroke_cm3=1.2, left_strokes=20),
    Gun(name="second B", grease="moly", ten_strokes_g=11.0, left_strokes=20),
)
CREW = (
    technician("Ada", guns=("lever A", "second A"), bag_cartridges=12),
    technician("Bo", guns=("lever B", "second B"), bag_cartridges=4, finish="gate"),
)
UNITS = (
    unit(1, "crawler-excavator-22t", 20, 30, posture="greasing"),
    unit(2, "crawler-dozer-12t", 50, 30, heading_deg=90.0),
    unit(3, "wheel-loader-20t", 20, 80, parked_from=AT + timedelta(minutes=25)),
    unit(4, "articulated-dumper-30t", 110, 30, parked_to=AT + timedelta(minutes=80)),
    unit(5, "crawler-excavator-22t", 120, 85, heading_deg=200.0),
)


def _ground(site: Site) -> Site:
    """The yard with road, crossings, fence, mud and slope."""
    road = Area("main road", "haul_road", box(76, 0, 84, 120))
    near = Area(
        "near crossing", "crossing", box(74, 40, 86, 44), wait_s=20.0,
        hours=(Hours(time(4, 10), time(4, 20)),),
    )  # fmt: skip
    far = Area("far crossing", "crossing", box(74, 110, 86, 114), wait_s=5.0)
    zone = Area(
        "stockyard", "no_go", box(95, 45, 105, 75), hours=(Hours(time(4, 30), time(4, 45)),)
    )
    mud = Area("mud", "slow_ground", box(30, 45, 70, 60), time_factor=1.8)
    fence = Barrier("fence", LineString([(0, 62), (76, 62)]))
    ground = replace(
        site.ground,
        obstacles=(Area("shed", "obstacle", box(30, 5, 40, 12), kind="building"),),
        no_go=(zone,),
        haul_roads=(road,),
        crossings=(near, far),
        slow_ground=(mud,),
        barriers=(fence,),
        gates=(Gate("gate of the fence", LineString([(44, 62), (47, 62)])),),
        places=(*site.ground.places, Place("cabin", "store", Point(90, 60))),
        spot_heights=((0, 0, 0), (160, 0, 2), (0, 120, 5), (160, 120, 9), (80, 60, 3)),
    )
    return replace(site, ground=ground)


@cache
def full_yard() -> Site:
    """The yard."""
    greases = tuple(
        g.model_copy(update={"cartridge_g": 60.0, "reserve_cartridges": 1}) for g in GREASES
    )
    rules = WorkingRules(posture_moves=True, posture_move_min=2.0)
    plain = yard(UNITS, technicians=CREW, rules=rules, guns=GUNS, greases=greases)
    return _ground(replace(plain, shift_start="06:30"))


@cache
def full_plan() -> RoundPlan:
    """A round on it, with look points; its bound is made up, a tenth below its own clock."""
    request = RoundRequest(AT, with_looks=True)
    plan = plan_round(full_yard(), request, effort=Effort(1, iterations=3000, prove=False))
    basis = Basis(full_yard(), plan)
    value_s = route_time_s(plan, basis.clock)
    bound = Bound(lower_s=0.9 * value_s, value_s=value_s, gap_pct=10.0, what="made up")
    return plan.model_copy(update={"bound": bound})
