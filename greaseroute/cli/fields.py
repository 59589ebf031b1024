"""The files that are read and written, as records whose every field has a sentence.

`schema` prints them as JSON Schema, `explain` answers for a single word. A sentence stands at the
field itself, or in the docstring of its record; `PLAIN` has those that are the same everywhere.
"""

import re
from collections.abc import Iterator
from typing import Any, get_args

from pydantic import BaseModel

DIALECT = "https://json-schema.org/draft/2020-12/schema"
PARTS = ("site", "fleet", "ground", "type", "services")

# How units are written at the end of a name.
UNITS = {
    "_m": "m", "_mm": "mm", "_s": "s", "_min": "min", "_h": "h", "_deg": "deg", "_cm3": "cm3",
    "_g": "g", "_kg": "kg", "_m_s": "m/s", "_pct": "%", "_days": "d", "_g_cm3": "g/cm3",
}  # fmt: skip

PLAIN = {
    "name": "its name, given once in its list",
    "title": "what people call it",
    "link": "the link it is fixed to, by name",
    "links": "rigid parts, by name",
    "position_m": "its place in the frame of its link: x forward, y left, z up",
    "cautions": "keys of the cautions that the card prints, such as LOTO or NOPUMP",
    "notes": "anything else",
    "unit": "fleet number of the unit",
    "joint": "name of the joint on its machine type",
    "fitting": "name of the fitting on its joint",
    "grease": "the grease, by its name in site.toml; in a type what the joint wants",
    "strokes": "full pushes of the gun",
    "x_m": "east coordinate, as in the files of the site",
    "y_m": "north coordinate, as in the files of the site",
    "postures": "postures by name; in a joint those in which it may be greased",
    "posture": "posture by name",
    "fittings": "its fittings",
    "joints": "its pin joints",
    "what": "what it is, in words",
    "reason": "why, in words",
    "role": "what the feature is: one of the roles of `greaseroute explain ground`",
    "arrive": "when the technician comes there, ISO 8601",
    "leave": "when the technician goes on, ISO 8601",
    "walk_m": "metres walked",
    "walk_s": "seconds walked",
    "kind": "what kind it is",
    "source_file": "the file it was read from; not to be given",
    "drops": "names of joints, checks and cylinders that go",
    "takes_place_of": "old link name to new: the old link goes, what spoke of it speaks of the new",
    "looks": "the daily checks",
    "decks": "places on the machine where one may stand",
    "attachments": "what may be hung on the machine",
    "cylinders": "cylinders, pin to pin",
    "four_bars": "linkages of four links that close",
    "family": "machine family, after ISO 6165 where it has a word for it",
    "origin": "where the figures are from",
    "operating_mass_kg": "mass in working order",
    "parent": "the link it hangs on; none for the first",
    "solids": "convex bodies that stand for its outline",
    "dose": "grease for each fitting",
    "interval": "how often: hours, days or every shift, whichever comes first",
    "procedure": "what has to be done beside coupling and pumping",
    "steps": "what is done, one step after another",
    "do": "what is done in this step",
    "by": "who does it: the technician or a second person",
    "minutes": "minutes it takes",
    "machine_moves": "whether the machine or a part of it moves under power in this step",
    "couplings": "places where attachments may be hung on",
    "replaces": "the link whose place an attachment takes",
    "confirmed": "who confirmed interval and dose for this site, when, from what",
    "formerly": "names under which it may be recorded from before",
    "feeds": "the link that the line of a grease block leads to",
    "least": "the least figure that is good",
    "most": "the most that is good",
    "second_person": "whether somebody has to be at the controls",
    "stand_clear": "whether the technician waits outside the swing radius meanwhile",
    "critical": "1 can wait, 2 usual, 3 seizes soon",
    "skill": "what whoever works on it must be instructed in or licensed for",
    "central": "whether a central system feeds it, so that it is looked at and never pumped",
    "never_pump": "whether it only looks like a grease fitting, such as track tension",
    "head": "shape of the fitting: conical, flush, or remote (in a block)",
    "head_link": "the link of the base end",
    "rod_link": "the link of the rod end",
    "head_pin_m": "pin of the base end, in the frame of head_link",
    "rod_pin_m": "pin of the rod end, in the frame of rod_link",
    "retracted_m": "length pin to pin when drawn in",
    "extended_m": "length pin to pin when run out",
    "nlgi": "NLGI grades that fit",
    "thickener": "thickener",
    "moly": "whether molybdenum disulphide is wanted (true), must not be (false), or either",
    "code": "designation such as KP2K-30",
    "gun": "the guns, one [[gun]] each; in a plan the gun used",
    "technician": "the technicians, one [[technician]] each",
    "person": "people who may be called to a machine, one [[person]] each; nobody else is at hand",
    "people": "who has to come: to which machine, when, and where the technician waits",
    "emergency_number": "number to call in an emergency on this site",
    "way_cautions": "cautions of the leg to the stop, each with what it is about",
    "place_cautions": "cautions of where one stands at the stop, each with what it is about",
    "leaving": "machines that go before the shift starts, and the ground that is traffic then",
    "check_ins": "when the technician says that all is well, and to whom; the last on coming back",
    "home_cautions": "cautions of the way back, each with what it is about",
    "begin": "from when somebody has to be there, ISO 8601",
    "end": "until when, ISO 8601",
    "after": "steps to tick after the fittings of the stand",
    "isolation_steps": "the steps of isolation to tick, with their seconds",
    "severity": "working conditions that shorten intervals, one [[severity]] each",
    "couplers": "heads of fittings that its coupler goes on: conical, remote, flush",
    "pivot_m": "where it hangs, in the frame of its parent; of a four-bar the pin there",
    "crank": "the link that drives, a child of ground",
    "coupler": "the link between crank and rocker, a child of the crank",
    "rocker": "the link that follows, a child of ground",
    "coupler_pin_m": "the fourth pin, in the frame of the coupler",
    "rocker_pin_m": "the fourth pin, in the frame of the rocker",
    "rocker_side": "side of the fourth pin, going from the crank pin to the rocker's ground pin",
    "crank_side": "side of the crank pin, going from the fourth pin to the crank's ground pin",
    "height_m": "height above the ground, or in the frame of its link",
    "box_m": "two opposite corners of a box, the lower one first",
    "profile_m": "outline seen from the side as x, z corners; drawn out from one y_m to the other",
    "hull_m": "points whose convex hull it is",
    "format": "version of the file's format",
    "site": "name of the site",
    "at": "the moment planned for, or of the event; ISO 8601",
    "seed": "random seed: the same input and seed give the same files",
    "shift_start": "when the operators start",
    "complete": "whether the search was run to its end; false where it was cut short",
    "due_joints": "joints that are due",
    "due_fittings": "fittings of the joints that are due",
    "technicians": "the walk of each technician",
    "cartridges": "cartridges of each grease: to carry, to fit, in reserve",
    "left": "what is due and not in the plan, with the reason",
    "inspect": "joints that are looked at and not pumped",
    "bound": "how good the plan is: no walk for the same visits can take less than its lower bound",
    "work_s": "seconds of work",
    "wait_s": "seconds waited",
    "start": "when the walk starts",
    "finish": "when the walk ends",
    "start_place": "where the walk starts",
    "finish_place": "where the walk ends",
    "stops": "the units visited, in order",
    "carry": "cartridges to carry from the start",
    "reserve": "cartridges of these that are kept for what cannot be foreseen",
    "grams": "grams of grease",
    "helps": "what would help",
    "overdue_h": "meter hours over the interval",
    "text": "what is said",
    "idle_s": "seconds in which somebody waits, or is home before the last one",
    "last_finish_s": "the last finish, in seconds from the moment planned for",
    "no_sooner_s": "no plan for the same visits has its last finish sooner, in seconds",
    "lower_s": "seconds that no plan for the same visits can go below",
    "type": "machine type",
    "reload": "whether this stop is a store, to fetch cartridges",
    "isolation": "what isolates the unit before work",
    "isolation_s": "seconds of isolation",
    "stands": "places for the feet, in order",
    "load": "cartridges taken at a store, by grease",
    "event_joint": "the joint whose procedure this stand serves",
    "dose_cm3": "grease that it gets, cm3",
    "put_in": "cartridges fitted before it",
    "band": "height band: kneel, stoop, stand or overhead",
    "why": "why it is due",
    "at_m": "where it is, in the plane of the site",
}  # fmt: skip

_SENTENCE = re.compile(r"(?<=[.;:])\s+|\n\s*\n")


def models(part: str) -> dict[str, type[BaseModel]]:
    """The records of one part, by what they are called there."""
    return {"site": _site, "fleet": _fleet, "ground": _ground, "type": _type,
            "services": _services, "round": _round}[part]()  # fmt: skip


def _site() -> dict[str, type[BaseModel]]:
    from greaseroute.site.files.settings import SiteFile

    return {"site.toml": SiteFile}


def _fleet() -> dict[str, type[BaseModel]]:
    from greaseroute.site.fleet import Unit

    return {"fleet.csv": Unit}


def _ground() -> dict[str, type[BaseModel]]:
    from greaseroute.site.files.features import RECORDS

    return {f"role {role}": model for role, model in RECORDS.items()}


def _type() -> dict[str, type[BaseModel]]:
    from greaseroute.catalogue.like import Likeness
    from greaseroute.catalogue.machine_type import MachineType

    return {"types/*.toml": MachineType, "types/*.toml by likeness": Likeness}


def _services() -> dict[str, type[BaseModel]]:
    from greaseroute.site.fleet import LastService, MeterReading

    return {"last_services.csv": LastService, "meter_readings.csv": MeterReading}


def _round() -> dict[str, type[BaseModel]]:
    from greaseroute.plan.round import RoundPlan

    return {"round.json": RoundPlan}


def schema_of(part: str) -> dict[str, Any]:
    """The JSON Schema of a part of a site folder, draft 2020-12, each field with its sentence.

    ``fleet`` and ``services`` describe one row of a table; ``ground`` the properties of a feature
    by its role.
    """
    found = {}
    for name, model in models(part).items():
        schema = model.model_json_schema(mode="validation")
        by_name = {m.__name__: m for m in nested(model)}
        for title, table in {model.__name__: schema, **schema.get("$defs", {})}.items():
            if title in by_name:
                _tell(table, by_name[title])
        found[name] = schema
    if part == "ground":
        return _collection(found)
    if len(found) == 1:
        return {"$schema": DIALECT, **next(iter(found.values()))}
    defs = {key: table for s in found.values() for key, table in s.pop("$defs", {}).items()}
    either = [{**schema, "title": name} for name, schema in found.items()]
    return {"$schema": DIALECT, "anyOf": either, "$defs": defs}


def _collection(roles: dict[str, Any]) -> dict[str, Any]:
    """The schema of a whole ground plan: a FeatureCollection whose features have those roles."""
    from greaseroute.site.files.features import GEOMETRIES

    features = []
    for name, properties in roles.items():
        role = name.removeprefix("role ")
        properties["properties"]["role"] = {"const": role}
        if "hours" in properties["properties"]:  # written as text, see `site.moment.hours_span`
            told = properties["properties"]["hours"]["description"]
            several = {"type": "array", "items": {"type": "string"}}
            text: dict[str, Any] = {"anyOf": [{"type": "string"}, several], "description": told}
            properties["properties"]["hours"] = text
        geometry = {"type": "object", "required": ["type", "coordinates"],
                    "properties": {"type": {"enum": list(GEOMETRIES[role])}}}  # fmt: skip
        features.append(
            {"title": name, "type": "object", "required": ["type", "properties", "geometry"],
             "properties": {"type": {"const": "Feature"}, "properties": properties,
                            "geometry": geometry}}
        )  # fmt: skip
    listed = {"type": "array", "items": {"oneOf": features}}
    return {
        "$schema": DIALECT, "type": "object", "required": ["type", "features"],
        "properties": {"type": {"const": "FeatureCollection"}, "features": listed},
    }  # fmt: skip


def _tell(table: dict[str, Any], model: type[BaseModel]) -> None:
    """Add to each property its sentence and its unit."""
    for field, told in table.get("properties", {}).items():
        told["description"] = sentence(model, field)
        unit = unit_of(field)
        if unit and "unit" not in told:
            told["unit"] = unit


def nested(model: type[BaseModel]) -> Iterator[type[BaseModel]]:
    """A record and those inside it, each once."""
    seen: dict[str, type[BaseModel]] = {}
    waiting = [model]
    while waiting:
        here = waiting.pop(0)
        if here.__name__ not in seen:
            seen[here.__name__] = here
            for field in here.model_fields.values():
                waiting += _inside(field.annotation)
    yield from seen.values()


def _inside(annotation: object) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [model for argument in get_args(annotation) for model in _inside(argument)]


def sentence(model: type[BaseModel], field: str) -> str:
    """What a field is: from the field, from its record's docstring, or of its name; else ''."""
    told = model.model_fields[field].description
    return told or _from_docstring(model, field) or PLAIN.get(field, "")


def _from_docstring(model: type[BaseModel], field: str) -> str:
    """The sentence of a docstring that names the field first, or its entry in a list of fields."""
    text = model.__doc__ or ""
    entry = re.search(
        rf"^\s*{field} : [^\n]*\n\s+(.+?)(?=\n\s*\w+ : |\n\s*\n|\Z)", text, re.M | re.S
    )
    if entry:
        return _plain(entry[1])
    for part in _SENTENCE.split(text):
        if part.strip().startswith(f"``{field}``"):
            rest = text[text.index(part) :]
            return _plain(re.split(r"\.(?:\s|$)|\n\s*\n", rest)[0])
    return ""


def _plain(text: str) -> str:
    return " ".join(text.replace("``", "").split())


def unit_of(field: str) -> str:
    """The unit that a name ends with, or ''."""
    ends = [end for end in UNITS if field.endswith(end)]
    return UNITS[max(ends, key=len)] if ends else ""
