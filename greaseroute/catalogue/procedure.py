"""A procedure: what has to happen beside coupling and pumping, step by step."""

from collections.abc import Sequence
from typing import Annotated, Any, Literal, Self

from pydantic import BeforeValidator, Field, model_validator

from greaseroute.records import Record, number

ProcedureKind = Literal[
    "slew", "turn shaft", "full lock", "unload", "two positions", "press upright", "other"
]
"""What has to happen so that grease gets where it belongs.

- ``slew``: the upperstructure is slewed between passes over the fittings of a slew ring;
- ``turn shaft``: a shaft is turned until its fitting shows, the machine rolled for it if need be;
- ``full lock``: wheels are steered to full lock each way, for kingpins hide behind the wheel;
- ``unload``: weight is taken off, for a loaded joint takes no grease on its bearing side;
- ``two positions``: a pin is pumped, moved by its cylinder, pumped again;
- ``press upright``: a breaker stands upright, pressed on its tool, while paste is pumped.
"""


class Step(Record):
    """One step of a procedure: what is done, by whom, how long, whether the machine moves.

    ``after``: names of steps that come before it; without it the order is that of the list.
    """

    do: str = Field(min_length=1)
    name: str = ""
    after: tuple[str, ...] = ()
    by: Literal["technician", "second person"] = "technician"
    minutes: float = Field(default=0.0, ge=0)
    machine_moves: bool = False


def _as_step(step: object) -> object:
    return {"do": step} if isinstance(step, str) else step


def in_order(steps: Sequence[Step]) -> tuple[Step, ...]:
    """The steps, each after those it names. Raises ValueError where that cannot be."""
    names = [step.name for step in steps if step.name]
    for step in steps:
        if unknown := [name for name in step.after if name not in names]:
            raise ValueError(f"step {step.do[:30]!r} is after {unknown[0]!r}, which is no step")
    if len(set(names)) != len(names):
        raise ValueError("each name of a step once")
    left, done, found = list(steps), set[str](), list[Step]()
    while left:
        ready = next((s for s in left if set(s.after) <= done), None)
        if ready is None:
            waiting = ", ".join(s.name or s.do[:30] for s in left)
            raise ValueError(f"steps that can be put in an order; a circle: {waiting}")
        left.remove(ready)
        found.append(ready)
        done |= {ready.name}
    return tuple(found)


class Procedure(Record):
    """A joint that is more than coupler and strokes, such as a slew ring.

    ``kind``: what it is about, see `ProcedureKind`; ``steps``: in order, each a sentence or a
    record with who does it and how long it takes; ``turns``: how many times the upperstructure is
    slewed between passes over the fittings; ``minutes``: time for the whole procedure beside
    pumping, that of the steps together where it is not given; ``second_person``: somebody at the
    controls, which a step by one implies; ``stand_clear``: the technician waits outside the swing
    radius while it moves.
    """

    kind: ProcedureKind = "other"
    steps: tuple[
        Annotated[Step, BeforeValidator(_as_step, json_schema_input_type=Step | str)], ...
    ] = Field(min_length=1)
    turns: int = number(
        "times the upperstructure is slewed between passes", default=0, least=0, greatest=20
    )
    minutes: float = number(
        "time of the procedure beside pumping", least=0.05, greatest=240.0, unit="min",
        usual=(0.2, 60.0),
    )  # fmt: skip
    second_person: bool = False
    stand_clear: bool = False

    @model_validator(mode="before")
    @classmethod
    def _told_by_steps(cls, data: Any) -> Any:  # noqa: ANN401 - whatever the file has
        if not isinstance(data, dict) or not isinstance(data.get("steps"), (list, tuple)):
            return data
        steps = [step for step in data["steps"] if isinstance(step, dict)]
        minutes = [step.get("minutes", 0.0) for step in steps]
        told: dict[str, Any] = {}
        if any(step.get("by") == "second person" for step in steps):
            told["second_person"] = True
        if minutes and all(isinstance(each, (int, float)) for each in minutes) and sum(minutes):
            told["minutes"] = round(float(sum(minutes)), 6)
        return {**told, **data}

    @model_validator(mode="after")
    def _no_cycle(self) -> Self:
        in_order(self.steps)
        return self

    @property
    def ordered(self) -> tuple[Step, ...]:
        """The steps, each after those that come before it."""
        return in_order(self.steps)

    @property
    def moves(self) -> bool:
        """Whether the machine moves in it: unlocked before, isolated again after."""
        return self.stand_clear or any(step.machine_moves for step in self.steps)
