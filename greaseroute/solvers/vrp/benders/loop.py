"""A bound on the last finish over every way of sharing the units out among a few technicians.

Aims are set below the plan at hand. A share by which no tariff of any technician exceeds the time
he has before the aim is sought; linear programs near that share give tariffs that exclude it, and
others like it; where none is left, no plan ends before the aim. (Benders' decomposition, 1962, with
the sets of the cuts told by whether they are met, in whole numbers throughout.)
"""

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from greaseroute.solvers.arrays import BoolArray, FloatArray, IntArray
from greaseroute.solvers.vrp.benders.cut import Tariff
from greaseroute.solvers.vrp.benders.master_search import Sharers, Unsettled, evened_out
from greaseroute.solvers.vrp.benders.route_points import RoundLegs, bag_of, round_legs
from greaseroute.solvers.vrp.benders.subproblem import NoOptimum, RoundProgram
from greaseroute.solvers.vrp.problem import CrewProblem

if TYPE_CHECKING:
    from greaseroute.solvers.vrp.benders.master_cp import ShareModel

Given = tuple[tuple[int, int], ...]  # units that are given to a technician: a part of all shares

MOST_CREW, MOST_UNITS = 2, 80  # beyond these the shares are too many
MOST_LESSONS = 40  # shares that tariffs are learned from
FEW_LESSONS = 6  # after which a harder aim is tried
FIRST_GAP, HARDER_GAPS, EASIER_GAPS = 2.0, (1.0, 0.5, 0.0), (2.5, 3.0, 4.0, 5.0, 7.0)
# Of looking for shares, in the solver's own units (about twice as many seconds): for one, for an
# easier aim, in all.
EFFORT, LITTLE_EFFORT, WHOLE_EFFORT = 2.0, 0.5, 5.0
NEARNESS = (0.7, 0.3, 0.0)  # of a share: how much of one in doubt is mixed in
DRIFT = 0.05  # of the share in doubt, towards each share learned from
IN_DOUBT = 0.5  # of each unit, parted evenly in a share in doubt; the rest is as in the plan


@dataclass(frozen=True, slots=True, eq=False)
class Question:
    """How early can a crew be home: ``who`` (T,) take part, ``ways`` sorted by unit.

    ``share`` (units,) is the place in ``who`` of the one who visits in the plan at hand, -1 where
    nobody does; the plan ends at ``worth_ms``, and a hundredth of what its route decides is
    ``per_cent_ms`` for each technician.
    """

    problem: CrewProblem
    who: IntArray
    ways: IntArray
    stores: bool
    share: IntArray
    worth_ms: int
    per_cent_ms: float

    def aim_ms(self, gap_pct: float) -> int:
        """The last finish by which the plan at hand has this gap."""
        return self.worth_ms - int(gap_pct * self.per_cent_ms)


def few_enough(question: Question) -> bool:
    """Whether shares can be gone through."""
    visited = int((question.share >= 0).sum())
    return question.who.size <= MOST_CREW and visited <= MOST_UNITS


class Shares:
    """Tariffs learned so far, by who is like whom."""

    def __init__(self, question: Question) -> None:
        self._q, p = question, question.problem
        self.lessons, self._effort = 0, WHOLE_EFFORT
        self._end = p.end_ms[question.who]
        legs = [round_legs(p, int(t), question.ways, stores=question.stores) for t in question.who]
        bags = tuple(bag_of(p, int(t), question.ways) for t in question.who)
        like, first = _likes(legs)
        self._programs = [RoundProgram(legs[k]) for k in first]
        self._sharers = Sharers(like=like, may=_may(legs, units=p.units), bags=bags)
        self._same = bool(like.max() == 0 and np.ptp(p.start_ms[question.who]) == 0)
        self._same &= len({(b.held, b.full, b.left.tobytes()) for b in bags}) == 1
        self._same &= bool(np.ptp(self._end) == 0)
        whom = np.maximum(1, self._sharers.may.sum(axis=1))
        self._core = IN_DOUBT * self._sharers.may / whom[:, None]
        self._core += (1.0 - IN_DOUBT) * self._whole(question.share)
        self._given = np.zeros(self._sharers.may.shape)  # how often, over all lessons
        self._open: list[Given] = [()]  # parts of all shares in which there may be one
        self._model: ShareModel | None = None  # for the aim at hand
        self._tariffs: list[list[Tariff]] = [[] for _ in first]

    def _learn(self, k: int, wanted: Sequence[tuple[FloatArray, float]]) -> None:
        """Add the tariffs of one sort for shares of its nodes and store visits."""
        for share, store_visits in wanted:
            try:
                found = self._programs[k].learn(share, store_visits, units=self._q.problem.units)
            except NoOptimum:
                continue
            self._tariffs[k].append(found)

    def least(self, over: Callable[[int], bool]) -> int:
        """Bound on the last finish; 0 where nothing was proved."""
        self._lesson(self._q.share, 1.0)
        self._lesson(self._q.share, 0.0)
        if not (self._sharers.may.sum(axis=1) > 1).any():
            return self._finish_ms(self._q.share)
        proved = 0
        for gap in (FIRST_GAP, *HARDER_GAPS):
            aim = self._q.aim_ms(gap)
            if not self._none_before(aim, over):
                break
            proved = aim
            if self.lessons > FEW_LESSONS:
                break
        if proved:
            return proved
        easier = (self._q.aim_ms(gap) for gap in EASIER_GAPS if not over(0))
        return next((aim for aim in easier if self._excluded(aim)), 0)

    def _room_ms(self, aim_ms: int) -> IntArray:
        """The time each technician has in a plan that ends before the aim."""
        start = self._q.problem.start_ms[self._q.who]
        return np.maximum(0, np.minimum(self._end, aim_ms - 1) - start)

    def _none_before(self, aim_ms: int, over: Callable[[int], bool]) -> bool:
        """Whether no plan ends before the aim; false as well where that cannot be told."""
        share, self._open = self._q.share, [()]
        while not over(self.lessons) and self.lessons < MOST_LESSONS:
            try:
                found = self._shares_within(aim_ms, share)
            except Unsettled:
                return False
            if not found:
                return True
            for share in found:
                if not any(self._lesson(share, mixed) > aim_ms - 1 for mixed in NEARNESS):
                    return False
        return False

    def _shares_within(self, aim_ms: int, share: IntArray) -> list[IntArray]:
        room = self._room_ms(aim_ms)
        found = evened_out(
            self._sharers, self._tariffs, room_ms=room, share=share, seed=self.lessons
        )
        return self._any_within(room, effort=EFFORT) if found is None else [found]

    def _any_within(self, room: IntArray, *, effort: float) -> list[IntArray]:
        """Shares within the room if there are any: two parts of all shares gone through at a time.

        A part without any stays without: more tariffs, or less room, only exclude more.
        """
        # its library takes half a second to load, which a round that needs no proof is spared
        from greaseroute.solvers.vrp.benders.master_cp import Answer, ShareModel

        if self._model is None or (room != self._model.room_ms).any():
            self._model = ShareModel(self._sharers, room_ms=room, alike=self._same)
        model = self._model
        model.learn(self._tariffs)

        def answer(given: Given) -> Answer:
            return model.answer(given, effort=effort)

        while self._open:
            if self._effort <= 0.0:
                raise Unsettled
            parts = self._next_parts()
            with ThreadPoolExecutor(len(parts)) as pool:
                answers = list(pool.map(answer, parts))
            self._effort -= sum(answer.spent for answer in answers)
            ruled_out = [p for p, a in zip(parts, answers, strict=True) if a.ruled_out]
            self._open = [part for part in self._open if part not in ruled_out]
            found = [a.share for a in answers if a.share is not None]
            if found:
                return found
            if len(ruled_out) < len(parts):
                raise Unsettled
        return []

    def _next_parts(self) -> list[Given]:
        """Two parts that are still open; a single one is split in two."""
        if len(self._open) == 1:
            (part,) = self._open
            unit = self._most_in_doubt(part)
            if unit is not None:
                may = np.flatnonzero(self._sharers.may[unit]).tolist()
                self._open = [(*part, (unit, t)) for t in may]
        return self._open[:2]

    def _most_in_doubt(self, part: Given) -> int | None:
        """The unit that lessons gave to one technician about as often as to another."""
        movable = self._sharers.may.sum(axis=1) > 1
        movable[[unit for unit, _ in part]] = False
        if not movable.any():
            return None
        often = np.where(self._sharers.may, self._given, self.lessons + 1)
        return int(np.where(movable, often.min(axis=1), -1).argmax())

    def _excluded(self, aim_ms: int) -> bool:
        try:
            return not self._any_within(self._room_ms(aim_ms), effort=LITTLE_EFFORT)
        except Unsettled:
            return False

    def _lesson(self, share: IntArray, mixed: float) -> int:
        """Learn tariffs near a share; when the last one ends by it at least."""
        self.lessons += 1
        whole = self._whole(share)
        self._core += DRIFT * (whole - self._core)
        self._given += whole
        wanted: dict[int, list[tuple[FloatArray, float]]] = {}
        for t, k in enumerate(self._sharers.like.tolist()):
            legs = self._programs[k].legs
            units, node = legs.unit[: legs.real], np.zeros(legs.nodes)
            node[: units.size] = ((1.0 - mixed) * whole + mixed * self._core)[units, t]
            visits = self._sharers.bags[t].store_visits(np.flatnonzero(share == t))
            wanted.setdefault(k, []).append((node, float(visits)))
        with ThreadPoolExecutor(len(wanted)) as pool:  # each sort has a program of its own
            list(pool.map(self._learn, wanted, wanted.values()))
        return self._finish_ms(share)

    def _whole(self, share: IntArray) -> FloatArray:
        """(units, T) one where a unit is visited, zero elsewhere."""
        whole = np.zeros(self._sharers.may.shape)
        taken = np.flatnonzero(share >= 0)
        whole[taken, share[taken]] = 1.0
        return whole

    def _finish_ms(self, share: IntArray) -> int:
        """When the last one ends at least, by the tariffs known; past his end as if never."""
        last = 0
        for t, k in enumerate(self._sharers.like.tolist()):
            mine = np.flatnonzero(share == t)
            visits = self._sharers.bags[t].store_visits(mine)
            time = max((f.least_ms(mine, visits) for f in self._tariffs[k]), default=0)
            ends = int(self._q.problem.start_ms[self._q.who[t]]) + time
            last = max(last, ends if ends <= self._end[t] else self._q.worth_ms)
        return last


def _likes(legs: Sequence[RoundLegs]) -> tuple[IntArray, list[int]]:
    """The number of each technician's sort, and the first of each sort."""
    seen: dict[bytes, int] = {}
    first: list[int] = []
    like = np.zeros(len(legs), dtype=np.int64)
    for t, one in enumerate(legs):
        arrays = (one.unit, one.cost_ms, one.way_node, one.way_in, one.way_out, one.way_ms)
        key = b"".join(np.array(a.shape).tobytes() + a.tobytes() for a in arrays)
        if key not in seen:
            seen[key] = len(first)
            first.append(t)
        like[t] = seen[key]
    return like, first


def _may(legs: Sequence[RoundLegs], *, units: int) -> BoolArray:
    may = np.zeros((units, len(legs)), dtype=bool)
    for t, one in enumerate(legs):
        may[one.unit[: one.real], t] = True
    return may
