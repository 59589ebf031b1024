"""Which machines leave while the round is under way: from then on nobody goes near their way."""

from greaseroute.plan.round import RoundPlan
from greaseroute.site.fleet import Unit
from greaseroute.texts.language import Language


def stop_notes(plan: RoundPlan, unit: Unit, say: Language) -> str:
    """What is noted of a machine in the fleet list, and when it goes."""
    hours = [say.clock(each.leaves) for each in plan.leaving if each.unit == unit.unit]
    gone = [say("summary.gone_from", units=unit.unit, clock=clock) for clock in hours]
    return "; ".join([*gone, *([unit.notes] if unit.notes else [])])


def leaving(plan: RoundPlan, say: Language) -> str:
    """One sentence, those that leave first at its head; empty where none leaves."""
    by_hour: dict[str, list[str]] = {}
    for each in sorted(plan.leaving, key=lambda each: each.leaves):
        by_hour.setdefault(say.clock(each.leaves), []).append(each.unit)
    groups = [
        say("summary.gone_from", units=say.listed(units), clock=clock)
        for clock, units in by_hour.items()
    ]
    return say("summary.leaving", groups="; ".join(groups)) if groups else ""
