"""Promises about lone work: no technician is silent for too long, and somebody listens."""

from collections.abc import Iterator
from itertools import pairwise

from greaseroute.audit.case import Case
from greaseroute.audit.finding import Finding, Where
from greaseroute.audit.house_rules import CLOCK_MS
from greaseroute.audit.people import people_at_hand
from greaseroute.plan.round import CheckIn, TechnicianPlan
from greaseroute.units import MS_PER_S, S_PER_MIN


def nobody_is_silent_too_long(case: Case) -> Iterator[Finding]:
    """From the start over each check-in to the end no gap is longer than the site's rule."""
    most_ms = case.basis.site.rules.check_in_min * S_PER_MIN * MS_PER_S
    for technician in case.basis.plan.technicians:
        ends = (technician.start, *(c.at for c in technician.check_ins), technician.finish)
        for begin, end in pairwise(ends):
            gap_ms = case.basis.clock.of_text(end) - case.basis.clock.of_text(begin)
            if not 0 <= gap_ms <= most_ms + CLOCK_MS:
                what = "longer between two words that all is well than the site allows"
                off_s = abs(gap_ms - most_ms) / MS_PER_S
                where = Where(technician.name, at=begin)
                yield where.finding("lone work", what, off=off_s, measure="s")


def somebody_listens(case: Case) -> Iterator[Finding]:
    """Who is told is whom the rule names, or is at hand, or walks as well; nobody only if none."""
    for technician in case.basis.plan.technicians:
        for word in technician.check_ins:
            able = _able(case, technician, word)
            where = Where(technician.name, at=word.at)
            if word.tell and word.tell not in able:
                yield where.finding("lone work", f"{word.tell} is not there to be told")
            if not word.tell and able:
                yield where.finding("lone work", f"nobody is told, though {able[0]} is there")


def _able(case: Case, technician: TechnicianPlan, word: CheckIn) -> list[str]:
    """Everybody who can be told at that moment."""
    basis = case.basis
    if basis.site.rules.check_in_with:
        return [basis.site.rules.check_in_with]
    at = basis.clock.of_text(word.at)
    hands = people_at_hand(basis.site, basis.clock, until=basis.last_ms + 1)
    # Several alike go by one name: any of them hears it.
    alike = {f"{p.name} {k + 1}": p.name for p in basis.site.people for k in range(p.at_once)
             if p.at_once > 1}  # fmt: skip
    there = [alike.get(name, name) for name, hand in hands.items()
             if any(a <= at < b for a, b in hand.spans)]  # fmt: skip
    walking = [
        other.name
        for other in basis.plan.technicians
        if other.name != technician.name
        and basis.clock.of_text(other.start) <= at <= basis.clock.of_text(other.finish)
    ]
    return there + walking
