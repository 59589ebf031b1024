"""The first line of card and summary: what number to call, and the injury that hides."""

from greaseroute.plan.round import RoundPlan
from greaseroute.texts.language import Language


def emergency(plan: RoundPlan, say: Language) -> str:
    """The number of the site, or that none is given; grease under the skin is one at once."""
    if plan.emergency_number:
        return say("summary.emergency", number=plan.emergency_number)
    return say("summary.emergency_unknown")
