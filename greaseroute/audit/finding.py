"""What an audit finds: a promise that a plan does not keep, where, and by how much."""

from dataclasses import dataclass
from typing import Literal

from pydantic import Field

from greaseroute.records import Record

AUDIT_FORMAT = "greaseroute audit 1"

Measure = Literal["s", "m", "strokes", "cartridges", "cm3", "%", "fittings", "joints", ""]


class Finding(Record):
    """One promise not kept. ``what`` is a sentence; ``off`` says by how much, in ``measure``.

    ``promise`` is the name of the rule (a word or two, see ``audit.PROMISES``). ``technician``,
    ``unit``, ``joint``, ``fitting``, ``at`` (ISO 8601) and ``place_m`` say where, as far as that
    applies.
    """

    promise: str
    what: str
    technician: str = ""
    unit: str = ""
    joint: str = ""
    fitting: str = ""
    at: str = ""
    place_m: tuple[float, float] | None = None
    off: float | None = None
    measure: Measure = ""

    def line(self) -> str:
        """The finding on one line: promise, where, what, by how much."""
        names = [n for n in (self.technician, self.unit, self.joint, self.fitting) if n]
        where = [", ".join(names)] if names else []
        if self.at:
            where.append(f"at {self.at[11:19] or self.at}")
        if self.place_m is not None:
            where.append(f"near ({self.place_m[0]:.2f}, {self.place_m[1]:.2f})")
        size = "" if self.off is None else f" (by {_figure(self.off)}{self._unit})"
        return f"{self.promise}: {' '.join(where) + ': ' if where else ''}{self.what}{size}"

    @property
    def _unit(self) -> str:
        return f" {self.measure}" if self.measure else ""


def _figure(value: float) -> str:
    """Three places where they matter, no more digits than anyone reads."""
    return f"{value:.0f}" if abs(value) >= 1000 or value == int(value) else f"{value:.3g}"


@dataclass(frozen=True, slots=True)
class Where:
    """Where a promise is not kept, as far as that applies; makes the finding."""

    technician: str = ""
    unit: str = ""
    joint: str = ""
    fitting: str = ""
    at: str = ""
    place_m: tuple[float, float] | None = None

    def finding(
        self, promise: str, what: str, *, off: float | None = None, measure: Measure = ""
    ) -> Finding:
        """The finding that ``promise`` is not kept here, by ``off`` in ``measure``."""
        return Finding(
            promise=promise,
            what=what,
            technician=self.technician,
            unit=self.unit,
            joint=self.joint,
            fitting=self.fitting,
            at=self.at,
            place_m=self.place_m,
            off=None if off is None else round(off, 4),
            measure="" if off is None else measure,
        )


class AuditReport(Record):
    """The audit of one file: what was looked at, and every finding."""

    format: str = AUDIT_FORMAT
    file: str
    site: str
    at: str
    looked_at: dict[str, int] = Field(default_factory=dict)
    findings: tuple[Finding, ...] = ()

    @property
    def good(self) -> bool:
        """Whether every promise is kept."""
        return not self.findings
