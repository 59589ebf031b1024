"""The card on paper: a pocket list and the type book as PDF, laid out by typst (extra ``pdf``).

Nothing of it asks for a browser or a font of the machine: the typesetter brings its own. Drawings
stand in the type book, which is printed once for a site; the list gives the numbers of that book.
"""

import io
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from greaseroute.cards.card_model import StandBlock, StopBlock, WalkBlock, walk_blocks
from greaseroute.cards.card_stops import minded
from greaseroute.cards.card_words import filled, in_language
from greaseroute.cards.cautions import AID, own_cautions, sources
from greaseroute.cards.emergency import emergency
from greaseroute.cards.fitting_names import FittingNames
from greaseroute.cards.leaving import leaving
from greaseroute.cards.stop_signs import StopSigns
from greaseroute.cards.type_sheet import numbered_scene
from greaseroute.cards.typesetter import typeset
from greaseroute.drawings.drawing import side_view, top_view
from greaseroute.drawings.map_svg import map_svg
from greaseroute.plan.round import FittingTask, RoundPlan
from greaseroute.plan.tally import left_by_reason
from greaseroute.site.fleet import Unit
from greaseroute.site.model import Site
from greaseroute.site.placed_units import placed_unit
from greaseroute.texts.language import Language


def card_pdf(
    plan: RoundPlan,
    site: Site,
    *,
    drawn_map: str | None = None,
    walks: Sequence[WalkBlock] | None = None,
) -> bytes:
    """The pocket list of a plan: cautions and isolation once, the map, the walks. PDF.

    The same plan and site give the same bytes. ``drawn_map`` is the map of `map_svg`, ``walks``
    are the blocks of `walk_blocks`, if they are there already. Raises UnknownName where the
    typesetter is not installed.
    """
    pocket = _Pocket(site, plan)
    blocks = walks or walk_blocks(plan, site)
    lists = [{**pocket.walk(walk), "last": walk is blocks[-1]} for walk in blocks]
    data = {**pocket.head(), "walks": lists, "map": drawn_map or map_svg(site, plan)}
    return typeset("pocket.typ", data, datetime.fromisoformat(plan.at))


def type_book_pdf(site: Site) -> bytes:
    """Every machine type of a site, with its attachments, drawn and numbered once. PDF.

    The numbers are those of the pocket lists. Raises UnknownName as `card_pdf` does.
    """
    say = site.say
    data = {
        "lang": say.code,
        "title": say("card.paper.type_book", site=site.name),
        "about": say("card.paper.type_book_about"),
        "types": [_book_entry(site, units) for units in _alike(site)],
    }
    return typeset("types.typ", data, datetime(2000, 1, 1))


def labels_pdf(site: Site) -> bytes:
    """A label for each unit with a QR code (ISO/IEC 18004) of its fleet number. PDF.

    A card opened at the address ``card.html#unit=`` and that number shows the stop of the unit.
    Raises UnknownName as `card_pdf` does.
    """
    labels = [
        {
            "unit": unit.unit,
            "title": in_language(site.say, site.types[unit.type].title),
            "code": _code(unit.unit),
        }
        for unit in site.units
    ]
    data = {"lang": site.say.code, "title": site.name, "site": site.name, "labels": labels}
    return typeset("labels.typ", data, datetime(2000, 1, 1))


def _code(text: str) -> str:
    """A QR code as an SVG document."""
    import segno  # comes with the extra, like the typesetter

    drawn = io.BytesIO()
    segno.make(text, error="q", micro=False).save(drawn, kind="svg", border=2, xmldecl=False)
    return drawn.getvalue().decode()


def _alike(site: Site) -> list[list[Unit]]:
    """Units of the same type with the same attachments, in the order of the fleet list."""
    groups: dict[tuple[str, tuple[str, ...]], list[Unit]] = {}
    for unit in site.units:
        groups.setdefault((unit.type, tuple(unit.attachments)), []).append(unit)
    return list(groups.values())


def _book_entry(site: Site, units: Sequence[Unit]) -> dict[str, Any]:
    unit = units[0].model_copy(update={"heading_deg": 90.0, "slew_deg": 0.0})
    placed = placed_unit(site, unit)
    shown = numbered_scene(placed, north=False)
    names = FittingNames(site.say, placed)
    return {
        "title": in_language(site.say, placed.machine_type.title, placed.machine_type.family),
        "units": ", ".join(unit.unit for unit in units),
        "side": side_view(shown),
        "top": top_view(shown),
        "rows": [{"no": r.label, "name": names.name(r.joint, r.fitting)} for r in names.rows],
    }


@dataclass
class _Pocket:
    """The texts of one pocket list; what many stops share is collected and gets a sign."""

    site: Site
    plan: RoundPlan
    calls: dict[tuple[str, ...], str] = field(default_factory=dict)
    never: dict[str, list[str]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.signs = StopSigns(self.say, tuple(self._all(own_cautions(self.plan.cautions))))
        for item in self.plan.never_pump:
            self.never.setdefault(item.text, []).append(item.unit)

    @property
    def say(self) -> Language:
        return self.site.say

    def word(self, key: str, **values: object) -> str:
        return filled(self.say.plain(f"card.{key}"), values)

    def text(self, english: str, family: str = "") -> str:
        return in_language(self.say, english, family)

    def head(self) -> dict[str, Any]:
        """What stands once, before the lists; called after them, when all is collected."""
        plan, word = self.plan, self.word
        about = f"{self.say.day(plan.at)}. {word('shift', clock=self.say.clock(plan.shift_start))}"
        return {
            "lang": self.say.code,
            "title": f"{plan.site}: {word('title_whole')}",
            "about": f"{about} {word('paper.numbers')}",
            "aid": self.text(AID),
            "words": {
                "isolate": word("isolate"),
                "calls": word("paper.calls"),
                "cautions": word("before_start"),
                "at_stops": word("paper.at_stops"),
                "sources": word("sources"),
                "never": word("never_pump"),
                "inspect": word("look_only"),
                "left": word("left_out"),
                "people": word("people"),
                "meter": word("meter"),
                "bag": [word(key) for key in ("grease", "cartridges", "to_fit", "reserve")],
            },
            "isolation": [[sign, self._all(steps)] for steps, sign in self.signs.isolation.items()],
            "calls": [[sign, self._all(steps)] for steps, sign in self.calls.items()],
            "emergency": emergency(plan, self.say),
            "cautions": self.signs.cautions[: self.signs.general],
            "at_stops": self.signs.cautions[self.signs.general :],
            "sources": [
                f"{keys}: {self.text(source)}"
                for source, keys in sources(plan, self.site.time_zone)
            ],
            "never": [f"{self.text(text)}: {', '.join(of)}" for text, of in self.never.items()],
            "inspect": list(self._inspected()),
            "left": list(self._left()),
            "people": list(self._people()),
            "leaving": leaving(plan, self.say),
        }

    def _all(self, texts: Iterable[str]) -> list[str]:
        return [self.text(text) for text in texts]

    def _inspected(self) -> Iterator[str]:
        """Joints only looked at, those of a unit in one line."""
        joints: dict[str, list[str]] = {}
        for item in self.plan.inspect:
            joints.setdefault(item.unit, []).append(self.text(item.joint))
        return (f"{unit}: {', '.join(names)}" for unit, names in joints.items())

    def _people(self) -> Iterator[str]:
        """Who has to come: when, to which machine, with whom."""
        clock = self.say.clock
        for call in self.plan.people:
            what = self.text(call.joint or call.posture)
            span = f"{clock(call.begin)}\N{EN DASH}{clock(call.end)}"
            yield f"{span} {call.person}: {call.unit}, {what} ({call.technician})"

    def _left(self) -> Iterator[str]:
        for (reason, _), units in left_by_reason(self.plan).items():
            of = "; ".join(
                f"{u} {', '.join(self.text(i.joint) for i in items)}" for u, items in units.items()
            )
            yield f"{self.text(reason)}: {of}"

    def walk(self, walk: WalkBlock) -> dict[str, Any]:
        """One technician's list."""
        self.signs.begin_walk()
        person, clock, word = walk.technician, self.say.clock, self.word
        times = (
            f"{word('start')} {clock(person.start)} {person.start_place}; "
            f"{word('finish')} {clock(person.finish)} {person.finish_place}; "
            f"{person.walk_m:.0f} m; {word('fittings')} {walk.work.fittings}"
        )
        bag = [[f"{grease}, {guns}", str(carry), str(used), str(reserve)]
               for grease, guns, carry, used, reserve in walk.bag]  # fmt: skip
        stops = [self._stop(stop) for stop in walk.stops]
        return {"name": person.name, "times": times, "bag": bag, "stops": stops}

    def _stop(self, stop: StopBlock) -> dict[str, Any]:
        unit = next((u for u in self.site.units if u.unit == stop.unit and not stop.reload), None)
        return {
            "label": stop.label,
            "unit": self.word("to_store", place=stop.unit) if stop.reload else stop.unit,
            "title": self.text(stop.title),
            "times": f"{stop.arrive}\N{EN DASH}{stop.leave}",
            "way": self._way(stop),
            "notes": stop.notes,
            "mind": self._mind(stop),
            "places": self._places(stop, unit) if unit else [],
            "load": "; ".join(
                self.word("take", n=n, grease=grease) for grease, n in stop.load.items()
            ),
            "meter": unit is not None,
        }

    def _way(self, stop: StopBlock) -> str:
        leg = stop.leg
        if not leg.length_m:
            return ""
        direction = self.word(f"direction.{leg.direction}")
        named = [self.word("way", m=f"{leg.length_m:.0f}", direction=direction)]
        for item in leg.mind:
            key, values = minded(item)
            named.append(self.word(key, **values))
        return "; ".join(named)

    def _mind(self, stop: StopBlock) -> str:
        """Signs of what stands on the first sheet: isolation, cautions, never pump."""
        parts = self.signs.of_stop(stop)
        never = [i.joint for i in self.plan.never_pump if i.unit == stop.unit]
        if never and not stop.reload:
            parts.append(f"{self.word('never_pump')}: {', '.join(self._all(dict.fromkeys(never)))}")
        return ". ".join(parts)

    def _places(self, stop: StopBlock, unit: Unit) -> list[dict[str, Any]]:
        names = FittingNames(self.say, placed_unit(self.site, unit))
        gun = [""]
        return [
            self._place(stand, names, gun=gun) for block in stop.postures for stand in block.stands
        ]

    def _place(self, stand: StandBlock, names: FittingNames, *, gun: list[str]) -> dict[str, Any]:
        call = before = ""
        if stand.call:
            sign = self.calls.setdefault(stand.before, f"C{len(self.calls) + 1}")
            call = self.word("paper.call_as", sign=sign)
        else:
            before = "; ".join(self.text(step) for step in stand.before)
        rows = [self._row(row.task, names, put_in=row.put_in, gun=gun) for row in stand.pumps]
        rows += [
            {"no": "", "name": f"{self.word('check')}: {self.text(look.task.name)}",
             "strokes": "", "gun": "", "change": ""}
            for look in stand.looks
        ]  # fmt: skip
        where = self.text(stand.where)
        return {
            "letter": stand.letter, "where": where, "before": before, "call": call, "rows": rows
        }  # fmt: skip

    def _row(
        self, task: FittingTask, names: FittingNames, *, put_in: int, gun: list[str]
    ) -> dict[str, str]:
        new_gun = f"{task.gun} ({task.grease})" if task.gun != gun[0] else ""
        gun[0] = task.gun
        change = {"n": put_in, "grease": task.grease, "gun": task.gun}
        return {
            "no": names.number(task.joint, task.fitting),
            "name": names.name(task.joint, task.fitting),
            "strokes": f"{task.strokes}\N{MULTIPLICATION SIGN}",
            "gun": new_gun,
            "change": self.word("new_cartridge", **change) if put_in else "",
        }
