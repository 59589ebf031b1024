"""Which machines leave while the round is under way: from then on nobody goes near their way."""

from greaseroute.plan.round import RoundPlan
from greaseroute.texts.language import Language


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
