"""People beside the technicians who bring a machine into a posture, slew it or give a hand."""

from typing import Self

from pydantic import field_validator, model_validator

from greaseroute.catalogue.machine_type import MachineType
from greaseroute.records import Record, about, number
from greaseroute.site.crew import WorkingRules
from greaseroute.site.moment import time_of_day


class Person(Record):
    """Somebody who may be called to a machine: an operator, a banksman, a mate.

    Nobody is at hand but those named here, and they only between their hours: most operators come
    with the shift, when the round is over. ``operates`` are machine families or types; empty for
    every machine. ``at_once`` such people are there, each at one machine at a time.
    """

    name: str = about("who it is", min_length=1)
    on_site_from: str = about("local time HH:MM from which the person is at hand")
    on_site_to: str = about(
        "local time HH:MM until which; the same as on_site_from for all day and night"
    )
    operates: tuple[str, ...] = about(
        "families or machine types that the person is instructed to operate; empty for all", ()
    )
    at_once: int = number(
        "how many such people are there, each at one machine at a time", default=1, least=1,
        greatest=200, usual=(1, 20),
    )  # fmt: skip

    @field_validator("on_site_from", "on_site_to")
    @classmethod
    def _clock(cls, text: str) -> str:
        return f"{time_of_day(text):%H:%M}"

    @model_validator(mode="after")
    def _each_once(self) -> Self:
        if len(set(self.operates)) != len(self.operates):
            raise ValueError("each family or type once in operates")
        return self

    def may_operate(self, machine: MachineType) -> bool:
        """Whether the person is instructed for a machine."""
        return not self.operates or bool({machine.family, machine.name} & set(self.operates))

    @property
    def names(self) -> tuple[str, ...]:
        """A name for each of those who are there."""
        if self.at_once == 1:
            return (self.name,)
        return tuple(f"{self.name} {k}" for k in range(1, self.at_once + 1))


def second_person(rules: WorkingRules) -> tuple[Person, ...]:
    """The person whose hours stand in the rules of older site files: one, for every machine."""
    begin, end = rules.second_person_from, rules.second_person_to
    if begin is None or end is None:
        return ()
    return (Person(name="second person", on_site_from=begin, on_site_to=end),)
