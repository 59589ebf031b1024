"""Random fleets of joints as arrays, and small hand-made ones, shared by the forecast's tests."""

from datetime import UTC, datetime

import numpy as np

from greaseroute.catalogue.joint import Dose, Fitting, Interval, Joint
from greaseroute.forecast.calendar import plan_calendar
from greaseroute.forecast.joints import JointRows, Service
from greaseroute.intervals.worklist import DueItem
from greaseroute.plan.week import DayHours
from greaseroute.site.crew import Grease, Gun
from greaseroute.site.work_days import EVERY_DAY, WorkDays

GREASE = Grease(name="EP2", nlgi="2", thickener="lithium")
GUN = Gun(name="lever", grease="EP2", ten_strokes_g=12.8, priming_strokes=0)
MONDAY = datetime(2031, 3, 3, 5, 30, tzinfo=UTC)


def service(strokes=3):
    """One service of 1.28 g a stroke; 296 strokes to a cartridge."""
    return Service(
        gun=GUN,
        grease=GREASE,
        strokes=strokes,
        grams=1.28 * strokes,
        cartridges=strokes / 296,
        work_s=30.0,
    )


def rows_of(joints):
    """Rows from dicts: unit, limit_h, limit_days, every_shift, since_h, since_days, strokes."""
    base = {
        "unit": 0,
        "limit_h": np.inf,
        "limit_days": np.inf,
        "every_shift": False,
        "since_h": 0.0,
        "since_days": 1.0,
        "strokes": 3,
    }
    full = [{**base, **joint} for joint in joints]
    columns = {key: [joint[key] for joint in full] for key in base}
    items = tuple(
        DueItem(
            unit=f"U{joint['unit']}",
            type="digger",
            joint=f"j{i}",
            due=False,
            status="not due",
            reason="",
            interval="",
            critical=2,
            fittings=1,
        )
        for i, joint in enumerate(full)
    )
    pin = Joint(
        name="pin",
        links=("a", "b"),
        fittings=(Fitting(name="one", link="a", position_m=(0, 0, 0)),),
        dose=Dose(cm3=(1, 1)),
        interval=Interval(hours=50),
    )
    return JointRows(
        items=items,
        joints=tuple(pin for _ in full),
        services=tuple(service(joint["strokes"]) for joint in full),
        unit=np.array(columns["unit"], dtype=np.int64),
        limit_h=np.array(columns["limit_h"], dtype=np.float64),
        limit_days=np.array(columns["limit_days"], dtype=np.float64),
        every_shift=np.array(columns["every_shift"], dtype=np.bool_),
        since_h=np.array(columns["since_h"], dtype=np.float64),
        since_days=np.array(columns["since_days"], dtype=np.float64),
        greased_today=np.array([d == 0 for d in columns["since_days"]], dtype=np.bool_),
        no_gun=(),
    )


def hours_of(*pairs):
    """Day hours from (mean, sd) pairs."""
    return [
        DayHours(unit=f"U{i}", mean_h=mean, sd_h=sd, source="fleet list")
        for i, (mean, sd) in enumerate(pairs)
    ]


def ones(units, calendar):
    """Rates of a site as it stands."""
    return np.ones((units, len(calendar)))


def random_fleet(seed):
    """(rows, calendar, day hours, look-ahead) of a random small fleet."""
    rng = np.random.default_rng(seed)
    units = int(rng.integers(1, 5))
    calendar = plan_calendar(
        MONDAY,
        int(rng.integers(3, 11)),
        work_days=WorkDays(("sat", "sun")) if seed % 2 else EVERY_DAY,
    )
    means, shares = rng.uniform(2, 14, units), rng.uniform(0, 0.6, units)
    pairs = [(mean, mean * share) for mean, share in zip(means, shares, strict=True)]
    joints = []
    for _ in range(int(rng.integers(3, 9))):
        limit_h = float(rng.choice([8, 10, 20, 50, 100, np.inf]))
        limit_days = float(rng.choice([1, 2, 3.5, 7, np.inf])) if rng.random() < 0.4 else np.inf
        if np.isinf(limit_h) and np.isinf(limit_days):
            limit_days = 5.0
        unknown = rng.random() < 0.1
        joints.append(
            {
                "unit": int(rng.integers(0, units)),
                "limit_h": limit_h,
                "limit_days": limit_days,
                "every_shift": bool(rng.random() < 0.1),
                "since_h": np.inf if unknown else float(rng.uniform(0, 60)),
                "since_days": np.inf if unknown else float(rng.integers(0, 5)),
                "strokes": int(rng.integers(1, 12)),
            }
        )
    ahead_h = float(rng.choice([0, 4, 9]))
    return rows_of(joints), calendar, hours_of(*pairs), ahead_h
