"""The first day on paper: what learner and mentor carry, laid out by typst (extra ``pdf``).

Machines stand in the order walked, each with its drawings beside its fittings and with what is new
there; cautions, isolation and words stand once.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from greaseroute.cards.card_model import PostureBlock, PumpRow, StandBlock, StopBlock, WalkBlock
from greaseroute.cards.card_words import in_language
from greaseroute.cards.cautions import aid, own_cautions, sources
from greaseroute.cards.emergency import emergency
from greaseroute.cards.first_day_html import (
    MAP_PX,
    SignOff,
    inspected,
    learner_walks,
    not_met_rows,
    sign_off_list,
)
from greaseroute.cards.lessons import glossary, lesson_of, questions, troubles
from greaseroute.cards.stop_signs import StopSigns
from greaseroute.cards.typesetter import capital, halved, sized_picture, typeset
from greaseroute.drawings.drawing import STYLE
from greaseroute.drawings.map_svg import map_svg
from greaseroute.plan.first_day import FirstDay, LearnerStop, Lesson
from greaseroute.site.model import Site
from greaseroute.texts.language import Language

S_PER_MIN = 60.0
WORDS = (
    "walk", "goes_wrong", "questions", "words", "days_after", "sign_off", "not_met", "left_out",
    "learn", "never", "check_only", "side", "top", "marks", "cross", "no", "paper.isolation",
    "paper.elsewhere", "paper.when", "paper.machine", "paper.lessons", "paper.shows_min",
    "sources",
)  # fmt: skip


def first_day_pdf(
    first: FirstDay, site: Site, *, walks: Sequence[WalkBlock] | None = None
) -> bytes:
    """The sheets of a first day. PDF.

    The same day and site give the same bytes. ``walks`` are the blocks of `learner_walks`, if they
    are there already. Raises UnknownName where the typesetter is not installed.
    """
    blocks = learner_walks(first, site) if walks is None else walks
    stops = {block.unit: block for walk in blocks for block in walk.stops}
    signs = StopSigns(site.say, tuple(own_cautions(first.round.cautions)))
    sheets = _Sheets(first, site, stops, signs)
    return typeset("first_day.typ", sheets.data(), datetime.fromisoformat(first.at))


@dataclass
class _Sheets:
    """The texts of the sheets; isolation and cautions of the stops are collected with a sign."""

    first: FirstDay
    site: Site
    blocks: dict[str, StopBlock]
    signs: StopSigns
    met: set[str] = field(default_factory=set)

    @property
    def say(self) -> Language:
        return self.site.say

    def word(self, key: str, **values: object) -> str:
        return self.say(f"first_day.{key}", **values)

    def text(self, english: str, family: str = "") -> str:
        return in_language(self.say, english, family)

    def data(self) -> dict[str, Any]:
        """All that the template shows."""
        first, word = self.first, self.word
        stops = [self._stop(number, stop) for number, stop in enumerate(first.stops, 1)]
        return {
            "lang": self.say.code,
            "title": word("head", site=first.site, learner=first.learner),
            "aid": aid(self.say),
            "lead": list(self._lead()),
            "figures": self._figures(),
            "words": self._words(),
            "walk": [self._walk_row(number, stop) for number, stop in enumerate(first.stops, 1)],
            "after": list(self._after_walk()),
            "map": map_svg(self.site, first.round, width_px=MAP_PX),
            "emergency": emergency(first.round, self.say),
            "cautions": self._cautions(0, self.signs.general),
            "at_stops": self._cautions(self.signs.general, len(self.signs.cautions)),
            "sources": [
                f"{keys}: {self.say.sentence(source)}."
                for source, keys in sources(first.round, self.site.time_zone)
            ],
            "isolation": [
                [sign, self._told(steps)] for steps, sign in self.signs.isolation.items()
            ],
            "stops": stops,
            "troubles": halved([[t.name, t.shows, t.do] for t in troubles(self.say)]),
            "questions": list(questions(self.say)),
            "glossary": halved([[w.word, w.meaning] for w in glossary(self.say)]),
            "later": list(self._later()),
            "not_met": list(self._not_met()),
            "left": list(self._left()),
            "sign": list(self._sign()),
            "notes": list(self._notes()),
        }

    def _words(self) -> dict[str, str]:
        """What stands once on the sheets."""
        first, word = self.first, self.word
        told = {key.removeprefix("paper."): word(key) for key in WORDS}
        told["before_touch"] = word("before_touch", n=self.signs.general)
        told["at_stops"] = str(self.say.plain("card.paper.at_stops"))
        told["signs"] = word(
            "signs", mentor=capital(self.say.name(self.first.mentor)), learner=first.learner
        )
        return told

    def _cautions(self, first: int, end: int) -> list[list[list[str]]]:
        """Number and text of some of the cautions, in two columns."""
        return halved([[str(k + 1), self.signs.cautions[k]] for k in range(first, end)])

    def _lead(self) -> Iterator[str]:
        """Where and when it begins, what is carried, when it ends."""
        first, say, word = self.first, self.say, self.word
        start = word("start", place=first.start_place, clock=say.clock(first.at))
        yield start + word(
            "on_day", day=say.day(first.at), mentor=capital(self.say.name(self.first.mentor))
        )
        kit = "kit" if len(first.guns) > 1 else "kit_one"
        carried = [
            word("cartridges_of", cartridges=say.count(n, "cartridge"), grease=grease)
            for grease, n in first.carry.items()
        ]
        bag = f"{', '.join(carried)}; " if carried else ""
        yield f"{word('carry')} {bag}{word(kit, guns=say.listed(first.guns))}"
        machines = say.count(len(first.stops), "to_machine")
        yield word(
            "back", machines=machines, place=first.finish_place, clock=say.clock(first.finish)
        )

    def _figures(self) -> list[list[str]]:
        first, number, word = self.first, self.say.number, self.word
        covered = word("of", n=first.choice.covered, all=first.choice.wanted)
        return [
            [capital(word("machines")), str(len(first.stops))],
            [capital(word("joints")), str(sum(len(stop.lessons) for stop in first.stops))],
            [capital(word("your_pace")), f"{number(first.learner_min)} min"],
            [capital(word("known_pace")), f"{number(first.standard_min)} min"],
            [capital(word("kinds_met")), covered],
        ]

    def _walk_row(self, number: int, stop: LearnerStop) -> dict[str, Any]:
        """One line of the overview: when, which machine, how far, what is learnt, who shows."""
        clock = self.say.clock
        return {
            "no": str(number),
            "times": f"{clock(stop.arrive)}\N{EN DASH}{clock(stop.leave)}",
            "unit": stop.unit,
            "way": self._way(stop),
            "lessons": ", ".join(self._lesson(each, stop.family) for each in stop.lessons),
            "shows": self.say.number(stop.shown_s / S_PER_MIN),
        }

    def _way(self, stop: LearnerStop) -> str:
        say, word = self.say, self.word
        parts = [word("further", family=say.name(stop.family), walk_m=stop.walk_m)]
        if stop.wait_s >= 30:
            parts.append(word("wait_there", minutes=stop.wait_s / S_PER_MIN))
        if stop.released:
            parts.append(word("it_leaves", clock=say.clock(stop.released)))
        return "; ".join(parts)

    def _lesson(self, lesson: Lesson, family: str) -> str:
        return f"{self.say.name(lesson.joint, family)} ({', '.join(self._about(lesson))})"

    def _about(self, lesson: Lesson) -> Iterator[str]:
        """The kind of a lesson, whether it is new, whether somebody else is needed."""
        yield self.say.name(lesson.kind)
        if lesson.nth == 1:
            yield self.word("first_time")
        if lesson.second_person:
            yield self.word("second_person")

    def _after_walk(self) -> Iterator[str]:
        """What is done with time left, what is left out when late, the mentor's minutes."""
        first, say, word = self.first, self.say, self.word
        if first.repeat:
            again = ", ".join(
                f"{say.name(each.joint, each.family)} ({say.name(each.kind)}, "
                f"{word('paper.takes', s=each.learner_s)})"
                for each in first.repeat
            )
            yield f"{word('time_left')} {word('once_more', unit=first.repeat[0].unit)} {again}."
        if len(first.skip_when_late) > 1:
            yield f"{word('late')} {word('leave_out')} {self._skipped()}. {word('day_two')}"
        mentor = capital(say.name(first.mentor))
        walked, shown = first.mentor_min, first.mentor_shows_min
        yield word("mentor_walks", mentor=mentor, minutes=walked, shown=shown)
        if first.easy_first:
            yield word("easy_first")
        yield word("curve", first=first.curve.first, percent=100 * first.curve.rate)

    def _skipped(self) -> str:
        """Machines in the order in which they are left out, with the minutes that gives back."""
        then = f", {self.word('then')} "
        return then.join(
            f"{skip.unit} ({self.say.number(skip.minutes)} min, {self._named(skip.kinds)})"
            for skip in self.first.skip_when_late
        )

    def _named(self, names: Sequence[str]) -> str:
        return self.say.listed(map(self.say.name, names))

    def _told(self, texts: Sequence[str], family: str = "") -> list[str]:
        return [in_language(self.say, text, family) for text in texts]

    def _stop(self, number: int, stop: LearnerStop) -> dict[str, Any]:
        """One machine: what comes before the first fitting, drawings, fittings, what is new."""
        block = self.blocks.get(stop.unit)
        machine_type = self.site.types.get(stop.type)
        clock, shown = self.say.clock, stop.shown_s / S_PER_MIN
        shows = (
            self.word("shows", minutes=shown, mentor=self.say.name(self.first.mentor))
            if stop.shown_s >= 1
            else ""
        )
        lessons = {each.joint: each for each in stop.lessons}
        return {
            "no": str(number),
            "unit": stop.unit,
            "title": self.say.name(machine_type.title) if machine_type else stop.type,
            "times": f"{clock(stop.arrive)}\N{EN DASH}{clock(stop.leave)}",
            "about": "; ".join(
                t for t in (self._way(stop), shows, block.notes if block else "") if t
            ),
            "mind": self.signs.named(block) if block else "",
            "never": self._told(block.never_pump, stop.family) if block else [],
            "inspect": inspected(block, stop.family, self.say) if block else [],
            "postures": [self._posture(p, lessons, stop.family) for p in block.postures]
            if block
            else [],
            "kinds": halved([self._kind(kind) for kind in self._new_kinds(stop)]),
        }

    def _posture(
        self, block: PostureBlock, lessons: dict[str, Lesson], family: str
    ) -> dict[str, Any]:
        return {
            "stands": self.word("paper.stands", posture=self.say.name(block.posture)),
            "side": sized_picture(block.side, STYLE),
            "top": sized_picture(block.top, STYLE),
            "places": [self._place(stand, lessons, family) for stand in block.stands],
        }

    def _place(self, stand: StandBlock, lessons: dict[str, Lesson], family: str) -> dict[str, Any]:
        """A stand with its fittings, each with what it teaches."""
        rows = [self._row(row, lessons.get(row.task.joint), family) for row in stand.pumps]
        looks = [
            self.word("check", name=self.say.name(r.task.name), what=self.say.name(r.task.what))
            for r in stand.looks
        ]
        return {
            "letter": stand.letter,
            "where": self.text(stand.where, family),
            "before": [self.word("first", step=self.text(step, family)) for step in stand.before],
            "rows": rows,
            "looks": looks,
        }

    def _row(self, row: PumpRow, lesson: Lesson | None, family: str) -> dict[str, str]:
        task, say, word = row.task, self.say, self.word
        height = say.number(float(row.height_m), 1)
        held = word("height", height_m=height, body=word(f"band_{task.band}"))
        about = [*self._about(lesson), word("paper.takes", s=lesson.learner_s)] if lesson else []
        fit = word("fit", cartridges=say.count(row.put_in, "cartridge"), grease=task.grease)
        return {
            "no": str(row.number),
            "name": f"{say.name(task.joint, family)}, {self.text(row.fitting, family)}",
            "strokes": f"{task.strokes}\N{MULTIPLICATION SIGN}",
            "detail": "; ".join([f"{task.gun} ({task.grease})", held, ", ".join(about)]).rstrip(
                "; "
            ),
            "change": fit if row.put_in else "",
        }

    def _new_kinds(self, stop: LearnerStop) -> list[str]:
        kinds = [k for k in dict.fromkeys(each.kind for each in stop.lessons) if k not in self.met]
        self.met.update(kinds)
        return kinds

    def _kind(self, kind: str) -> list[str]:
        lesson = lesson_of(kind, self.say)
        told = f"{lesson.what} {lesson.how}"
        return [capital(lesson.kind), told, self.word("look_for"), lesson.look_for]

    def _later(self) -> Iterator[list[str]]:
        """What is left for days two and three."""
        say = self.say
        for later in self.first.later:
            joints = ", ".join(
                f"{each.unit} {self._lesson(each, each.family)}" for each in later.lessons
            )
            yield [self.word("day_about", day=later.day, minutes=later.minutes), joints]
        if not self.first.later:
            yield ["", self.word("nothing_later", mentor=say.name(self.first.mentor))]

    def _not_met(self) -> Iterator[str]:
        for family, kinds, why in not_met_rows(self.first):
            yield f"{self.say.name(family)}: {self._named(kinds)}; {self.say.sentence(why)}"

    def _left(self) -> Iterator[str]:
        for left in self.first.left:
            yield f"{left.unit} {self.say.name(left.joint)}: {self.say.sentence(left.reason)}"

    def _sign(self) -> Iterator[dict[str, Any]]:
        """What is signed for: each kind with what one can do then, and a line a machine."""
        kinds: dict[str, list[SignOff]] = {}
        for line in sign_off_list(self.first, self.say):
            kinds.setdefault(line.kind, []).append(line)
        for kind, lines in kinds.items():
            yield {
                "kind": capital(self.say.name(kind)),
                "can_do": f"{self.word('can_do', learner=self.first.learner)} {lines[0].can_do}",
                "lines": [
                    self.word(
                        "paper.sign_line", family=self.say.name(s.family), unit=s.unit, day=s.day
                    )
                    for s in lines
                ],
            }

    def _notes(self) -> Iterator[str]:
        choice = self.first.choice
        key = "chosen_proved" if choice.status == "optimal" else "chosen"
        yield self.word(key, n=choice.covered, all=choice.wanted)
        for note in self.first.notes:
            yield f"{capital(self.say.sentence(note))}."
