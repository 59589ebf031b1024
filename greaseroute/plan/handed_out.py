"""A plan as the record keeps it: what went out on the cards, under the id that stands on them."""

import hashlib
from datetime import datetime

from greaseroute.ledger.events import PlanHandedOut
from greaseroute.ledger.planned import PlannedFitting, PlannedStop, PlannedWalk
from greaseroute.plan.round import RoundPlan, Stop, TechnicianPlan


def round_id(plan: RoundPlan) -> str:
    """Sixteen hexadecimal figures that name this very plan; ticks are kept under it."""
    return hashlib.sha256(plan.model_dump_json().encode()).hexdigest()[:16]


def plan_handed_out(plan: RoundPlan) -> PlanHandedOut:
    """The event that a plan went out as cards; its id is that on the cards."""
    name = round_id(plan)
    begun = datetime.fromisoformat(plan.at)
    return PlanHandedOut(
        id=f"plan-{name}",
        at=begun,
        plan=name,
        site=plan.site,
        walks=tuple(_walk(technician, begun) for technician in plan.technicians),
    )


def _walk(technician: TechnicianPlan, begun: datetime) -> PlannedWalk:
    stops = tuple(_stop(stop, begun) for stop in technician.stops if not stop.reload)
    return PlannedWalk(technician=technician.name, stops=stops)


def _stop(stop: Stop, begun: datetime) -> PlannedStop:
    fittings = tuple(
        PlannedFitting(
            joint=task.joint,
            fitting=task.fitting,
            strokes=task.strokes,
            grease=task.grease,
            gun=task.gun,
            put_in=task.put_in or int(task.cartridge_change),
            work_s=task.work_s,
        )
        for stand in stop.stands
        for task in stand.fittings
    )
    checks = tuple(look.name for stand in stop.stands for look in stand.looks)
    return PlannedStop(
        unit=stop.unit,
        arrive_s=(datetime.fromisoformat(stop.arrive) - begun).total_seconds(),
        leave_s=(datetime.fromisoformat(stop.leave) - begun).total_seconds(),
        fittings=fittings,
        checks=checks,
    )
