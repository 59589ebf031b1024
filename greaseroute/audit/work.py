"""Promises about what is done: all that is due, nothing else, with the right gun and dose."""

from collections import Counter
from collections.abc import Iterator

from greaseroute.audit.basis import Task
from greaseroute.audit.case import Case
from greaseroute.audit.due import Owed, UnitJoint
from greaseroute.audit.finding import Finding, Where
from greaseroute.catalogue.joint import Joint
from greaseroute.site.crew import Gun
from greaseroute.site.grease_fit import misfits

Done = Counter[tuple[str, str, str]]  # how often, by unit, joint and fitting


def due_is_done_or_left(case: Case) -> Iterator[Finding]:
    """Each fitting of each due joint is pumped once or left out; nothing else is pumped."""
    pumped: Done = Counter((t.unit, t.task.joint, t.task.fitting) for t in case.basis.tasks)
    left: Done = Counter((x.unit, x.joint, x.fitting or "") for x in case.basis.plan.left)
    for key, verdict in case.owed.items():
        for fitting, what in _amiss(case, key, verdict, done=(pumped, left)):
            yield Where(unit=key[0], joint=key[1], fitting=fitting).finding("due", what)
    for unit, joint, fitting in pumped:
        if (unit, joint) not in case.owed:
            where = Where(unit=unit, joint=joint, fitting=fitting)
            yield where.finding("never pump", _why_not(case, unit, joint))
    for unit, joint, _ in left:
        if (unit, joint) not in case.owed:
            where = Where(unit=unit, joint=joint)
            yield where.finding("due", "is left out and is no joint that is pumped")


def _amiss(
    case: Case, key: UnitJoint, verdict: Owed, *, done: tuple[Done, Done]
) -> Iterator[tuple[str, str]]:
    """(fitting or empty, what is wrong) of one joint, given what is pumped and what left out."""
    pumped, left = done
    names = case.fittings(*key)
    times = [pumped[*key, name] for name in names]
    listed = [left[*key, ""] + left[*key, name] for name in names]
    if verdict.due is not True and not any(times) and not any(listed):
        return
    if verdict.due is False:
        done_how = "pumped" if any(times) else "left out"
        yield "", f"is {done_how} and is not due: {verdict.why}"
        return
    for name, n, out in zip(names, times, listed, strict=True):
        if n + out == 0:
            yield name, f"is due ({verdict.why}) and neither pumped nor left out"
        elif n + out > 1:
            yield name, f"is pumped {n} times and left out {out} times"
    strange = {f for u, j, f in (*pumped, *left) if (u, j) == key and f} - set(names)
    for name in sorted(strange):
        yield name, "is no fitting of this joint"


def _why_not(case: Case, unit: str, joint: str) -> str:
    """Why something is not to be pumped at all."""
    machine = case.basis.types.get(unit)
    known = {j.name: j for j in machine.joints} if machine is not None else {}
    if joint not in known:
        return "is no joint of this unit" if known else "is no unit of the site"
    if known[joint].never_pump:
        return "is pumped and must never be: it is no lubrication point"
    return "is pumped and is fed by a central system: to be looked at"


def counts_are_told(case: Case) -> Iterator[Finding]:
    """Joints and fittings due are counted right, never-pump and central joints all listed."""
    plan = case.basis.plan
    served = {(t.unit, t.task.joint) for t in case.basis.tasks} | {
        (x.unit, x.joint) for x in plan.left
    }
    due = [key for key, v in case.owed.items() if v.due or (v.due is None and key in served)]
    fittings = sum(len(case.fittings(*key)) for key in due)
    if case.basis.asked.under_way is None:
        if plan.due_joints != len(due):
            what = f"{plan.due_joints} joints are told as due, {len(due)} are"
            yield Where().finding("due", what, off=abs(plan.due_joints - len(due)),
                                  measure="joints")  # fmt: skip
        if plan.due_fittings != fittings:
            what = f"{plan.due_fittings} fittings are told as due, {fittings} are"
            yield Where().finding("due", what, off=abs(plan.due_fittings - fittings),
                                  measure="fittings")  # fmt: skip
    yield from _marks(case, {unit for unit, _ in due})


def _marks(case: Case, units: set[str]) -> Iterator[Finding]:
    """Of each unit with something due, the joints that are looked at and never pumped."""
    plan = case.basis.plan
    joints = [(u, j) for u in units if u in case.basis.types for j in case.basis.types[u].joints]
    for what, told, meant in (
        ("never to be pumped", plan.never_pump, {(u, j.name) for u, j in joints if j.never_pump}),
        ("centrally fed", plan.inspect, {(u, j.name) for u, j in joints if j.central}),
    ):
        listed = {(mark.unit, mark.joint) for mark in told}
        for unit, joint in sorted(meant ^ listed):
            missing = (unit, joint) in meant
            text = f"is {what} and not listed" if missing else f"is listed and not {what}"
            yield Where(unit=unit, joint=joint).finding("marks", text)


def left_is_told_right(case: Case) -> Iterator[Finding]:
    """What is left out says why, and how critical it is."""
    for x in case.basis.plan.left:
        where = Where(unit=x.unit, joint=x.joint, fitting=x.fitting or "")
        joint = case.joint(x.unit, x.joint)
        if not x.reason.strip():
            yield where.finding("reasons", "is left out without a reason")
        if joint is not None and joint.critical != x.critical:
            what = f"is told as critical {x.critical}, it is {joint.critical}"
            yield where.finding("reasons", what)


def guns_suit(case: Case) -> Iterator[Finding]:
    """Each fitting gets a grease its joint wants, from a gun and by a person who may."""
    for each in case.basis.tasks:
        gun, joint = case.basis.guns.get(each.task.gun), case.joint(each.unit, each.task.joint)
        if gun is None or gun.grease not in case.basis.greases:
            yield case.where_task(each).finding("guns", f"there is no gun {each.task.gun!r}")
            continue
        told = [*_gun_faults(case, each, gun)]
        if joint is not None:
            reasons = misfits(joint.grease, case.basis.greases[gun.grease])
            told += [("grease", f"{gun.grease}: {reason}") for reason in reasons]
            told += [*_skills(case, each, joint), *_preferred(case, each, gun=gun, joint=joint)]
        for promise, what in told:
            yield case.where_task(each).finding(promise, what)


def _gun_faults(case: Case, each: Task, gun: Gun) -> Iterator[tuple[str, str]]:
    walker = case.basis.walkers[each.technician]
    if walker is not None and gun.name not in walker.guns:
        yield "guns", f"{walker.name} does not carry {gun.name!r}"
    if gun.grease != each.task.grease:
        yield "grease", f"the gun holds {gun.grease!r}, not {each.task.grease!r}"
    if each.task.head not in gun.couplers:
        yield "guns", f"{gun.name!r} has no coupler for {each.task.head}"


def _skills(case: Case, each: Task, joint: Joint) -> Iterator[tuple[str, str]]:
    walker, unit = case.basis.walkers[each.technician], case.basis.units[each.unit]
    for skill in (unit.skill, joint.skill):
        if walker is not None and skill is not None and skill not in walker.skills:
            yield "skills", f"asks for the skill {skill!r}"


def _preferred(case: Case, each: Task, *, gun: Gun, joint: Joint) -> Iterator[tuple[str, str]]:
    """A grease that the joint prefers is used where a gun with it is at hand and reaches as far."""
    liked, walker = joint.grease.prefers_moly, case.basis.walkers[each.technician]
    if liked is None or walker is None or case.basis.greases[gun.grease].moly == liked:
        return
    for other in (case.basis.guns[name] for name in walker.guns):
        grease = case.basis.greases[other.grease]
        heads = {f.head for f in joint.fittings} <= set(other.couplers)
        suits = heads and other.hose_m >= gun.hose_m and not misfits(joint.grease, grease)
        if grease.moly == liked and suits:
            yield "grease", f"{other.grease} is at hand and preferred"
            return


def one_gun_one_technician(case: Case) -> Iterator[Finding]:
    """No gun is pumped with by two technicians in one round."""
    users: dict[str, set[str]] = {}
    for each in case.basis.tasks:
        name = case.basis.plan.technicians[each.technician].name
        users.setdefault(each.task.gun, set()).add(name)
    for gun, names in users.items():
        if len(names) > 1:
            where = Where(" and ".join(sorted(names)))
            yield where.finding("guns", f"the gun {gun!r} is in two places at once")
