"""What the card's script needs to know so that a walk can be ticked, handed in and read back."""

from datetime import datetime
from typing import Any

from greaseroute.ledger.receipt import DEFECTS, REASONS
from greaseroute.plan.handed_out import plan_handed_out, round_id
from greaseroute.plan.round import RoundPlan
from greaseroute.site.fleet import Unit
from greaseroute.site.model import Site

CARD_FORMAT = "greaseroute card 2"


def record_data(plan: RoundPlan, site: Site) -> dict[str, Any]:
    """The plan as the record keeps it, the words offered, and what each meter showed last.

    A meter is (hours, moment of the reading), the moment None where nobody wrote it down.
    """
    walks = [walk.model_dump(mode="json") for walk in plan_handed_out(plan).walks]
    planned = {stop["unit"] for walk in walks for stop in walk["stops"]}
    at = datetime.fromisoformat(plan.at)
    return {
        "format": CARD_FORMAT,
        "round": round_id(plan),
        "site": plan.site,
        "at": plan.at,
        "seed": plan.seed,
        "reasons": list(REASONS),
        "defects": list(DEFECTS),
        "walks": walks,
        "meters": {u.unit: last_meter(site, u, at) for u in site.units if u.unit in planned},
    }


def last_meter(site: Site, unit: Unit, at: datetime) -> tuple[float, str | None]:
    """The last dated reading of a unit's meter before a moment, else the fleet list's figure."""
    dated = [r for r in site.meter_readings if r.unit == unit.unit and r.at <= at]
    if not dated:
        return unit.meter_h, None
    last = max(dated, key=lambda r: (r.at, r.meter_h))
    return last.meter_h, None if last.undated else last.at.isoformat()
