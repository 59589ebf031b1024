"""What a round was asked for where a week planned its morning, re-derived from week and records."""

from dataclasses import replace
from datetime import date, datetime
from zoneinfo import ZoneInfo

from greaseroute.audit.basis import Asked, UnitJoint
from greaseroute.audit.due import owed
from greaseroute.plan.round import RoundPlan
from greaseroute.plan.week import MorningPlan, WeekPlan
from greaseroute.site.model import Site


def asked_by_week(site: Site, plan: RoundPlan, week: WeekPlan) -> tuple[Site, Asked]:
    """The site with its guns as the morning before left them, and the joints asked for.

    Asked for are the week's joints of that morning, unless greased since, and what is due that
    the week has on no later morning; taken as well may be what is due or was missed before.
    """
    morning = morning_on(week, datetime.fromisoformat(plan.at).date())
    if morning is None:
        return site, Asked()
    at = datetime.fromisoformat(plan.at).astimezone(ZoneInfo(site.time_zone))
    verdicts = owed(site, at)
    due = {key for key, each in verdicts.items() if any(v.due is not False for v in each.values())}
    touched = {(s.unit, f.joint) for t in plan.technicians for s in t.stops
               for stand in s.stands for f in stand.fittings}  # fmt: skip
    touched |= {(x.unit, x.joint) for x in plan.left}
    mine = {(s.unit, s.joint) for s in (*morning.services, *morning.tried)}
    needed = {key for key in mine if key in verdicts and not _since(site, key, week, day=at.date())}
    broken = {(x.unit, x.joint, x.fitting) for x in week.mend_first}
    sure = {
        key
        for key in due
        if any(v.due and (*key, name) not in broken for name, v in verdicts[key].items())
    }
    needed |= sure - _later(week, at.date()) - _waiting(week)
    allowed = mine | due | _earlier(week, at.date())
    guns = tuple(
        gun.model_copy(update={"left_strokes": morning.guns.get(gun.name, gun.left_strokes)})
        for gun in site.guns
    )
    crew = tuple(t.name for t in plan.technicians)
    work = frozenset(needed | (touched & allowed))
    return replace(site, guns=guns), Asked(work=work, technicians=crew)


def morning_on(week: WeekPlan, day: date) -> MorningPlan | None:
    """The morning of a date."""
    return next((m for m in week.mornings if datetime.fromisoformat(m.at).date() == day), None)


def _dates(week: WeekPlan) -> dict[UnitJoint, list[date]]:
    found: dict[UnitJoint, list[date]] = {}
    for morning in week.mornings:
        day = datetime.fromisoformat(morning.at).date()
        for service in morning.services:
            found.setdefault((service.unit, service.joint), []).append(day)
    return found


def _later(week: WeekPlan, day: date) -> set[UnitJoint]:
    """Joints that the week has on a later morning."""
    return {key for key, days in _dates(week).items() if any(d > day for d in days)}


def _earlier(week: WeekPlan, day: date) -> set[UnitJoint]:
    """Joints that the week had on an earlier one, which may have missed them."""
    return {key for key, days in _dates(week).items() if any(d < day for d in days)}


def _waiting(week: WeekPlan) -> set[UnitJoint]:
    """What nobody can grease before something is mended, or got."""
    mend = {(x.unit, x.joint) for x in week.mend_first if x.fitting is None}
    return mend | {(x.unit, x.joint) for x in week.no_gun}


def _since(site: Site, key: UnitJoint, week: WeekPlan, *, day: date) -> bool:
    """Whether a joint was greased beside the week since it was made."""
    begun = datetime.fromisoformat(week.at).date()
    planned = _dates(week).get(key, [])
    days = {
        s.at.astimezone(ZoneInfo(site.time_zone)).date()
        for s in site.last_services
        if (s.unit, s.joint) == key
    }
    return any(begun <= d <= day and (d not in planned or d == day) for d in days)
