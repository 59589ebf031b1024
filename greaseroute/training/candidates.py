"""The joints a learner could meet, and how hard each of them is to begin with."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

from greaseroute.catalogue.joint import Joint
from greaseroute.intervals.worklist import DueItem, work_list
from greaseroute.site.crew import Technician
from greaseroute.site.model import Site
from greaseroute.site.reach import Reach
from greaseroute.units import S_PER_MIN
from greaseroute.visits.work import JointWork, outfit_of, unit_works

NEARLY_DUE = 0.7
"""Share of the interval from which a joint is nearly due; a setting."""

Pair = tuple[str, str]


@dataclass(frozen=True, slots=True)
class Candidate:
    """One joint a learner could meet; ``difficulty`` as in `difficulty_of`."""

    unit: str
    family: str
    work: JointWork
    standard_s: float
    difficulty: float

    @property
    def kind(self) -> str:
        """The kind of joint."""
        return self.work.joint.kind

    @property
    def pair(self) -> Pair:
        """Family and kind: what is met once."""
        return self.family, self.kind

    @property
    def key(self) -> Pair:
        """Unit and joint."""
        return self.unit, self.work.joint.name


def difficulty_of(joint: Joint) -> float:
    """How hard a joint is to begin with: 1 for a plain pin with one fitting, more for more.

    A procedure adds 3, a second person 2, each turn of the upperstructure 1, a posture to ask for
    1, a bath or ring 1, each caution of its own 0.5, each fitting beyond the first 0.2. Our own
    scale: only the order matters.
    """
    score = 1.0 + 0.2 * (len(joint.fittings) - 1) + 0.5 * len(joint.cautions)
    score += 1.0 * bool(joint.postures) + 1.0 * (joint.kind in ("slew ring", "pinion grease bath"))
    if joint.procedure is not None:
        score += 3.0 + 1.0 * joint.procedure.turns + 2.0 * joint.procedure.second_person
    return round(score, 3)


def standard_seconds(work: JointWork, reach: Reach) -> float:
    """Standard time of a joint: couplings and strokes, settling once, the procedure."""
    procedure = work.joint.procedure
    extra_s = procedure.minutes * S_PER_MIN if procedure else 0.0
    return sum(f.pump_s for f in work.fittings) + reach.settle_s + extra_s


def nearly_due(items: Collection[DueItem], *, share: float) -> tuple[DueItem, ...]:
    """What is due, and what has used that share of its interval."""
    pumped = [item for item in items if item.status not in ("look only", "never pumped")]
    return tuple(item for item in pumped if item.due or item.overdue_ratio >= share)


def candidates(
    site: Site, at: datetime, *, learner: Technician, share: float = NEARLY_DUE
) -> tuple[Candidate, ...]:
    """Every joint due or nearly due that the learner has gun and skill for, in fleet order."""
    items = nearly_due(work_list(site, at), share=share)
    outfit = outfit_of(learner, site)
    return tuple(
        Candidate(
            unit=work.unit.unit,
            family=work.machine_type.family,
            work=joint,
            standard_s=standard_seconds(joint, learner.reach),
            difficulty=difficulty_of(joint.joint),
        )
        for work in unit_works(site, items, outfit=outfit)
        for joint in work.joints
    )


def mean_difficulty(lessons: Collection[Candidate]) -> float:
    """How hard a machine is with these lessons: their mean."""
    return round(sum(c.difficulty for c in lessons) / len(lessons), 3) if lessons else 0.0


def site_pairs(site: Site) -> dict[Pair, bool]:
    """Every family and kind of joint on the site that is pumped, in fleet order."""
    found: dict[Pair, bool] = {}
    for unit in site.units:
        machine = site.machine(unit)
        for joint in machine.joints:
            if joint.by_hand and joint.within_reach:
                found[machine.family, joint.kind] = True
    return found
