"""The joints of one morning of a week: what the week has for it, and what is done differently."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property

from greaseroute.errors import UnknownName
from greaseroute.forecast.week_rounds import week_ratio
from greaseroute.intervals.worklist import DueItem, work_list
from greaseroute.plan.week import MorningPlan, PlannedService, WeekPlan
from greaseroute.plan.words import count, listed
from greaseroute.site.model import Site

Key = tuple[str, str]
NEAR = 0.05  # a share that differs by less from the week's is the week's
NAMED = 3  # units named in the sentence


@dataclass(frozen=True, slots=True)
class MorningWork:
    """What a round is asked for: joints, strokes left in the guns; what differs from the week.

    ``waiting`` joints are due and not asked for: something has to be mended, or got, first.
    """

    items: tuple[DueItem, ...]
    guns: Mapping[str, int]
    told: str
    waiting: int = 0


@dataclass(frozen=True, eq=False)
class OneMorning:
    """One morning of a week, and the site as it is then."""

    site: Site
    week: WeekPlan
    at: datetime

    @property
    def day(self) -> date:
        """Its date."""
        return self.at.date()

    @cached_property
    def items(self) -> dict[Key, DueItem]:
        """Every joint that stands on the site now."""
        found = work_list(self.site, self.at)
        return {
            (item.unit, item.joint): item
            for item in found
            if item.status not in ("look only", "never pumped")
        }

    @cached_property
    def planned(self) -> dict[date, MorningPlan]:
        """The mornings of the week by date."""
        return {datetime.fromisoformat(m.at).date(): m for m in self.week.mornings}

    @cached_property
    def mornings_of(self) -> dict[Key, list[tuple[date, PlannedService]]]:
        """The mornings of each joint, in order."""
        found: dict[Key, list[tuple[date, PlannedService]]] = {}
        for day, morning in sorted(self.planned.items()):
            for service in morning.services:
                found.setdefault((service.unit, service.joint), []).append((day, service))
        return found

    def greased_on(self, key: Key) -> date | None:
        """When a joint was greased last."""
        days = self.items[key].since_days
        return None if days is None else date.fromordinal(self.day.toordinal() - round(days))

    def astray(self, key: Key) -> bool:
        """Whether a joint was greased beside the week since it was planned."""
        last = self.greased_on(key)
        begun = min(self.planned)
        mine = [day for day, _ in self.mornings_of.get(key, [])]
        return last is not None and begun <= last < self.day and last not in mine

    def missed(self, key: Key) -> bool:
        """Whether the week had a joint on an earlier morning and it was not greased since."""
        last = self.greased_on(key)
        if not self._can_be_done(key):
            return False
        before = [day for day, _ in self.mornings_of.get(key, []) if day < self.day]
        return bool(before) and (last is None or last < before[-1])

    def can_wait(self, key: Key) -> bool:
        """Whether a joint that is due has a later morning that is still inside its tolerance."""
        later = [day for day, _ in self.mornings_of.get(key, []) if day > self.day]
        if not later:
            return False
        item, hours = self.items[key], {h.unit: h.mean_h for h in self.week.hours}
        worked = self.site.work_days.before(later[0]) - self.site.work_days.before(self.day)
        used = [0.0]
        if item.interval_h and item.since_h is not None:
            worn_h = item.since_h + worked * hours.get(item.unit, 0.0)
            used.append(worn_h / item.interval_h)
        if item.interval_days and item.since_days is not None:
            used.append((item.since_days + (later[0] - self.day).days) / item.interval_days)
        known = item.since_days is not None
        backlog = any(s.backlog and day == later[0] for day, s in self.mornings_of[key])
        return backlog or (known and max(used) <= 1 + self.week.late + 1e-9)

    def work(self) -> MorningWork:
        """The joints of this morning: the week's, what an earlier one missed, what is due since."""
        today = self.planned[self.day]
        first = (*(x for x in self.week.mend_first if x.fitting is None), *self.week.no_gun)
        mended = {(x.unit, x.joint) for x in first}
        tried = {(s.unit, s.joint) for s in today.tried}
        waiting = sum(self.items[k].due for k in mended - tried if k in self.items)
        asked = {(s.unit, s.joint) for s in (*today.services, *today.tried)}
        mine = {k for k in asked if k in self.items and not self._needless(k)}
        missed = {k for k in self.items if self.missed(k) and not self.astray(k)} - mine
        due = {
            k
            for k, item in self.items.items()
            if item.due
            and k not in mine | missed | mended
            and self._can_be_done(k)
            and not self.can_wait(k)
        }
        order = [k for k in self.items if k in mine | missed | due]
        gone = sorted({unit for unit, _ in asked} - {unit for unit, _ in self.items})
        told = [
            f"{_joints(due)} more, due since the week was made" if due else "",
            f"{_joints(missed)} more, missed on an earlier morning" if missed else "",
            f"not at {listed(gone)}: gone or away" if gone else "",
            f"{_joints(needless)} fewer, greased since"
            if (needless := {k for k in asked if k in self.items and self._needless(k)})
            else "",
        ]
        return MorningWork(
            items=tuple(self._asked(k, whole=k in mine) for k in order),
            guns=today.guns,
            told="; ".join(text for text in told if text),
            waiting=waiting,
        )

    @cached_property
    def _broken(self) -> dict[Key, set[str]]:
        """Fittings that have to be mended first, by joint."""
        found: dict[Key, set[str]] = {}
        for x in self.week.mend_first:
            if x.fitting is not None:
                found.setdefault((x.unit, x.joint), set()).add(x.fitting)
        return found

    def _can_be_done(self, key: Key) -> bool:
        """Whether something that is due of a joint does not have to be mended first."""
        due = set(self.items[key].due_fittings)
        return not due or bool(due - self._broken.get(key, set()))

    def _asked(self, key: Key, *, whole: bool) -> DueItem:
        """The item as asked for: all its fittings where the week has it so."""
        item = self.items[key]
        if whole and self.day > min(self.planned):
            item = item.model_copy(update=self._as_planned(key))
        if item.due:
            return item
        told = [text for text in (item.reason, "brought forward by the week") if text]
        return item.model_copy(update={"due": True, "status": "due", "reason": "; ".join(told)})

    def _as_planned(self, key: Key) -> dict[str, object]:
        """What the week's round took for granted of a joint: all its fittings, and how far over it
        is unless it is further over by now (what has to be mended first always is)."""
        today, item = self.planned[self.day], self.items[key]
        found = (s for s in (*today.services, *today.tried) if (s.unit, s.joint) == key)
        planned = next(found)
        whole: dict[str, object] = {"due_fittings": (), "fittings": planned.fittings}
        if planned.used is None:
            return whole
        over = max(1 + self.week.late, planned.used * (1 + NEAR))
        if planned in today.services and item.overdue_ratio > over:
            return whole
        return whole | {"overdue_ratio": week_ratio(planned.used)}

    def _needless(self, key: Key) -> bool:
        """Whether a joint of this morning was greased since the week was made and is not due."""
        last, item = self.greased_on(key), self.items[key]
        return (self.astray(key) and not item.due) or (last == self.day and not item.due)


def _joints(keys: Sequence[Key] | set[Key]) -> str:
    """``2 joints (BF-1, RB-1)``."""
    units = sorted({unit for unit, _ in keys})
    named = ", ".join(units[:NAMED]) + (" and others" if len(units) > NAMED else "")
    return f"{count(len(keys), 'joint')} ({named})"


def morning_work(site: Site, week: WeekPlan, at: datetime) -> MorningWork:
    """The joints of the morning of ``at``.

    Raises
    ------
    UnknownName
        A week of another site, or without that morning.
    """
    if week.site != site.name:
        raise UnknownName(
            "--week", f"a week of {week.site!r}", limit=f"one of {site.name!r}",
            next_step="name the week.json of this site",
        )  # fmt: skip
    one = OneMorning(site, week, at)
    if one.day not in one.planned:
        raise UnknownName(
            "--week", f"no morning on {one.day.isoformat()}",
            limit=", ".join(day.isoformat() for day in sorted(one.planned)),
            next_step="give --at one of its mornings, or plan a new week",
        )  # fmt: skip
    return one.work()
