"""The week on paper: what a workshop hangs on the wall, laid out by typst (extra ``pdf``)."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from greaseroute.cards.cautions import aid
from greaseroute.cards.typesetter import capital, halved, typeset
from greaseroute.cards.week_html import (
    by_reason,
    joint_name,
    kept_by_nobody,
    machine_days,
    order_words,
    people_by_hour,
    window_min,
)
from greaseroute.plan.round import LeftOut
from greaseroute.plan.week import GreaseWeek, MorningPlan, OrderLine, TechnicianMorning, WeekPlan
from greaseroute.site.model import Site
from greaseroute.texts.language import Language

HEADS = (
    "people_head", "people_note", "paper.bars", "machines_head", "order_head", "grease_head",
    "mend_head", "mend_note", "keep_head", "left_out", "what_if", "then_orders", "rests_on",
    "paper.used_head", "paper.no_gun", "paper.all_together",
)  # fmt: skip
DAYS_ABREAST = 7  # mornings in one table: as many as stand side by side on A4


def week_pdf(week: WeekPlan, site: Site) -> bytes:
    """The sheets of a week: who and which machines by morning, then grease, orders, repairs. PDF.

    The same week and site give the same bytes. Raises UnknownName where the typesetter is not
    installed.
    """
    sheets = _Sheets(week, site)
    return typeset("week.typ", sheets.data(), datetime.fromisoformat(week.at))


def initials(names: Sequence[str]) -> dict[str, str]:
    """The shortest beginning of each name that no other name has, one letter or more."""
    shortest = {}
    for name in names:
        others = [other for other in names if other != name]
        lengths = (k for k in range(1, len(name)) if not any(o[:k] == name[:k] for o in others))
        shortest[name] = name[: next(lengths, len(name))]
    return shortest


def _going(unit: str, morning: MorningPlan, letters: dict[str, str]) -> str:
    """The letters of those who go to a machine on a morning."""
    return "+".join(letters[t.name] for t in morning.technicians if unit in t.units)


def _cell(joints: int, who: str) -> list[str]:
    return [str(joints), who] if joints else ["", ""]


@dataclass(frozen=True, slots=True)
class _Sheets:
    """The texts of the sheets, each list in the order in which it is read."""

    week: WeekPlan
    site: Site

    @property
    def say(self) -> Language:
        return self.site.say

    def word(self, key: str, **values: object) -> str:
        return self.say(f"week.{key}", **values)

    def data(self) -> dict[str, Any]:
        """All that the template shows; an empty list is left away with its heading."""
        week, say, word = self.week, self.say, self.word
        mornings = say.count(len(week.mornings), "morning")
        return {
            "lang": say.code,
            "title": word("ahead", site=week.site, mornings=mornings),
            "about": f"{word('from', day=say.day(week.at))} {week.shift_start}.",
            "aid": aid(say),
            "elsewhere": word("paper.elsewhere"),
            "words": {key.removeprefix("paper."): word(key) for key in HEADS},
            "figures": self._figures(),
            "level": self._level(),
            "warnings": list(self._warnings()),
            "people": [self._people(days) for days in self._spans()],
            "machines": [self._machines(days) for days in self._spans()],
            "machines_note": self._letters_note(),
            "orders": self._orders(),
            "greases": self._greases(),
            "used": [self._used(days) for days in self._spans()],
            "what_if": self._what_if(),
            "mend": halved(self._by_reason(week.mend_first)),
            "no_gun": halved(self._by_reason(week.no_gun)),
            "keep": halved(list(self._keep())),
            "left": halved([self._left(m) for m in week.mornings if m.left]),
            "notes": [capital(note) for note in self._notes()],
        }  # fmt: skip

    def _spans(self) -> list[range]:
        """Mornings that stand side by side in one table, span after span."""
        count = len(self.week.mornings)
        return [range(k, min(k + DAYS_ABREAST, count)) for k in range(0, count, DAYS_ABREAST)]

    def _heads(self, days: range) -> list[str]:
        return [self.say.day_label(self.week.mornings[k].at) for k in days]

    def _figures(self) -> list[list[str]]:
        level, number = self.week.levelling, self.say.number
        services = sum(len(morning.services) for morning in self.week.mornings)
        longest = number(level.walked_longest_min or level.longest_min)
        return [
            [capital(self.word("services_planned")), str(services)],
            [capital(self.word("visits")), str(level.visits)],
            [capital(self.word("walked_longest")), f"{longest} min"],
        ]

    def _level(self) -> str:
        """How even the mornings are, and what of it is proved."""
        level, word = self.week.levelling, self.word
        longest, due_day = level.longest_min, level.due_day_longest_min
        parts = [word("estimate", longest_min=longest, due_day_min=due_day)]
        if level.shorter_pct > 0:
            parts.append(word("shorter", shorter_pct=level.shorter_pct))
        parts.append(word("moved", services=self.say.count(level.moved, "service")))
        if not level.lower_min:
            parts.append(word("proved_none"))
        elif level.gap_pct <= 0.05:
            parts.append(word("proved"))
        else:
            parts.append(word("proved_gap", gap_pct=level.gap_pct))
        return " ".join(parts)

    def _warnings(self) -> Iterator[str]:
        level = self.week.levelling
        for key, names in (("late", level.late), ("overrun", level.overrun)):
            if names:
                yield f"{self.word(key)} {self.say.listed(names)}."

    def _people(self, days: range) -> dict[str, Any]:
        """For each technician the minutes of each morning, then how many are out by the hour."""
        mornings = [self.week.mornings[k] for k in days]
        names = dict.fromkeys(t.name for m in mornings for t in m.technicians)
        hours = [
            [self.word("hour", hour=hour), [str(counts[k]) for k in days]]
            for hour, counts in people_by_hour(self.week)
        ]
        return {
            "days": self._heads(days),
            "technicians": [self._technician(name, mornings) for name in names],
            "all": self._all_together(mornings),
            "hours": hours,
        }

    def _technician(self, name: str, mornings: Sequence[MorningPlan]) -> dict[str, Any]:
        """One technician's rows; a morning on which he is not needed has no figures."""
        there = [next((t for t in m.technicians if t.name == name), None) for m in mornings]
        out = [t if t and t.strokes else None for t in there]
        return {
            "name": name,
            "out": [self._clock_span(t) if t else self.word("not_needed") for t in out],
            "bars": [self._bar(t) if t else None for t in out],
            "rows": [
                [self.word(key), [self._figure(t, key) if t else "" for t in out]]
                for key in ("min", "walk", "wait", "work", "metres", "strokes")
            ],
        }

    def _clock_span(self, technician: TechnicianMorning) -> str:
        clock = self.say.clock
        return f"{clock(technician.start)}\N{EN DASH}{clock(technician.finish)}"

    def _bar(self, technician: TechnicianMorning) -> dict[str, float]:
        """Minutes of work, walk and wait and of the window, as they are drawn."""
        return {
            "work": technician.work_min,
            "walk": technician.walk_min,
            "wait": technician.wait_min,
            "window": window_min(technician, self.week.shift_start),
        }

    def _figure(self, technician: TechnicianMorning, key: str) -> str:
        number = self.say.number
        if key == "min":
            window = window_min(technician, self.week.shift_start)
            return self.word("paper.of", n=number(technician.minutes), all=number(window))
        values = {
            "walk": technician.walk_min, "wait": technician.wait_min, "work": technician.work_min,
            "metres": technician.walk_m, "strokes": technician.strokes,
        }  # fmt: skip
        return number(values[key])

    def _all_together(self, mornings: Sequence[MorningPlan]) -> list[str]:
        number = self.say.number
        return [
            self.word("paper.of", n=number(m.minutes), all=number(m.window_min))
            if m.technicians
            else self.word("paper.no_round", minutes=m.estimate_min) if m.services
            else self.word("nothing_due")
            for m in mornings
        ]  # fmt: skip

    def _machines(self, days: range) -> dict[str, Any]:
        """Joints of each machine on each morning, with the letter of who goes there."""
        mornings = [self.week.mornings[k] for k in days]
        letters = initials(self._names())
        rows = [
            [unit, [_cell(counts[k], _going(unit, self.week.mornings[k], letters)) for k in days]]
            for unit, counts in machine_days(self.week)
            if any(counts[k] for k in days)
        ]
        totals = [
            [self.word("paper.joints"), [str(len(m.services)) for m in mornings]],
            [self.word("paper.fittings"), [str(m.fittings) for m in mornings]],
            [self.word("paper.units"), [str(m.units) for m in mornings]],
        ]
        return {"head": self.word("machine"), "days": self._heads(days), "totals": totals,
                "rows": rows}  # fmt: skip

    def _names(self) -> list[str]:
        return list(dict.fromkeys(t.name for m in self.week.mornings for t in m.technicians))

    def _letters_note(self) -> str:
        letters = initials(self._names())
        told = ", ".join(f"{letter} {name}" for name, letter in letters.items())
        return self.word("paper.cells") + (f" {told}." if told else "")

    def _orders(self) -> dict[str, Any]:
        """What to order of each grease, by when."""
        keys = ("grease", "in_stock", "a_day", "lead_time", "reorder_at", "safety", "order", "cost")
        orders = self.week.orders
        percent = 100 * orders[0].service_level if orders else 0.0
        return {
            "head": [self.word(key) for key in keys],
            "rows": [self._order(line) for line in orders],
            "note": self.word("order_note", percent=percent) if orders else "",
        }

    def _order(self, line: OrderLine) -> list[str]:
        say = self.say
        stock = self.word("not_told") if line.stock is None else say.short(line.stock)
        cost = "\N{EN DASH}" if line.cost is None else say.number(line.cost, 2)
        return [
            line.grease, stock, say.number(line.mean_a_day, 2),
            say.sentence(f"{line.lead_days:g} days"), str(line.reorder_level),
            say.number(line.safety, 1), order_words(line, say), cost,
        ]  # fmt: skip

    def _greases(self) -> dict[str, Any]:
        """Grams and cartridges of each grease: low, middle, high, and by the rounds."""
        word = self.word
        heads = [word("grease"), word("grams_low"), word("middle"), word("high")]
        heads += [word("paper.rounds_g"), word("cartridges_low"), word("middle"), word("high")]
        heads += [word("paper.rounds_cartridges"), word("cost_middle")]
        return {
            "head": heads,
            "rows": [self._grease(grease) for grease in self.week.greases],
            "note": word("simulated", weeks=self.week.weeks_simulated),
        }

    def _grease(self, grease: GreaseWeek) -> list[str]:
        number = self.say.number
        grams, cartridges, cost = grease.grams, grease.cartridges, grease.cost_p50
        return [
            grease.grease,
            *(number(g) for g in (grams.p10, grams.p50, grams.p90, grease.planned_g)),
            *(number(c, 1) for c in (cartridges.p10, cartridges.p50, cartridges.p90)),
            str(grease.planned_cartridges),
            self.word("no_price") if cost is None else number(cost, 2),
        ]

    def _used(self, days: range) -> dict[str, Any]:
        """Grams and cartridges to fit of each grease on each morning."""
        mornings = [self.week.mornings[k] for k in days]
        rows = [
            [grease.grease, [self._amount(m, grease.grease) for m in mornings]]
            for grease in self.week.greases
        ]
        return {"head": self.word("grease"), "days": self._heads(days), "rows": rows}

    def _amount(self, morning: MorningPlan, grease: str) -> str:
        if grease not in morning.grams:
            return ""
        fitted = morning.cartridges.get(grease, 0)
        return f"{fitted} ({self.say.number(morning.grams[grease])} g)"

    def _what_if(self) -> dict[str, Any] | None:
        then, say, word = self.week.what_if, self.say, self.word
        if then is None:
            return None
        now = self.week.levelling.longest_min
        text = word("what_if_text", services=then.services_mean, change=then.services_change,
                    longest_min=then.longest_min, now_min=now)  # fmt: skip
        middle = {g.grease: g.grams.p50 for g in self.week.greases}
        return {
            "text": f"{say.listed(then.what)}: {text}",
            "head": [word(k) for k in ("grease", "grams_now", "grams_then", "cartridges_then",
                                       "middle", "high")],
            "rows": [
                [g, say.number(middle.get(g, 0.0)), say.number(grams.p50),
                 *(say.number(q, 1) for q in (c.p10, c.p50, c.p90))]
                for g, grams in then.grams.items() for c in (then.cartridges[g],)
            ],
            "orders": [f"{line.grease}: {order_words(line, say)}" for line in then.orders],
            "overrun": f"{word('overrun')} {say.listed(then.overrun)}." if then.overrun else "",
        }  # fmt: skip

    def _by_reason(self, lefts: Sequence[LeftOut]) -> list[list[str]]:
        return [list(entry) for entry in by_reason(lefts, self.site)]

    def _keep(self) -> Iterator[list[str]]:
        """Joints whose interval no morning keeps, with what would help."""
        for unit, joints in kept_by_nobody(self.week):
            first, say = joints[0], self.say
            names = ", ".join(joint_name(each.joint, unit, self.site) for each in joints)
            yield [unit, self.word("keep_line", joints=names, percent=100 * first.used,
                                   interval=say.sentence(first.interval),
                                   helps=say.sentence(first.helps))]  # fmt: skip

    def _left(self, morning: MorningPlan) -> list[str]:
        """What a morning's round has no time for, by machine."""
        told = "; ".join(f"{unit} {what}" for unit, what in self._by_reason(morning.left))
        return [self.say.day_label(morning.at), told]

    def _notes(self) -> Iterator[str]:
        week = self.week
        yield from (self.say.sentence(note) for note in week.notes)
        mean = self.word("services_mean", mean=week.services_mean)
        expected = week.services_expected
        yield mean if expected is None else self.word("renewal", text=mean, expected=expected)
