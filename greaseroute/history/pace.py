"""Actual against planned minutes, by kind of joint and technician, offered as calibrated pace.

What is known of a walk are moments: each fitting's tick, or the minute of each stop. Ticks of one
moment belong together (a whole place, a whole stop). The time between two such moments, less what
the plan had for walking and isolating between them, was spent on the fittings ticked at the second.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Final

from greaseroute.ledger.events import Event, Greased, PaceTaken, PlanHandedOut
from greaseroute.ledger.planned import PlannedFitting, PlannedWalk
from greaseroute.plan.history import PaceFound
from greaseroute.site.model import Site

LEAST_SAMPLES: Final = 20
"""A pace rests on so many fittings at least before it is offered: common practice, no source."""
LONGEST_SHARE, LEAST_SHARE = 5.0, 0.2
"""Beyond, somebody was called away or ticked later: such a sample tells nothing of the work."""
TOGETHER: Final = timedelta(seconds=1)

Place = tuple[int, int]  # number of the stop in the walk, of the fitting in the stop


@dataclass(frozen=True, slots=True)
class Sample:
    """Fittings ticked at one moment: how long they took and should have taken, and of what kind."""

    kinds: tuple[str, ...]
    work_s: tuple[float, ...]
    share: float


def pace_found(events: Sequence[Event], site: Site) -> tuple[PaceFound, ...]:
    """Every technician's pace at every kind of joint that the record tells something of.

    ``site`` is as its files tell it, without the paces agreed to. Plans made after one was agreed
    to went by it: what they tell is brought back to the times without any pace.
    """
    plans = {e.plan: e for e in events if isinstance(e, PlanHandedOut)}
    kinds, paces = _kinds(site), _Paces(events, site)
    groups: dict[tuple[str, str], list[tuple[float, float]]] = {}
    for plan in plans.values():
        for walk in plan.walks:
            for sample in walk_samples(walk, _ticked(events, plan, walk), kinds=kinds):
                for kind, work_s in zip(sample.kinds, sample.work_s, strict=True):
                    planned_by = paces.at(walk.technician, kind, plan.at)
                    told = (sample.share * planned_by, work_s / planned_by)
                    groups.setdefault((walk.technician, kind), []).append(told)
    return tuple(_found(key, groups[key], now=paces.at(*key)) for key in sorted(groups))


class _Paces:
    """By which pace a technician's work at a kind of joint was planned, and when."""

    def __init__(self, events: Iterable[Event], site: Site) -> None:
        self._base = {t.name: t.pace for t in site.technicians}
        self._agreed = sorted((e for e in events if isinstance(e, PaceTaken)), key=lambda e: e.at)

    def at(self, technician: str, kind: str, moment: datetime | None = None) -> float:
        """The pace at a moment, or the latest: the one agreed to last, else that of site.toml."""
        share = self._base.get(technician, {}).get(kind, 1.0)
        for event in self._agreed:
            ours = (event.technician, event.joint_kind) == (technician, kind)
            if ours and (moment is None or event.at <= moment):
                share = event.share
        return share


def _kinds(site: Site) -> Mapping[tuple[str, str], str]:
    """The kind of each joint of each unit."""
    return {
        (unit.unit, joint.name): joint.kind
        for unit in site.units
        for joint in site.machine(unit).joints
    }


def _ticked(
    events: Iterable[Event], plan: PlanHandedOut, walk: PlannedWalk
) -> list[tuple[datetime, Place]]:
    """When each fitting of a walk was greased, with its place in the plan, in order of time."""
    places = {
        (stop.unit, fitting.joint, fitting.fitting): (s, f)
        for s, stop in enumerate(walk.stops)
        for f, fitting in enumerate(stop.fittings)
    }
    found = [
        (event.at, places[event.unit, event.joint, str(event.fitting)])
        for event in events
        if isinstance(event, Greased)
        and (event.plan, event.technician) == (plan.plan, walk.technician)
        and (event.unit, event.joint, str(event.fitting)) in places
    ]
    return sorted(found)


def walk_samples(
    walk: PlannedWalk,
    ticked: Sequence[tuple[datetime, Place]],
    *,
    kinds: Mapping[tuple[str, str], str],
) -> Iterator[Sample]:
    """What the moments of one walk tell; the first one begins the clock and tells nothing.

    Only fittings ticked in the order of the plan tell something: elsewhere nobody knows what was
    walked between.
    """
    batches = _batches(ticked)
    for (before_at, before), (at, batch) in pairwise(batches):
        if min(batch) <= max(before):
            continue
        fittings = [walk.stops[s].fittings[f] for s, f in batch]
        work_s = sum(fitting.work_s for fitting in fittings)
        planned_s = _planned_s(walk, max(batch)) - _planned_s(walk, max(before))
        actual_s = (at - before_at).total_seconds() - (planned_s - work_s)
        if work_s > 0 and LEAST_SHARE <= actual_s / work_s <= LONGEST_SHARE:
            units = [walk.stops[s].unit for s, _ in batch]
            yield Sample(
                tuple(_kind(u, f, kinds) for u, f in zip(units, fittings, strict=True)),
                tuple(fitting.work_s for fitting in fittings),
                actual_s / work_s,
            )


def _kind(unit: str, fitting: PlannedFitting, kinds: Mapping[tuple[str, str], str]) -> str:
    return kinds.get((unit, fitting.joint), "other")


def _batches(
    ticked: Sequence[tuple[datetime, Place]],
) -> list[tuple[datetime, list[Place]]]:
    """Ticks of one moment together, each batch at its last moment."""
    batches: list[tuple[datetime, list[Place]]] = []
    for at, place in ticked:
        if batches and at - batches[-1][0] <= TOGETHER:
            batches[-1] = (at, [*batches[-1][1], place])
        else:
            batches.append((at, [place]))
    return batches


def _planned_s(walk: PlannedWalk, place: Place) -> float:
    """When a fitting was to be done: before the end of its stop by the work that follows it."""
    stop = walk.stops[place[0]]
    return stop.leave_s - sum(fitting.work_s for fitting in stop.fittings[place[1] + 1 :])


def _found(
    key: tuple[str, str], samples: Sequence[tuple[float, float]], *, now: float
) -> PaceFound:
    shares = sorted(share for share, _ in samples)
    planned_s = sum(work_s for _, work_s in samples)
    actual_s = sum(share * work_s for share, work_s in samples)
    return PaceFound(
        technician=key[0],
        joint_kind=key[1],
        count=len(samples),
        share=round(_quantile(shares, 0.5), 3),
        low=round(_quantile(shares, 0.25), 3),
        high=round(_quantile(shares, 0.75), 3),
        actual_min=round(actual_s / 60, 1),
        planned_min=round(planned_s / 60, 1),
        now=now,
        offered=len(samples) >= LEAST_SAMPLES,
    )


def _quantile(ordered: Sequence[float], share: float) -> float:
    """Between the values on either side of the place, in proportion (type 7 of Hyndman and Fan)."""
    place = share * (len(ordered) - 1)
    low = int(place)
    high = min(low + 1, len(ordered) - 1)
    return ordered[low] + (place - low) * (ordered[high] - ordered[low])
