"""The search for a learner's walk: which lessons at which machines in which order, by the clock.

Labels grow one machine at a time, from few pairs of family and kind to many; of labels that leave
the same future the earliest is kept. What comes out is, for every number of pairs, the walk that
is back first: the same for any window, so that more minutes never give fewer pairs.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from greaseroute.plan.learning import LearningCurve
from greaseroute.rounds.clock import Clock, Spot
from greaseroute.solvers.arrays import BoolArray, IntArray
from greaseroute.training.candidates import Candidate, Pair
from greaseroute.units import ms
from greaseroute.walk.legs import NEVER

FEW_STEPS = 60_000  # steps by the clock up to which nothing is left untried
MOST_STEPS = 30_000  # steps of a search that leaves something untried
LEAST_LABELS = 5
NEXT_OFFERS = 24  # machines tried after a label then, those quickest for each new pair

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class LessonOffer:
    """A visit as lessons: rows of unit and pairs, kinds, and the ways in and out."""

    unit: int
    lessons: tuple[Candidate, ...]
    pairs: frozenset[Pair]
    ways: tuple[int, ...]
    difficulty: float


class Step(NamedTuple):
    """One machine of a walk: the offer (by number), the way taken, what the learner adds."""

    offer: int
    way: int
    longer_ms: int


class Label(NamedTuple):
    """A walk so far. ``counts``: how often each kind was done, by the rows of `Lessons.kinds`."""

    spot: Spot
    visited: frozenset[int]
    met: frozenset[Pair]
    counts: tuple[int, ...]
    steps: tuple[Step, ...]


@dataclass(frozen=True, slots=True)
class WalkFound:
    """The walk that meets so many pairs and is back first; ms from the morning's zero."""

    pairs: int
    finish_ms: int
    steps: tuple[Step, ...]


@dataclass(frozen=True, slots=True)
class Frontier:
    """The earliest walk for each number of pairs; ``exact`` where nothing was left untried."""

    walks: tuple[WalkFound, ...]
    exact: bool

    def within(self, limit_ms: int) -> WalkFound:
        """The walk with most pairs that is back by ``limit_ms``; with none, the empty one."""
        fine = [walk for walk in self.walks if walk.finish_ms <= limit_ms]
        return max(fine, key=lambda w: (w.pairs, -w.finish_ms), default=WalkFound(0, 0, ()))


@dataclass(frozen=True, eq=False)
class Lessons:
    """What the search chooses from, at which pace."""

    clock: Clock
    offers: tuple[LessonOffer, ...]
    curve: LearningCurve
    show_s: float
    done: Mapping[str, int]

    @cached_property
    def kinds(self) -> list[str]:
        """Every kind of joint on offer."""
        return list(dict.fromkeys(c.kind for offer in self.offers for c in offer.lessons))

    @cached_property
    def windows(self) -> list[tuple[int, int]]:
        """When the work of each way may begin and must end."""
        return [self.clock.team.window_of(w) for w in range(len(self.clock.total_ms))]

    @property
    def pairs(self) -> frozenset[Pair]:
        """Every pair on offer."""
        return frozenset().union(*(offer.pairs for offer in self.offers))

    @cached_property
    def standard_s(self) -> FloatArray:
        """(offers, kinds) standard time of the joints of each kind."""
        table = np.zeros((len(self.offers), len(self.kinds)))
        for row, offer in enumerate(self.offers):
            for each in offer.lessons:
                table[row, self.kinds.index(each.kind)] += each.standard_s
        return table

    @cached_property
    def _surplus(self) -> dict[int, float]:
        """Standard times that the next one takes longer, by how often its kind was done."""
        return {}

    def surplus(self, done: int) -> float:
        """Standard times beyond one that a joint takes after so many of its kind."""
        if done not in self._surplus:
            self._surplus[done] = self.curve.factor(done + 1) - 1
        return self._surplus[done]

    def longer_ms(self, offer: LessonOffer, counts: Sequence[int]) -> int:
        """What a learner takes beyond the standard time, with what is shown before."""
        extra = ms(self.show_s) * len(offer.lessons)
        for each in offer.lessons:
            extra += ms(each.standard_s * self.surplus(counts[self.kinds.index(each.kind)]))
        return extra

    def start(self) -> Label:
        """Nobody visited yet."""
        counts = tuple(self.done.get(kind, 0) for kind in self.kinds)
        return Label(self.clock.start, frozenset(), frozenset(), counts, ())

    @cached_property
    def arrays(self) -> "OfferArrays":
        """The offers as arrays."""
        return OfferArrays(self)

    def after(self, label: Label, number: int, way: int) -> Label | None:
        """The walk with one machine more, None where its hours or the bag do not allow it."""
        clock, offer = self.clock, self.offers[number]
        pumped = clock.pumped(way, label.spot.left)
        used = label.spot.used + pumped.put_in
        longer = self.longer_ms(offer, label.counts)
        first, last = self.windows[way]
        begin = max(clock.arrive(label.spot, clock.enter[way]), first)
        leave = begin + clock.total_ms[way] + pumped.change_ms + longer
        if used > clock.room or leave > min(last, clock.end_ms):
            return None
        counts = list(label.counts)
        for lesson in offer.lessons:
            counts[self.kinds.index(lesson.kind)] += 1
        return Label(
            Spot(clock.leave[way], leave, pumped.left, used),
            label.visited | {offer.unit},
            label.met | offer.pairs,
            tuple(counts),
            (*label.steps, Step(number, way, longer)),
        )


class OfferArrays:
    """Offers as arrays, to sort out which may come next: their units, pairs, ways."""

    def __init__(self, lessons: Lessons) -> None:
        offers, clock = lessons.offers, lessons.clock
        self.lessons = lessons
        self.pairs = sorted(lessons.pairs)
        row = {pair: k for k, pair in enumerate(self.pairs)}
        self.unit = np.array([offer.unit for offer in offers])
        self.has = np.zeros((len(offers), len(self.pairs)), dtype=bool)
        for number, offer in enumerate(offers):
            self.has[number, [row[pair] for pair in offer.pairs]] = True
        self.count = self.has.sum(axis=1)
        self.ways = np.array([way for offer in offers for way in offer.ways])
        self.begin = np.cumsum([0, *(len(offer.ways) for offer in offers)])[:-1]
        self.enter = np.array(clock.enter)[self.ways]
        self.total = np.array(clock.total_ms)[self.ways]
        self.table = clock.member.spans[0][1]
        self.shown = np.array([ms(lessons.show_s) * len(offer.lessons) for offer in offers])

    def allowed(self, label: Label) -> BoolArray:
        """(offers,) another machine, and no pair that was met."""
        met = np.array([pair in label.met for pair in self.pairs])
        known = np.isin(self.unit, list(label.visited)) | (self.has & met).any(axis=1)
        return np.asarray(~known, dtype=np.bool_)

    def quickest(self, label: Label) -> tuple[FloatArray, IntArray]:
        """(offers,) time for each new pair by the walks of the first span; the way of each."""
        legs = self.table[label.spot.point, self.enter]
        times = np.where(legs >= 0, legs + self.total, NEVER)
        least = np.minimum.reduceat(times, self.begin)
        spans = np.diff([*self.begin, len(self.ways)])
        first = np.flatnonzero(times == np.repeat(least, spans))
        way = self.ways[first[np.searchsorted(first, self.begin)]]
        surplus = np.array([self.lessons.surplus(n) for n in label.counts])
        longer = self.shown + 1000 * (self.lessons.standard_s @ surplus)
        return (least + longer) / self.count, way


@dataclass(frozen=True, eq=False)
class Search:
    """One search over labels, those of as many pairs together."""

    lessons: Lessons
    thorough: bool
    most_labels: int

    def run(self) -> Frontier:
        """The frontier of walks."""
        most = len(self.lessons.pairs)
        buckets: list[dict[object, list[Label]]] = [{} for _ in range(most + 1)]
        self._keep(buckets, self.lessons.start())
        exact, tried, walks = self.thorough, 0, []
        for bucket in buckets:
            labels = [label for group in bucket.values() for label in group]
            if len(labels) > self.most_labels:
                exact = False
                labels = sorted(labels, key=lambda x: x.spot.ready_ms)[: self.most_labels]
            walks += self._best(labels)
            for label in labels:
                for number, way in self._next(label):
                    tried += 1
                    after = self.lessons.after(label, number, way)
                    if after is not None:
                        self._keep(buckets, after)
            if self.thorough and tried > FEW_STEPS:
                return Frontier((), exact=False)
        return Frontier(tuple(walks), exact)

    def _best(self, labels: Sequence[Label]) -> list[WalkFound]:
        """Of labels with as many pairs the one that is back first."""
        ends = [(self.lessons.clock.home(x.spot), k) for k, x in enumerate(labels) if x.steps]
        finish, k = min(ends, default=(NEVER, 0))
        if finish >= NEVER:
            return []
        return [WalkFound(len(labels[k].met), finish, labels[k].steps)]

    def _next(self, label: Label) -> list[tuple[int, int]]:
        """(offer, way) that may come next."""
        arrays = self.lessons.arrays
        fine = np.flatnonzero(arrays.allowed(label))
        if self.thorough:
            return [(int(n), way) for n in fine for way in self.lessons.offers[n].ways]
        pace, way = arrays.quickest(label)
        best = fine[np.argsort(pace[fine], kind="stable")[:NEXT_OFFERS]]
        return [(int(n), int(way[n])) for n in best]

    def _keep(self, buckets: list[dict[object, list[Label]]], label: Label) -> None:
        """The label, unless another with the same future is as good; those it is better than go."""
        group = buckets[len(label.met)].setdefault(self._future(label), [])
        clock = self.lessons.clock
        if any(clock.dominates(other.spot, label.spot) for other in group):
            return
        group[:] = [other for other in group if not clock.dominates(label.spot, other.spot)]
        group.append(label)

    def _future(self, label: Label) -> object:
        """What decides what can still be met, and how long it takes."""
        pairs, kinds = self._ahead(label.visited)
        counts = tuple(n for n, kind in zip(label.counts, self.lessons.kinds, strict=True)
                       if kind in kinds)  # fmt: skip
        return label.visited, label.met & pairs, counts

    def _ahead(self, visited: frozenset[int]) -> tuple[frozenset[Pair], frozenset[str]]:
        if visited not in self._known:
            left = [o for o in self.lessons.offers if o.unit not in visited]
            pairs = frozenset().union(*(o.pairs for o in left))
            self._known[visited] = pairs, frozenset(kind for _, kind in pairs)
        return self._known[visited]

    @cached_property
    def _known(self) -> dict[frozenset[int], tuple[frozenset[Pair], frozenset[str]]]:
        return {}


def search(lessons: Lessons) -> Frontier:
    """Every walk where they are few; else the most promising ones, a counted number of steps."""
    if not lessons.offers:
        return Frontier((), exact=True)
    ways = sum(len(offer.ways) for offer in lessons.offers)
    if ways <= np.sqrt(FEW_STEPS):
        found = Search(lessons, True, FEW_STEPS).run()
        if found.exact:
            return found
    labels = max(LEAST_LABELS, MOST_STEPS // (NEXT_OFFERS * max(1, len(lessons.pairs))))
    return Search(lessons, False, labels).run()
