"""Do greases, guns, technicians and places belong together? Looks at the raw tables, so that a
mistake in one record does not hide those in others."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from typing import get_args

from greaseroute.catalogue.machine_type import Family
from greaseroute.catalogue.shelf import shelf_names
from greaseroute.errors import Fault
from greaseroute.site.files.draft import SITE, Draft
from greaseroute.site.mixing import mix_greases, mix_thickeners
from greaseroute.site.moment import time_of_day
from greaseroute.texts.validation import unknown_name

DAY_MIN = 24 * 60


def crew_faults(draft: Draft) -> Iterator[Fault]:
    """Every fault of the crew's references."""
    for check in (
        doubled_names,
        gun_greases,
        gun_mixes,
        technician_guns,
        guns_shared,
        technician_places,
        people_hours,
        people_machines,
    ):
        yield from check(draft)


def doubled_names(draft: Draft) -> Iterator[Fault]:
    """Two greases, guns, technicians or severities of one name."""
    for kind in ("grease", "gun", "technician", "severity", "person"):
        counts = Counter(draft.settings.names(kind))
        seen: set[str] = set()
        for number, entry in draft.settings.entries(kind):
            name = entry.get("name")
            if isinstance(name, str) and counts[name] > 1 and name in seen:
                fault = _Entry(draft, (kind, number, "name"), name)
                yield fault("name", f"each {kind} once", "rename one of them")
            seen.add(str(name))


def gun_greases(draft: Draft) -> Iterator[Fault]:
    """A gun with a grease that the site does not keep."""
    known = draft.settings.names("grease")
    for number, gun in draft.settings.entries("gun"):
        grease = gun.get("grease")
        if isinstance(grease, str) and grease not in known:
            fault = _Entry(draft, ("gun", number, "grease"), grease)
            yield fault("grease", *unknown_name(grease, known, define="add a [[grease]]"))


def gun_mixes(draft: Draft) -> Iterator[Fault]:
    """A gun that held another grease, which by the published chart does not mix with its own."""
    greases = {grease.name: grease for grease in draft.settings.good("grease")}
    for number, gun in draft.settings.entries("gun"):
        before, now = gun.get("held_before"), greases.get(str(gun.get("grease")))
        if not isinstance(before, str) or not before or now is None:
            continue
        one = greases.get(before)
        mix = mix_thickeners(before, now.thickener) if one is None else mix_greases(one, now)
        if not mix.mix:
            fault = _Entry(draft, ("gun", number, "held_before"), before)
            do = f"clean the gun and take the line out, or use another gun ({mix.text})"
            yield fault("held_before", f"a grease that mixes with {now.name}", do)


def technician_guns(draft: Draft) -> Iterator[Fault]:
    """A technician with a gun that nobody has described."""
    known = draft.settings.names("gun")
    for number, person in draft.settings.entries("technician"):
        guns = person.get("guns")
        for place, gun in enumerate(guns if isinstance(guns, list) else []):
            if isinstance(gun, str) and gun not in known:
                fault = _Entry(draft, ("technician", number, "guns", place), gun)
                yield fault("guns", *unknown_name(gun, known, define="add a [[gun]]"))


def guns_shared(draft: Draft) -> Iterator[Fault]:
    """One gun for two technicians who walk at once; a learner may share the mentor's."""
    holder: dict[str, str] = {}
    for number, person in draft.settings.entries("technician"):
        guns = person.get("guns")
        if person.get("learner") is True or not isinstance(guns, list):
            continue
        name = str(person.get("name") or number + 1)
        for place, gun in enumerate(guns):
            if isinstance(gun, str) and holder.setdefault(gun, name) != name:
                fault = _Entry(draft, ("technician", number, "guns", place), gun)
                do = f"technician {holder[gun]} has it: describe a [[gun]] for each"
                yield fault("guns", "a gun of one's own", do)


def technician_places(draft: Draft) -> Iterator[Fault]:
    """A walk that starts or ends at a place the ground plan does not have."""
    if draft.ground is None:
        return
    known = [*(p.name for p in draft.ground.places), *draft.unread_places]
    for number, person in draft.settings.entries("technician"):
        for field in ("start", "finish"):
            place = person.get(field)
            if isinstance(place, str) and place not in known:
                fault = _Entry(draft, ("technician", number, field), place)
                do = "add a place to ground.geojson"
                yield fault(field, *unknown_name(place, known, define=do))


def people_hours(draft: Draft) -> Iterator[Fault]:
    """People whose hours never meet the round: nobody could ever call them."""
    text = draft.settings.text.data
    try:
        first, last = (_minute(text[name]) for name in ("round_start", "shift_start"))
    except (KeyError, ValueError):
        return
    for number, entry in draft.settings.entries("person"):
        try:
            begin, end = (_minute(entry[name]) for name in ("on_site_from", "on_site_to"))
        except (KeyError, ValueError):
            continue
        if not _meet((first, last), (begin, end)):
            fault = _Entry(draft, ("person", number, "on_site_from"), str(entry["on_site_from"]))
            allowed = f"hours that meet the round, {text['round_start']} to {text['shift_start']}"
            yield fault("on_site_from", allowed, "correct the hours, or take the person out")


def _minute(clock: object) -> int:
    """Minutes after midnight. Raises ValueError for what is no time of day."""
    moment = time_of_day(str(clock))
    return 60 * moment.hour + moment.minute


def _meet(one: tuple[int, int], other: tuple[int, int]) -> bool:
    """Whether two daily stretches, in minutes, have a minute in common; equal ends: all day."""
    long = [(end - begin - 1) % DAY_MIN + 1 for begin, end in (one, other)]
    gap = (other[0] - one[0]) % DAY_MIN
    return gap < long[0] or DAY_MIN - gap < long[1]


def people_machines(draft: Draft) -> Iterator[Fault]:
    """A person who operates what is neither a family nor a type of the site."""
    types = [t for t in draft.types.values() if t is not None]
    known = sorted({*get_args(Family), *(t.name for t in types), *shelf_names()})
    for number, entry in draft.settings.entries("person"):
        names = entry.get("operates")
        for place, name in enumerate(names if isinstance(names, list) else []):
            if isinstance(name, str) and name not in known:
                fault = _Entry(draft, ("person", number, "operates", place), name)
                do = "name a family of `greaseroute explain family` or a type"
                yield fault("operates", *unknown_name(name, known, define=do))


@dataclass(frozen=True, slots=True)
class _Entry:
    """An entry of ``site.toml`` at fault; called with field, allowed and what to do."""

    draft: Draft
    path: tuple[str, int, *tuple[str | int, ...]]
    value: str

    def __call__(self, field: str, allowed: str, do: str) -> Fault:
        kind, number = self.path[:2]
        entry = dict(self.draft.settings.entries(kind))[number]
        record = f"{kind} {entry.get('name') or number + 1}"
        line = self.draft.settings.text.line(self.path)
        return Fault(SITE, line, record, field, self.value, allowed, do)
