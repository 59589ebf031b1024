"""A small site in memory and a plan for it: two kinds of machine, every mark a map can carry.

The plan is written down, not computed: stands lie 1 m out from each fitting's side, legs are
straight. It is there to be drawn, not to be walked.
"""

import math
from datetime import datetime, time, timedelta, timezone

from shapely.geometry import LineString, Point, Polygon, box

from greaseroute.catalogue.machine_type import MachineType
from greaseroute.plan.round import (
    Bound,
    CartridgeCount,
    FittingTask,
    LeftOut,
    LookedAt,
    LookTask,
    RoundPlan,
    StandVisit,
    StepTask,
    Stop,
    TechnicianPlan,
)
from greaseroute.site.crew import Grease, Gun, Technician, WorkingRules
from greaseroute.site.fleet import Unit
from greaseroute.site.ground_plan import Area, Barrier, Gate, GroundPlan, Hours, Place
from greaseroute.site.model import Site
from greaseroute.site.placed_units import placed_unit

START = datetime(2031, 3, 4, 5, 30, tzinfo=timezone(timedelta(hours=1)))


def _solid(name: str, low: tuple, high: tuple) -> dict:
    return {"name": name, "box_m": (low, high)}


def _pin(name: str, links: tuple, fittings: list, **more: object) -> dict:
    about = {"dose": {"cm3": (4, 6)}, "interval": {"hours": 10}, "grease": {"nlgi": ("2",)}}
    return {"name": name, "links": links, "fittings": fittings, **about, **more}


def _fitting(name: str, link: str, position: tuple) -> dict:
    return {"name": name, "link": link, "position_m": position}


def digger() -> MachineType:
    """A crawler excavator reduced to boxes, without cylinders."""
    boom = ((0, -0.3), (0, 0.3), (2.4, 1.2), (5.2, 0.2), (5.2, -0.2), (2.4, 0.6))
    return MachineType.model_validate(
        {
            "name": "sample-digger",
            "family": "excavator",
            "title": "sample digger",
            "origin": "made up for tests",
            "operating_mass_kg": 20000,
            "links": [
                {
                    "name": "undercarriage",
                    "solids": [
                        _solid("left track", (-2.0, 0.9, 0.0), (2.0, 1.5, 0.9)),
                        _solid("right track", (-2.0, -1.5, 0.0), (2.0, -0.9, 0.9)),
                        _solid("frame", (-0.7, -0.9, 0.4), (0.7, 0.9, 0.9)),
                    ],
                },
                {
                    "name": "upperstructure",
                    "parent": "undercarriage",
                    "pivot_m": (0, 0, 1.0),
                    "axis": "slew",
                    "solids": [
                        _solid("house", (-2.6, -1.3, 0.1), (1.2, 1.3, 1.3)),
                        _solid("cab", (0.1, 0.4, 0.2), (1.6, 1.3, 1.9)),
                    ],
                },
                {
                    "name": "boom",
                    "parent": "upperstructure",
                    "pivot_m": (0.6, 0, 0.7),
                    "axis": "pitch",
                    "on_oil": True,
                    "solids": [{"name": "boom", "profile_m": boom, "y_m": (-0.3, 0.3)}],
                },
                {
                    "name": "arm",
                    "parent": "boom",
                    "pivot_m": (5.2, 0, 0),
                    "axis": "pitch",
                    "on_oil": True,
                    "solids": [
                        {
                            "name": "arm",
                            "profile_m": ((-0.5, 0.3), (0, -0.3), (2.6, -0.1), (2.6, 0.15)),
                            "y_m": (-0.2, 0.2),
                        }
                    ],
                },
                {
                    "name": "bucket",
                    "parent": "arm",
                    "pivot_m": (2.6, 0, 0),
                    "axis": "pitch",
                    "on_oil": True,
                    "solids": [
                        {
                            "name": "bucket",
                            "profile_m": ((0, 0.3), (0.9, 0.4), (1.2, -0.3), (0.5, -0.7)),
                            "y_m": (-0.6, 0.6),
                        }
                    ],
                },
            ],
            "postures": [
                {
                    "name": "parked",
                    "title": "bucket on the ground",
                    "angles_deg": {"boom": 10, "arm": -75, "bucket": -10},
                }
            ],
            "joints": [
                _pin(
                    "boom root",
                    ("upperstructure", "boom"),
                    [
                        _fitting("left", "boom", (0, 0.3, 0)),
                        _fitting("right", "boom", (0, -0.3, 0)),
                    ],
                    critical=3,
                ),
                _pin("boom to arm", ("boom", "arm"), [_fitting("pin", "arm", (0, 0.2, 0))]),
                _pin("arm to bucket", ("arm", "bucket"), [_fitting("pin", "bucket", (0, 0.6, 0))]),
                {
                    "name": "track tension",
                    "kind": "track tension",
                    "links": ("undercarriage", "undercarriage"),
                    "fittings": [
                        _fitting("left", "undercarriage", (1.2, 1.5, 0.5)),
                        _fitting("right", "undercarriage", (1.2, -1.5, 0.5)),
                    ],
                    "never_pump": True,
                },
            ],
            "cautions": ("STOP", "TRACK"),
        }
    )


def hauler() -> MachineType:
    """A wheeled carrier with a body that sits on its rear frame."""
    wheels = [
        _solid(f"wheel {end} {side}", (x - 0.7, y - 0.25, 0), (x + 0.7, y + 0.25, 1.4))
        for end, x in (("front", 3.2), ("rear", -1.8))
        for side, y in (("left", 1.1), ("right", -1.1))
    ]
    return MachineType.model_validate(
        {
            "name": "sample-hauler",
            "family": "dumper",
            "title": "sample hauler",
            "origin": "made up for tests",
            "operating_mass_kg": 24000,
            "links": [
                {
                    "name": "chassis",
                    "solids": [
                        _solid("beam", (-3, -0.5, 0.8), (4.2, 0.5, 1.3)),
                        _solid("cab", (2.4, -1.1, 1.2), (4.4, 1.1, 2.9)),
                        *wheels,
                    ],
                },
                {
                    "name": "body",
                    "parent": "chassis",
                    "pivot_m": (-2.8, 0, 1.4),
                    "axis": "pitch",
                    "solids": [_solid("body", (-0.6, -1.3, 0), (4.6, 1.3, 1.5))],
                },
            ],
            "postures": [{"name": "parked", "title": "body down", "angles_deg": {"body": 0}}],
            "joints": [
                _pin(
                    "body pivot",
                    ("chassis", "body"),
                    [
                        _fitting("left", "chassis", (-2.8, 1.0, 1.4)),
                        _fitting("right", "chassis", (-2.8, -1.0, 1.4)),
                    ],
                ),
                _pin(
                    "steering pivot",
                    ("chassis", "chassis"),
                    [_fitting("pin", "chassis", (2.2, 0.5, 1.0))],
                ),
            ],
        }
    )


def ground() -> GroundPlan:
    """A yard 200 m by 120 m with one of everything."""
    return GroundPlan(
        boundary=box(0, 0, 200, 120),
        obstacles=(
            Area("stockpile", "obstacle", Point(60, 80).buffer(14)),
            Area("pond", "obstacle", Polygon([(150, 15), (185, 12), (190, 35), (155, 40)])),
        ),
        no_go=(Area("blast", "no_go", box(10, 95, 45, 115), hours=(Hours(time(12), time(13)),)),),
        haul_roads=(Area("ramp", "haul_road", box(100, 0, 112, 120)),),
        crossings=(Area("north crossing", "crossing", box(98, 88, 114, 91), wait_s=20.0),),
        slow_ground=(Area("mud", "slow_ground", box(120, 60, 150, 85), time_factor=1.5),),
        barriers=(Barrier("fence", LineString([(112, 50), (200, 50)])),),
        gates=(Gate("yard gate", LineString([(140, 50), (144, 50)])),),
        places=(
            Place("store", "store", Point(6, 6)),
            Place("wash bay", "wash bay", Point(190, 110)),
        ),
    )


def site(*, name: str = "Sample yard", lonlat: tuple[float, float] | None = None) -> Site:
    """Six machines, one technician, one grease."""
    kinds = [digger(), hauler()]
    spots = [(30, 20), (60, 35), (85, 60), (130, 100), (165, 95), (150, 62)]
    units = [
        Unit(
            unit=f"{'EX' if k % 2 == 0 else 'HT'}-{k + 1:02d}",
            type=kinds[k % 2].name,
            x_m=x,
            y_m=y,
            heading_deg=50.0 * k,
            slew_deg=30.0 if k == 2 else 0.0,
            meter_h=1000.0 + k,
        )
        for k, (x, y) in enumerate(spots)
    ]
    return Site(
        name=name,
        time_zone="Etc/GMT-1",
        coordinates="lon/lat" if lonlat else "local metres",
        shift_start="07:00",
        round_start="05:30",
        rules=WorkingRules(),
        greases=(Grease(name="plain", nlgi="2", thickener="lithium complex"),),
        guns=(Gun(name="lever", grease="plain", stroke_cm3=1.2),),
        technicians=(Technician(name="Ada", start="store", finish="store", guns=("lever",)),),
        severities=(),
        ground=ground(),
        units=tuple(units),
        types={kind.name: kind for kind in kinds},
        origin_lonlat=lonlat,
    )


def _moment(minutes: float) -> str:
    return (START + timedelta(minutes=minutes)).isoformat()


def _stand(placed: object, fitting: object, *, number: int) -> StandVisit:
    x, y, _ = fitting.at_m
    dx, dy = x - placed.pose.x_m, y - placed.pose.y_m
    out = 1.0 / max(math.hypot(dx, dy), 1e-9)
    task = FittingTask(
        joint=fitting.joint.name,
        fitting=fitting.fitting.name,
        strokes=4,
        grease="plain",
        gun="lever",
        dose_cm3=4.0,
        cartridge_change=number == 1,
        put_in=1 if number == 1 else 0,
        at_m=fitting.at_m,
        band="stoop" if number % 3 == 0 else "stand",
        work_s=14.0,
        why="10 h interval, 12 h since the last",
    )
    look = LookTask(name="coolant", what="level between the marks", at_m=fitting.at_m, work_s=10)
    return StandVisit(
        x_m=x + dx * out,
        y_m=y + dy * out,
        posture="parked",
        before=("climb the left steps",) if number == 3 else (),
        fittings=(task,),
        looks=(look,) if number == 2 else (),
    )


def _stop(yard: Site, unit: Unit, *, minute: float, first: int, path: list) -> Stop:
    placed = placed_unit(yard, unit)
    wanted = [f for f in placed.fittings if not f.joint.never_pump]
    stands = tuple(_stand(placed, f, number=first + k) for k, f in enumerate(wanted))
    return Stop(
        unit=unit.unit,
        type=unit.type,
        arrive=_moment(minute),
        leave=_moment(minute + 6),
        isolation=("stop the engine", "take the key", "lock and tag"),
        isolation_s=120,
        cautions=placed.machine_type.cautions,
        path=tuple(path),
        inside=tuple((s.x_m, s.y_m) for s in stands),
        stands=stands,
    )


def _walk(yard: Site, technician: str, units: list) -> TechnicianPlan:
    at, stops, path, first = (6.0, 6.0), [], [(6.0, 6.0)], 1
    for k, unit in enumerate(units):
        stop = _stop(yard, unit, minute=3 + 9 * k, first=first, path=[at, (unit.x_m, unit.y_m)])
        first += len(stop.stands)
        path += list(stop.inside)
        at = stop.inside[-1]
        stops.append(stop)
    if len(stops) > 2:
        reload = {"arrive": _moment(40), "leave": _moment(41), "load": {"plain": 2}}
        stand = StandVisit(x_m=6.0, y_m=6.0, posture="")
        stops.append(Stop(unit="store", reload=True, stands=(stand,), **reload))
    path.append((6.0, 6.0))
    return TechnicianPlan(
        name=technician,
        walk_m=LineString(path).length,
        walk_s=LineString(path).length / 1.2,
        work_s=1800,
        wait_s=20,
        start=_moment(0),
        finish=_moment(47),
        start_place="store",
        finish_place="store",
        path=tuple(path),
        stops=tuple(stops),
        cartridges={"plain": CartridgeCount(carry=2, used=1, reserve=1, strokes=60, grams=65.0)},
    )


def plan(yard: Site | None = None, *, technicians: tuple[str, ...] = ("Ada",)) -> RoundPlan:
    """A plan for the first five machines of the sample site, shared out in turn."""
    yard = yard or site()
    units = list(yard.units[:5])
    walks = [_walk(yard, name, units[k :: len(technicians)]) for k, name in enumerate(technicians)]
    fittings = sum(len(s.fittings) for w in walks for stop in w.stops for s in stop.stands)
    return RoundPlan(
        site=yard.name,
        at=START.isoformat(),
        seed=1,
        shift_start=_moment(90),
        due_joints=13,
        due_fittings=fittings + 2,
        technicians=tuple(walks),
        cartridges={"plain": CartridgeCount(carry=2, used=1, reserve=1, strokes=60, grams=65.0)},
        left=(
            LeftOut(
                unit="HT-06",
                joint="body pivot",
                reason="out of reach in the posture it stands in",
                helps="lower the body",
                overdue_h=2.0,
            ),
            LeftOut(
                unit="HT-06",
                joint="steering pivot",
                fitting="pin",
                reason="out of reach in the posture it stands in",
                helps="lower the body",
            ),
        ),
        never_pump=(LookedAt(unit="EX-01", joint="track tension", text="track tension, left"),),
        inspect=(LookedAt(unit="HT-02", joint="centre hinge", text="fed by a central system"),),
        bound=Bound(lower_s=2292.0, value_s=2334.0, gap_pct=1.8, what="one technician, no windows"),
        cautions=(),
        notes=(),
    )


def moved_first(plan: RoundPlan, *, isolated: tuple[StepTask, ...] = ()) -> RoundPlan:
    """The plan whose first machine is moved by a call at its first stand; ``isolated`` before."""
    walk = plan.technicians[0]
    stop = walk.stops[0]
    steps = ("out, tools with you", "move it", *stop.isolation, "back in only now")
    stand = stop.stands[0].model_copy(update={"event": "posture", "before": steps})
    changes = {"stands": (stand, *stop.stands[1:]), "isolation_steps": isolated}
    stop = stop.model_copy(update=changes)
    walk = walk.model_copy(update={"stops": (stop, *walk.stops[1:])})
    return plan.model_copy(update={"technicians": (walk, *plan.technicians[1:])})
