"""Lone work: when a technician checks in, with whom."""

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta

from greaseroute.plan.round import CheckIn, TechnicianPlan
from greaseroute.site.ground_plan import Hours
from greaseroute.site.model import Site
from greaseroute.site.moment import time_of_day
from greaseroute.walk.hours import overlaps

AGREE = "agree beforehand with whom"


def words_of(word: CheckIn) -> str:
    """What the card says of a check-in."""
    told = f"{datetime.fromisoformat(word.at):%H:%M}"
    if word.stop is not None:
        return f"check in by {told}: " + (f"tell {word.tell}" if word.tell else AGREE)
    return f"back at {told}: " + (f"tell {word.tell}" if word.tell else f"{AGREE} you check in")


def check_ins(
    technician: TechnicianPlan, crew: Sequence[TechnicianPlan], site: Site
) -> tuple[CheckIn, ...]:
    """When the technician says that all is well, so that no gap is longer than the rule.

    Wherever there is a choice it is on coming to a machine or leaving it, with free hands. The
    last is the end of the walk. ``crew`` are all who walk.
    """
    moments = [*_moments(technician, timedelta(minutes=site.rules.check_in_min))]
    end = datetime.fromisoformat(technician.finish)
    return tuple(
        CheckIn(at=_text(at), tell=_whom(at, technician, crew, site=site), stop=stop)
        for at, stop in (*moments, (end, None))
    )


def _text(at: datetime) -> str:
    return at.isoformat(timespec="milliseconds" if at.microsecond else "seconds")


def _moments(technician: TechnicianPlan, gap: timedelta) -> Iterator[tuple[datetime, int]]:
    """(moment, number of the stop) of each word but that at the end of the walk."""
    free = [
        (datetime.fromisoformat(text), number)
        for number, stop in enumerate(technician.stops)
        for text in (stop.arrive, stop.leave)
    ]
    last, end = (datetime.fromisoformat(t) for t in (technician.start, technician.finish))
    while end - last > gap:
        due = [each for each in free if last < each[0] <= last + gap]
        # Work at one machine, or one leg, can be longer than the gap.
        ahead = next((number for at, number in free if at > last + gap), len(technician.stops) - 1)
        last, number = due[-1] if due else (last + gap, ahead)
        yield last, number


def _whom(
    at: datetime, technician: TechnicianPlan, crew: Sequence[TechnicianPlan], *, site: Site
) -> str:
    """Whom the rule names; else who of the site is at hand, else who else is walking."""
    if site.rules.check_in_with:
        return site.rules.check_in_with
    for person in site.at_hand:
        begin, end = (time_of_day(t) for t in (person.on_site_from, person.on_site_to))
        if overlaps(Hours(begin, end), (at, at)):
            return person.name
    walking = (
        other.name
        for other in crew
        if other.name != technician.name
        and datetime.fromisoformat(other.start) <= at <= datetime.fromisoformat(other.finish)
    )
    return next(walking, "")
