"""One day to choose from: who learns from whom, until when, and every visit as lessons."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from greaseroute.errors import UnknownName
from greaseroute.rounds.given_order import Errand, ReadyWalk, ready_walk
from greaseroute.site.crew import Technician
from greaseroute.site.model import Site
from greaseroute.site.morning import Morning, start_of
from greaseroute.training.candidates import Candidate, Pair, candidates, mean_difficulty
from greaseroute.training.choice import DaySettings, JointSets, undominated
from greaseroute.training.search import Frontier, LessonOffer, Lessons, search
from greaseroute.units import S_PER_MIN, ms


@dataclass(frozen=True, slots=True)
class Pairing:
    """Who learns, from whom."""

    learner: Technician
    mentor: str


def pairing(site: Site, *, learner: str | None = None, mentor: str | None = None) -> Pairing:
    """The learner named, else the one marked as such in the site file, else the last technician;
    the mentor named, else the first other technician.

    Raises UnknownName for a technician that the site does not have, or one who learns from himself.
    """
    names = {t.name: t for t in site.technicians}
    for name in (learner, mentor):
        if name is not None and name not in names:
            raise UnknownName(
                "technician", repr(name), limit=", ".join(names), next_step="see site.toml"
            )
    marked = [t for t in site.technicians if t.learner]
    who = names[learner] if learner else (marked[0] if marked else site.technicians[-1])
    others = [name for name in names if name != who.name]
    if mentor == who.name:
        raise UnknownName(
            "mentor", f"{mentor!r}, who is the learner",
            limit=", ".join(others) or "another technician of site.toml",
            next_step="name another --mentor or --learner",
        )  # fmt: skip
    return Pairing(who, mentor or (others[0] if others else "an experienced technician"))


def limit_ms(morning: Morning, learner: Technician, *, window_min: float | None) -> int:
    """When the day ends, ms from its zero: after the window, and never after the shift's start."""
    start = start_of(learner, morning)
    if window_min is None:
        return max(start, morning.end_ms)
    return max(start, min(morning.end_ms, start + ms(window_min * S_PER_MIN)))


@dataclass(frozen=True, eq=False)
class Day:
    """What a day is chosen from: the errand with every offer, the candidates behind them."""

    site: Site
    pair: Pairing
    settings: DaySettings
    walk: ReadyWalk
    found: tuple[Candidate, ...]
    reachable: tuple[Candidate, ...]

    @property
    def morning(self) -> Morning:
        """The morning."""
        return self.walk.ready.morning

    def offers(self, *, without: Collection[Pair] = ()) -> tuple[LessonOffer, ...]:
        """Every visit as lessons, those that meet nothing new left out."""
        lessons = {c.key: c for c in self.reachable}
        rows = {unit.unit: row for row, unit in enumerate(self.site.units)}
        found = []
        for offer in self.walk.offers:
            mine = [lessons.get((offer.unit, joint)) for joint in sorted(offer.joints)]
            met = tuple(c for c in mine if c is not None)
            pairs = frozenset(c.pair for c in met)
            if len(met) == len(mine) == len(pairs) and not pairs & set(without):
                found.append(
                    LessonOffer(rows[offer.unit], met, pairs, offer.ways, mean_difficulty(met))
                )
        return tuple(found)

    def frontier(
        self, *, done: Mapping[str, int], without: Collection[Pair] = ()
    ) -> tuple[Frontier, tuple[LessonOffer, ...]]:
        """The earliest walk for each number of pairs, and the offers its steps number."""
        offers, s = self.offers(without=without), self.settings
        lessons = Lessons(self.walk.clock, offers, s.curve, s.show_s, done)
        return search(lessons), offers


def ready_day(site: Site, at: datetime, pair: Pairing, *, settings: DaySettings) -> Day:
    """What is due or nearly due looked at from the ground, and every set of lessons.

    Of many joints the quickest of each machine and pair; where that is out of reach, the others.
    """
    found = candidates(site, at, learner=pair.learner, share=settings.nearly)
    whole, reachable = _looked_at(site, at, pair, found=undominated(found))
    missed = {(c.unit, c.pair) for c in found} - {(c.unit, c.pair) for c in reachable}
    others = [c for c in found if (c.unit, c.pair) in missed]
    if missed and set(others) - set(undominated(found)):
        both = tuple(c for c in found if c in reachable or c in others)
        whole, reachable = _looked_at(site, at, pair, found=both)
        reachable = undominated(reachable)
    sets = JointSets({c.key: c.kind for c in reachable}, {c.key: c.standard_s for c in reachable})
    return Day(site, pair, settings, whole.with_offers(sets.of), found, reachable)


def _looked_at(
    site: Site, at: datetime, pair: Pairing, *, found: Sequence[Candidate]
) -> tuple[ReadyWalk, tuple[Candidate, ...]]:
    """The errand of some joints, and those of them that can be reached in full."""
    walk = ready_walk(site, Errand(pair.learner.name, at, tuple(c.work.due for c in found)))
    can = walk.reachable
    return walk, tuple(c for c in found if c.work.joint.name in can.get(c.unit, ()))
