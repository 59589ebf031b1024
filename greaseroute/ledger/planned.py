"""A plan as the ledger keeps it: who was to grease what, in which order, in how much time."""

from typing import Annotated

from pydantic import Field

from greaseroute.records import Record

Name = Annotated[str, Field(min_length=1, max_length=1000)]


class PlannedFitting(Record):
    """One fitting of a plan in the order of its card; ``work_s`` as planned."""

    joint: Name
    fitting: Name
    strokes: int
    grease: Name
    gun: Name
    put_in: int = 0
    work_s: float = 0.0


class PlannedStop(Record):
    """One stop of a plan. Seconds count from the moment the plan begins."""

    unit: Name
    arrive_s: float
    leave_s: float
    fittings: tuple[PlannedFitting, ...] = ()
    checks: tuple[Name, ...] = ()


class PlannedWalk(Record):
    """One technician's part of a plan, its stops in order."""

    technician: Name
    stops: tuple[PlannedStop, ...]
