"""A joint's interval after severity, and what is used of it: hours and days, whichever first."""

from dataclasses import dataclass

from greaseroute.catalogue.joint import Interval
from greaseroute.site.crew import Severity


@dataclass(frozen=True, slots=True)
class OwnInterval:
    """The interval of one joint on one unit: hours, days (both after severity) and every shift."""

    hours_h: float | None
    days: float | None
    every_shift: bool
    severity: str | None
    plain: str

    @property
    def label(self) -> str:
        """As shown to people: ``50 h`` or ``25 h (50 h, shortened for wet)``."""
        if self.severity is None:
            return self.plain
        return f"{limits_text(self)} ({self.plain}, shortened for {self.severity})"


def limits_text(own: OwnInterval) -> str:
    """The limits in short words, after severity."""
    parts = ["every shift"] if own.every_shift else []
    if own.hours_h is not None:
        parts.append(f"{own.hours_h:g} h")
    if own.days is not None:
        parts.append(days_text(own.days))
    return " or ".join(parts)


def days_text(days: float) -> str:
    """``1 day``, ``3.5 days``."""
    return "1 day" if days == 1 else f"{days:g} days"


def shortened(interval: Interval, severity: Severity | None) -> OwnInterval:
    """``interval`` times the severity's factor; every shift cannot be shortened.

    Hard service (water, slurry, abrasive dust) shortens intervals: US Army lubrication orders
    give the direction, the factors are the site's own.
    """
    factor = severity.interval_factor if severity else 1.0
    hours_h = None if interval.hours is None else round(interval.hours * factor, 6)
    days = None if interval.days is None else round(interval.days * factor, 6)
    shorter = severity is not None and factor < 1.0 and (hours_h or days) is not None
    return OwnInterval(
        hours_h=hours_h,
        days=days,
        every_shift=interval.every_shift,
        severity=severity.name if severity and shorter else None,
        plain=interval.label,
    )
