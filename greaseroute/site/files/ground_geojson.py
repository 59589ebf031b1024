"""``ground.geojson`` to features: role by role, every mistake with the line it stands on."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError
from shapely.geometry.base import BaseGeometry

from greaseroute.errors import Fault
from greaseroute.site.files.features import GEOMETRIES, RECORDS, Boundary
from greaseroute.site.files.geometry import GeometryReader
from greaseroute.texts.json_text import locate, parsed, text_faults
from greaseroute.texts.validation import Path, Source, faults_of, line_in, near, one_of, shown

MOST_FEATURES, MOST_POSITIONS = 5000, 100_000


@dataclass(frozen=True, slots=True)
class Feature:
    """One good feature: its role's record, its shape in the coordinates of the file, its line."""

    role: str
    name: str
    properties: Boundary
    shape: BaseGeometry
    line: int
    label: str


def read_features(text: str, file: str, *, lonlat: bool) -> tuple[list[Feature], list[Fault]]:
    """Every good feature of a ground plan, in the order of the file, and every mistake.

    ``lonlat`` holds positions to the ranges of longitude and latitude.
    """
    data, broken = parsed(text, file)
    if broken:
        return [], broken
    hostile = text_faults(data, text, file)
    if hostile:
        return [], hostile
    members = data.get("features") if isinstance(data, dict) else None
    if not isinstance(members, list) or data.get("type") != "FeatureCollection":
        allowed = "a FeatureCollection with a list of features"
        return [], [Fault(file, 1, "ground plan", "type", shown(data), allowed, "correct it")]
    if len(members) > MOST_FEATURES or text.count("]") > MOST_POSITIONS:
        value = f"{len(members)} features, about {text.count(']')} positions"
        allowed = f"at most {MOST_FEATURES} features and {MOST_POSITIONS} positions"
        do = "simplify the outlines, or leave out what nobody walks near"
        return [], [Fault(file, 1, "ground plan", "size", value, allowed, do)]
    return _read_members(data, _Reader(file, locate(text), lonlat))


def _read_members(data: Mapping[str, Any], reader: "_Reader") -> tuple[list[Feature], list[Fault]]:
    """The features of an accepted collection."""
    features, faults = [], list(reader.collection_faults(data))
    for number, member in enumerate(data["features"]):
        feature, wrong = reader.feature(number, member)
        features += [feature] if feature else []
        faults += wrong
    return features, faults


@dataclass(frozen=True, slots=True)
class _Reader:
    """Reads one feature after another of a file whose lines are indexed."""

    file: str
    index: Mapping[Path, tuple[int, int]]
    lonlat: bool

    def collection_faults(self, data: Mapping[str, Any]) -> Iterator[Fault]:
        """RFC 7946 section 4 did away with ``crs``: the site file names the system instead."""
        if "crs" in data:
            line = line_in(self.index, ("crs",))
            allowed = "no crs member (RFC 7946); site.toml names the coordinates"
            yield Fault(
                self.file, line, "ground plan", "crs", shown(data["crs"]), allowed, "take it out"
            )

    def feature(self, number: int, member: object) -> tuple[Feature | None, list[Fault]]:
        """One feature, or what is wrong with it."""
        root: Path = ("features", number)
        properties = member.get("properties") if isinstance(member, dict) else None
        if not isinstance(member, dict) or not isinstance(properties, dict):
            fault = self._fault(
                root, f"feature {number + 1}", "properties", value=shown(properties)
            )
            return None, [fault("a Feature with properties", "add them")]
        role = properties.get("role")
        label = f"{shown(role or 'feature')} {shown(properties.get('name') or number + 1)}"
        if not isinstance(role, str) or role not in RECORDS:
            path = (*root, "properties", "role")
            value = "nothing" if role is None else shown(role)
            fault = self._fault(path, f"feature {number + 1}", "role", value=value)
            return None, [fault(one_of(list(RECORDS)), near(str(role), list(RECORDS)) or "name it")]
        return self._known_role(root, member, label=label)

    def _known_role(
        self, root: Path, member: Mapping[str, Any], *, label: str
    ) -> tuple[Feature | None, list[Fault]]:
        """A feature whose role is one of those known."""
        role: str = member["properties"]["role"]
        record, faults = self._properties(root, member["properties"], label=label)
        reader = GeometryReader(self.lonlat)
        shape = reader.read(member.get("geometry"), GEOMETRIES[role])
        for mistake in reader.mistakes:
            fault = self._fault((*root, *mistake.path), label, "geometry", value=mistake.value)
            faults.append(fault(mistake.allowed, mistake.do))
        if record is None or shape is None:
            return None, faults
        name = record.name or label.replace("_", " ")
        line = line_in(self.index, root)
        return Feature(role, name, record, shape, line, label), faults

    def _properties(
        self, root: Path, raw: Mapping[str, Any], *, label: str
    ) -> tuple[Boundary | None, list[Fault]]:
        """The record of a feature's role, or its mistakes."""
        model = RECORDS[raw["role"]]
        source = Source(
            self.file,
            lambda path: line_in(self.index, (*root, "properties", *path)),
            lambda _: label,
        )
        try:
            return model.model_validate(raw, strict=True), []
        except ValidationError as error:
            return None, list(faults_of(error, model, source))

    def _fault(self, path: Path, record: str, field: str, *, value: str) -> "_Pending":
        return _Pending(self.file, line_in(self.index, path), record, field, value)


@dataclass(frozen=True, slots=True)
class _Pending:
    """A fault but for what is allowed and what to do, which its call adds."""

    file: str
    line: int
    record: str
    field: str
    value: str

    def __call__(self, allowed: str, do: str) -> Fault:
        return Fault(self.file, self.line, self.record, self.field, self.value, allowed, do)
