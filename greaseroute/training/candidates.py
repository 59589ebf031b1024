"""The joints a learner could meet, in the order easy before hard."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby

from greaseroute.catalogue.joint import Joint
from greaseroute.catalogue.machine_type import MachineType
from greaseroute.due.worklist import DueItem, work_list
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
    score += 1.0 * bool(joint.postures) + 1.0 * (joint.kind in ("slew ring", "slew bath"))
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
    """Every joint due or nearly due that the learner has a gun for, easy before hard.

    Machines stand in the order of the mean difficulty of their joints here, since a machine is
    visited once; joints of one machine in the order of their own.
    """
    items = nearly_due(work_list(site, at), share=share)
    outfit = outfit_of(learner, site)
    found = [
        Candidate(
            unit=work.unit.unit,
            family=work.machine_type.family,
            work=joint,
            standard_s=standard_seconds(joint, learner.reach),
            difficulty=difficulty_of(joint.joint),
        )
        for work in unit_works(site, items, outfit=outfit)
        for joint in work.joints
    ]
    return easy_before_hard(found)


def easy_before_hard(found: Collection[Candidate]) -> tuple[Candidate, ...]:
    """Machines by mean difficulty, then in the order given; inside one, joints by difficulty."""
    groups = [(unit, list(group)) for unit, group in groupby(found, key=lambda c: c.unit)]
    groups.sort(key=lambda pair: sum(c.difficulty for c in pair[1]) / len(pair[1]))
    return tuple(c for _, group in groups for c in sorted(group, key=lambda c: c.difficulty))


def undominated(found: Collection[Candidate]) -> tuple[Candidate, ...]:
    """One candidate for each machine and pair: the quickest. The others cannot be in a best
    choice, which meets a pair once."""
    best: dict[tuple[str, Pair], Candidate] = {}
    for candidate in found:
        key = candidate.unit, candidate.pair
        if key not in best or candidate.standard_s < best[key].standard_s:
            best[key] = candidate
    kept = {c.key for c in best.values()}
    return tuple(c for c in found if c.key in kept)


def site_pairs(site: Site) -> dict[Pair, bool]:
    """Every family and kind of joint on the site that is pumped, in fleet order."""
    found: dict[Pair, bool] = {}
    for unit in site.units:
        machine: MachineType = site.types[unit.type].with_attachments(unit.attachments)
        for joint in machine.joints:
            if not (joint.never_pump or joint.central):
                found[machine.family, joint.kind] = True
    return found
