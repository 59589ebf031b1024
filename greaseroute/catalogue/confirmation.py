"""Start values confirmed or changed for one site, line by line."""

from datetime import date
from typing import Self

from pydantic import Field, model_validator

from greaseroute.catalogue.joint import Dose, Interval, Joint, LookPoint
from greaseroute.catalogue.machine_type import MachineType
from greaseroute.records import Record
from greaseroute.texts.finding import Finding


class ConfirmedJoint(Record):
    """One line: a joint whose interval and dose hold here, as they stand or as given."""

    name: str = Field(min_length=1)
    interval: Interval | None = None
    dose: Dose | None = None


class ConfirmedCheck(Record):
    """One line: a check whose interval holds here, as it stands or as given."""

    name: str = Field(min_length=1)
    interval: Interval | None = None


class Confirmation(Record):
    """Values of a shelf type that somebody confirmed for this site: who, when, from what.

    ``whole``: every joint that has no line of its own is confirmed as it stands.
    """

    confirms: str = Field(min_length=1)
    by: str = Field(min_length=1)
    on: date
    source: str = Field(min_length=1)
    whole: bool = False
    joints: tuple[ConfirmedJoint, ...] = ()
    looks: tuple[ConfirmedCheck, ...] = ()
    source_file: str = ""

    @model_validator(mode="after")
    def _says_something(self) -> Self:
        if not (self.whole or self.joints or self.looks):
            raise ValueError("give whole = true, or [[joints]] or [[looks]] with a name each")
        return self

    @property
    def words(self) -> str:
        """Who confirmed, when, from what: as written beside the values."""
        return f"{self.by}, {self.on.isoformat()}, {self.source}"


def confirmed(machine: MachineType, told: Confirmation) -> MachineType:
    """The type with the values of a confirmation, its joints marked as confirmed."""
    lines = {line.name: line for line in told.joints}
    checks = {line.name: line for line in told.looks}
    joints = tuple(_joint(j, lines.get(j.name), told) for j in machine.joints)
    looks = tuple(_look(k, checks.get(k.name)) for k in machine.looks)
    return machine.model_copy(update={"joints": joints, "looks": looks})


def _joint(joint: Joint, line: ConfirmedJoint | None, told: Confirmation) -> Joint:
    if line is None:
        return joint.model_copy(update={"confirmed": told.words}) if told.whole else joint
    changes = {"interval": line.interval, "dose": line.dose}
    given = {field: value for field, value in changes.items() if value is not None}
    return joint.model_copy(update={**given, "confirmed": told.words})


def _look(look: LookPoint, line: ConfirmedCheck | None) -> LookPoint:
    if line is None or line.interval is None:
        return look
    return look.model_copy(update={"interval": line.interval})


def stray_lines(told: Confirmation, machine: MachineType) -> tuple[Finding, ...]:
    """Lines that name a joint or a check which the type does not have."""
    found: list[Finding] = []
    for field, known in (("joints", machine.joints), ("looks", machine.looks)):
        names = {record.name for record in known}
        for number, line in enumerate(getattr(told, field)):
            if line.name not in names:
                what = "a joint" if field == "joints" else "a check"
                allowed = f"{what} of {machine.name}: {', '.join(sorted(names))}"
                path = (field, number, "name")
                found.append(Finding(path, line.name, allowed, "correct the name"))
    return tuple(found)


def unconfirmed(machine: MachineType) -> tuple[str, ...]:
    """Names of the joints pumped by hand whose interval and dose nobody has confirmed."""
    return tuple(joint.name for joint in machine.joints if joint.by_hand and not joint.confirmed)
