"""Promises about what is done: all that is due, nothing else, with the right gun and dose."""

from collections import Counter
from collections.abc import Iterator

from greaseroute.audit.basis import Task
from greaseroute.audit.case import Case
from greaseroute.audit.due import Owed
from greaseroute.audit.finding import Finding, Measure, Where
from greaseroute.catalogue.joint import Joint
from greaseroute.site.crew import Gun
from greaseroute.site.grease_fit import misfits

Done = Counter[tuple[str, str, str]]  # how often, by unit, joint and fitting


def due_is_done_or_left(case: Case) -> Iterator[Finding]:
    """Each fitting that is due is pumped once or left out; nothing else is pumped."""
    pumped: Done = Counter((t.unit, t.task.joint, t.task.fitting) for t in case.basis.tasks)
    left: Done = Counter((x.unit, x.joint, x.fitting or "") for x in case.basis.plan.left)
    for key, verdicts in case.owed.items():
        whole = left[*key, ""]
        if whole and not any(v.due is not False for v in verdicts.values()):
            what = f"is left out and is not due: {next(iter(verdicts.values())).why}"
            yield Where(unit=key[0], joint=key[1]).finding("due", what)
        for name, verdict in verdicts.items():
            where = Where(unit=key[0], joint=key[1], fitting=name)
            out = left[*key, name] + (whole if verdict.due is not False else 0)
            what = _amiss(verdict, pumped=pumped[*key, name], left=out)
            if what:
                yield where.finding("due", what)
    yield from _strange(case, pumped, left)


def _amiss(verdict: Owed, *, pumped: int, left: int) -> str:
    """What is wrong with a fitting that is so often pumped and left out; empty if nothing is."""
    if pumped + left > 1:
        return f"is pumped {pumped} times and left out {left} times"
    if verdict.due is True and pumped + left == 0:
        return f"is due ({verdict.why}) and neither pumped nor left out"
    if verdict.due is False and pumped + left:
        return f"is {'pumped' if pumped else 'left out'} and is not due: {verdict.why}"
    return ""


def _strange(case: Case, pumped: Done, left: Done) -> Iterator[Finding]:
    """What is pumped or left out and is no fitting of a joint that is ever pumped."""
    for unit, joint, fitting in (*pumped, *left):
        where = Where(unit=unit, joint=joint, fitting=fitting)
        known = case.owed.get((unit, joint))
        if known is None and (unit, joint, fitting) in pumped:
            yield where.finding("never pump", _why_not(case, unit, joint))
        elif known is None:
            yield where.finding("due", "is left out and is no joint that is pumped")
        elif fitting and fitting not in known:
            yield where.finding("due", "is no fitting of this joint")


def _why_not(case: Case, unit: str, joint: str) -> str:
    """Why something is not to be pumped at all."""
    machine = case.basis.types.get(unit)
    known = {j.name: j for j in machine.joints} if machine is not None else {}
    if joint not in known:
        return "is no joint of this unit" if known else "is no unit of the site"
    if known[joint].never_pump:
        return "is pumped and must never be: it is no lubrication point"
    if known[joint].done_by == "operator":
        return "is pumped and is the operator's to grease: to be looked at"
    return "is pumped and is fed by a central system: to be looked at"


def counts_are_told(case: Case) -> Iterator[Finding]:
    """Joints and fittings due are counted right, never-pump and central joints all listed."""
    plan = case.basis.plan
    served = {(t.unit, t.task.joint, t.task.fitting) for t in case.basis.tasks}
    served |= {(x.unit, x.joint, x.fitting or "") for x in plan.left}
    due = [
        (*key, name)
        for key, verdicts in case.owed.items()
        for name, v in verdicts.items()
        if v.due or (v.due is None and {(*key, name), (*key, "")} & served)
    ]
    joints = {(unit, joint) for unit, joint, _ in due}
    if case.basis.asked.under_way is None:
        for told, found, what in (
            (plan.due_joints, len(joints), "joints"),
            (plan.due_fittings, len(due), "fittings"),
        ):
            if told != found:
                text = f"{told} {what} are told as due, {found} are"
                measure: Measure = "joints" if what == "joints" else "fittings"
                yield Where().finding("due", text, off=abs(told - found), measure=measure)
    yield from _marks(case, {unit for unit, _ in joints})


def _marks(case: Case, units: set[str]) -> Iterator[Finding]:
    """Of each unit with something due, the joints that are looked at and never pumped."""
    plan = case.basis.plan
    joints = [(u, j) for u in units if u in case.basis.types for j in case.basis.types[u].joints]
    for what, told, meant in (
        ("never to be pumped", plan.never_pump, {(u, j.name) for u, j in joints if j.never_pump}),
        (
            "fed or greased by others",
            plan.inspect,
            {(u, j.name) for u, j in joints if _looked_at(j)},
        ),
    ):
        listed = {(mark.unit, mark.joint) for mark in told}
        for unit, joint in sorted(meant ^ listed):
            missing = (unit, joint) in meant
            text = f"is {what} and not listed" if missing else f"is listed and not {what}"
            yield Where(unit=unit, joint=joint).finding("marks", text)


def _looked_at(joint: Joint) -> bool:
    """Whether a system or the operator greases it and the round only looks."""
    return joint.central or (joint.done_by == "operator" and not joint.never_pump)


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
