"""Exports of a card as the phone writes them, made from a plan."""

import json
from datetime import datetime, timedelta

from greaseroute.plan.handed_out import round_id


def card_of(plan, *, technician=None, skip=(), told_after=7200.0, meters=None, **more):
    """The export of one walk, as a dict: all done at its planned moment but what is in ``skip``.

    ``skip`` holds (unit, joint) or (unit, joint, fitting); ``meters`` figures by unit.
    """
    walk = next(t for t in plan.technicians if technician in (None, t.name))
    begun = datetime.fromisoformat(plan.at)
    told = begun + timedelta(seconds=told_after)
    events = []
    for stop in walk.stops:
        for stand in stop.stands:
            for task in stand.fittings:
                if {(stop.unit, task.joint), (stop.unit, task.joint, task.fitting)} & set(skip):
                    continue
                events.append(_entry(stop, task, walk.name, len(events)))
    at = (begun + timedelta(seconds=told_after - 60)).isoformat()
    return {
        "format": "greaseroute card 2",
        "round": round_id(plan),
        "site": plan.site,
        "planned_for": plan.at,
        "exported_at": told.isoformat(),
        "technician": walk.name,
        "device": "a1b2",
        "events": events,
        "meters": [{"unit": u, "meter_h": h, "at": at} for u, h in (meters or {}).items()],
        **more,
    }


def _entry(stop, task, technician, number):
    return {
        "id": f"{number:016x}",
        "at": stop.leave,
        "technician": technician,
        "unit": stop.unit,
        "joint": task.joint,
        "fitting": task.fitting,
        "grease": task.grease,
        "gun": task.gun,
        "strokes": task.strokes,
        "planned_strokes": task.strokes,
        "put_in": task.put_in or int(task.cartridge_change),
        "done": True,
    }


def could_not(card, which, reason, words="", *, number=0):
    """Make the entry of (unit, joint, fitting) one that could not be done."""
    for entry in card["events"]:
        if (entry["unit"], entry["joint"], entry["fitting"]) == which:
            for name in ("strokes", "planned_strokes", "put_in", "grease", "gun"):
                entry.pop(name)
            entry.update(done=False, reason=reason, words=words, id=f"{number + 0xF00:016x}")
    return card


def written(card, path):
    """The card as a file."""
    path.write_text(json.dumps(card, indent=1), encoding="utf-8")
    return path
