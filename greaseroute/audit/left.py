"""The promise that what is left out is left out for a reason that holds.

Each reason makes a claim; the audit looks for something that disproves it, anew from the site: a
place that serves the fitting, a gun that fits, time in which it could be done.
"""

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from greaseroute.audit.cartridges import strokes_in
from greaseroute.audit.case import Case
from greaseroute.audit.dose import dose_cm3, strokes_for
from greaseroute.audit.finding import Finding, Where
from greaseroute.audit.moments import unit_stands
from greaseroute.audit.people import somebody_for
from greaseroute.audit.places import Arm, clear_place, serving_place
from greaseroute.audit.room import roomy
from greaseroute.catalogue.joint import Joint
from greaseroute.plan.round import LeftOut
from greaseroute.site.crew import Gun, Technician
from greaseroute.site.grease_fit import misfits
from greaseroute.units import MS_PER_S, S_PER_MIN


@dataclass(frozen=True, slots=True)
class Claim:
    """What is left out of one joint, with what is known of it: fittings, who might do it."""

    case: Case
    left: LeftOut
    joint: Joint
    fittings: tuple[str, ...]

    @property
    def unit(self) -> str:
        """The unit's number."""
        return self.left.unit

    def disproved(self, what: str) -> Finding:
        """The finding that the reason given does not hold."""
        where = Where(unit=self.unit, joint=self.left.joint, fitting=self.left.fitting or "")
        return where.finding("reasons", f"{what}, left out as {self.left.reason!r}")

    def arms(self) -> Iterator[Arm]:
        """Everybody who may do it, with each gun that suits."""
        for walker in self.who():
            for gun in self.guns(walker):
                yield Arm(walker.name, walker.reach, gun.hose_m)

    def who(self) -> list[Technician]:
        """Whoever may: the one who visits the unit, else every technician, if skilled for it."""
        plan, crew = self.case.basis.plan, self.case.basis.crew
        visitors = [t.name for t in plan.technicians if any(s.unit == self.unit for s in t.stops)]
        names = visitors or [t.name for t in plan.technicians]
        unit = self.case.basis.units[self.unit]
        asked = {skill for skill in (unit.skill, self.joint.skill) if skill is not None}
        return [crew[name] for name in names if name in crew and asked <= set(crew[name].skills)]

    def guns(self, walker: Technician) -> list[Gun]:
        """Guns of a technician whose grease and couplers suit the joint."""
        basis, heads = self.case.basis, {f.head for f in self.joint.fittings}
        guns = (basis.guns[name] for name in walker.guns if name in basis.guns)
        return [
            gun
            for gun in guns
            if heads <= set(gun.couplers)
            and not misfits(self.joint.grease, basis.greases[gun.grease])
        ]

    def best_guns(self, walker: Technician) -> list[Gun]:
        """The guns that reach all of it as the unit stands; where some of them hold a grease that
        the joint prefers, those alone.
        """
        liked, greases = self.joint.grease.prefers_moly, self.case.basis.greases
        reach = [gun for gun in self.guns(walker) if self._reaches(walker, gun)]
        best = [gun for gun in reach if liked in (None, greases[gun.grease].moly)]
        return best or reach

    def gun_taken(self, walker: Technician) -> Gun | None:
        """Of the best guns the one that takes the most cartridges: which is taken is the plan's
        choice. None where none reaches.
        """
        guns = self.best_guns(walker)
        return max(guns, key=lambda gun: cartridges_for(self, gun), default=None)

    def _reaches(self, walker: Technician, gun: Gun) -> bool:
        """Whether every fitting is in reach in some posture that the unit is worked in."""
        case, arm = self.case, Arm(walker.name, walker.reach, gun.hose_m)
        postures = case.machines.asked_for[self.unit]
        return all(
            any(serving_place(case, self.unit, key, posture=p, arm=arm) for p in postures)
            for key in ((self.joint.name, fitting) for fitting in self.fittings)
        )


def claims(case: Case, words: str) -> Iterator[Claim]:
    """What is left out for a reason in which an expression is found, in the order of the plan."""
    for left in case.basis.plan.left:
        joint = case.joint(left.unit, left.joint)
        if joint is not None and re.search(words, left.reason):
            names = (left.fitting,) if left.fitting else tuple(f.name for f in joint.fittings)
            yield Claim(case, left, joint, names)


def reasons_hold(case: Case) -> Iterator[Finding]:
    """No reason in the list of what is left out can be disproved."""
    for claim in claims(case, r"\S"):
        for what in _disproved(claim):
            yield claim.disproved(what)


def _disproved(claim: Claim) -> Iterator[str]:
    """What disproves a claim; a reason that is not known cannot be proved."""
    under_way = claim.case.basis.asked.under_way
    if under_way is not None and _told_so(claim):
        return
    reason = claim.left.reason.removesuffix(" (the technician who comes)")
    for words, disprove in REASONS:
        if re.search(words, reason):
            yield from disprove(claim)
            return
    yield "the reason is none that can be looked into"


def _told_so(claim: Claim) -> bool:
    """Whether it was told that this cannot be done: blocked, or a unit that has left."""
    under_way, left = claim.case.basis.asked.under_way, claim.left
    assert under_way is not None
    keys = {(left.unit, left.joint, ""), (left.unit, left.joint, left.fitting or "")}
    return left.unit in under_way.gone or bool(keys & under_way.blocked)


def _a_place_serves(claim: Claim) -> Iterator[str]:
    """In the posture it stands in, in those of the plan, and in any that may be asked for."""
    case = claim.case
    postures = case.machines.asked_for[claim.unit]
    names = tuple(p.name for p in case.basis.types[claim.unit].postures)
    others = [n for n in names if n not in postures and may_be_asked(case, claim.unit, n)]
    for fitting in claim.fittings:
        key = (claim.joint.name, fitting)
        for posture in (*postures, *others):
            own = posture == postures[0]
            if own or clear_place(case, claim.unit, (postures[0], posture)) is not None:
                found = _from(claim, key, posture)
                if found:
                    yield found
                    break


def _from(claim: Claim, key: tuple[str, str], posture: str) -> str:
    for arm in claim.arms():
        place = serving_place(claim.case, claim.unit, key, posture=posture, arm=arm)
        if place is not None:
            return f"{key[1]} is in reach of {arm.name} from {place} in posture {posture!r}"
    return ""


def may_be_asked(case: Case, unit: str, posture: str) -> bool:
    """Whether a unit could surely be asked for a posture: somebody is there, nothing is near."""
    rules = case.basis.site.rules
    wanted_ms = (rules.posture_move_min * S_PER_MIN + rules.unlock_s) * MS_PER_S
    now = case.basis.units[unit].posture
    return (
        rules.posture_moves
        and bool(somebody_for(case, unit, wanted_ms=wanted_ms, window=_window(case, unit)))
        and roomy(case, unit, (now, posture))
    )


def _window(case: Case, unit: str) -> tuple[int, int]:
    come, go = unit_stands(case.basis.units[unit], case.basis.clock)
    end_ms = case.basis.end_ms
    return max(0, come or 0), end_ms if go is None else min(go, end_ms)


def _nobody(claim: Claim) -> Iterator[str]:
    """Nobody is at hand: disproved by somebody who is there long enough."""
    case, procedure = claim.case, claim.joint.procedure
    minutes = 0.0 if procedure is None else procedure.minutes
    wanted_ms = (minutes * S_PER_MIN + case.basis.site.rules.unlock_s) * MS_PER_S
    window = _window(case, claim.unit)
    name = somebody_for(case, claim.unit, wanted_ms=wanted_ms, window=window)
    if name:
        yield f"{name} is at hand and may operate it"


def _no_room(claim: Claim) -> Iterator[str]:
    """No room to slew or to move: disproved where nothing at all is near."""
    case, unit = claim.case, claim.unit
    for posture in case.machines.asked_for[unit][:1]:
        if roomy(case, unit, (posture, posture)):
            yield "nothing stands anywhere near it"


def _posture_allows(claim: Claim) -> Iterator[str]:
    postures = claim.joint.postures
    now = claim.case.basis.units[claim.unit].posture
    if not postures or now in postures:
        yield f"it may be greased in posture {now!r}"
        return
    yield from _a_place_serves(claim)


def _clear_ground(claim: Claim) -> Iterator[str]:
    postures = claim.case.machines.asked_for[claim.unit]
    spot = clear_place(claim.case, claim.unit, postures)
    if spot is not None:
        yield f"one can stand clear at ({spot[0]:.2f}, {spot[1]:.2f})"


def _somebody_can(claim: Claim) -> Iterator[str]:
    for walker in claim.who():
        guns = claim.guns(walker)
        if guns:
            yield f"{walker.name} has the gun {guns[0].name!r} and the skill for it"
            return


def _bag_suffices(claim: Claim) -> Iterator[str]:
    """More cartridges than a full bag: the joint alone, with what the guns hold."""
    for walker in claim.who():
        room, gun = _room(claim, walker), claim.gun_taken(walker)
        if gun is not None and (needed := cartridges_for(claim, gun)) <= room:
            yield f"{walker.name} needs {needed} cartridges for it and has room for {room}"
            return


def _bag_suffices_for_all(claim: Claim) -> Iterator[str]:
    """With what is done at the unit: all of it, with what the guns hold at the start.

    In another order each gun may take a cartridge more: so many are to spare.
    """
    case = claim.case
    done = [(t.task.gun, t.task.strokes) for t in case.basis.tasks if t.unit == claim.unit]
    for walker in claim.who():
        each = [_strokes(claim, left, walker) for left in case.basis.plan.left]
        if None in each:
            continue
        missed = [s for some in each for s in some or ()]
        left = {name: case.basis.guns[name].left_strokes for name in walker.guns}
        needed = 0
        for name, strokes in (*done, *missed):
            gun = case.basis.guns[name]
            full = max(1, strokes_in(gun, case.basis.greases[gun.grease]))
            if left.get(name, 0) < strokes:
                more = -(-strokes // full)
                needed, left[name] = needed + more, more * full
            left[name] -= strokes
        room = _room(claim, walker)
        if needed + len({name for name, _ in (*done, *missed)}) <= room:
            yield f"{walker.name} needs {needed} cartridges for all of it and has room for {room}"
            return


def _strokes(claim: Claim, left: LeftOut, walker: Technician) -> list[tuple[str, int]] | None:
    """Gun and strokes of each fitting that is left out at the unit for the same reason; None where
    the audit sees no gun that reaches it.
    """
    joint = claim.case.joint(left.unit, left.joint)
    if (left.unit, left.reason) != (claim.unit, claim.left.reason) or joint is None:
        return []
    names = [f.name for f in joint.fittings if left.fitting in (None, f.name) and f.takes is None]
    other = Claim(claim.case, left, joint, tuple(names))
    gun = other.gun_taken(walker)
    if gun is None or joint.dose is None:
        return None
    grease = claim.case.basis.greases[gun.grease]
    return [(gun.name, strokes_for(dose_cm3(joint.dose, grease), gun, grease))] * len(names)


def _no_store(claim: Claim) -> Iterator[str]:
    """There is no store to fill the bag at: disproved by one."""
    store = next((p.name for p in claim.case.basis.places.values() if p.kind == "store"), None)
    if store is not None:
        yield f"the bag can be filled at {store}"


def _room(claim: Claim, walker: Technician) -> int:
    """Cartridges to put in that fit into the bag beside the reserve; at least one."""
    return max(1, walker.bag_cartridges - _reserve(claim, walker))


def _reserve(claim: Claim, walker: Technician) -> int:
    basis = claim.case.basis
    held = {basis.guns[name].grease for name in walker.guns if name in basis.guns}
    return sum(basis.greases[grease].reserve_cartridges for grease in held)


def cartridges_for(claim: Claim, gun: Gun) -> int:
    """Cartridges that go in for the fittings of a joint, from the gun as it is at the start."""
    grease = claim.case.basis.greases[gun.grease]
    assert claim.joint.dose is not None
    strokes = strokes_for(dose_cm3(claim.joint.dose, grease), gun, grease)
    full, left, put_in = strokes_in(gun, grease), gun.left_strokes, 0
    for _ in claim.fittings:
        if left < strokes:
            more = -(-strokes // max(1, full))
            put_in, left = put_in + more, more * full
        left -= strokes
    return put_in


def _takes_more(claim: Claim) -> Iterator[str]:
    """The type says of a fitting that it takes a platform, a pit or the workshop, and which."""
    for fitting in claim.joint.fittings:
        if fitting.name in claim.fittings and claim.left.helps != f"a {fitting.takes}":
            yield f"{fitting.name} is not told by its type to take {claim.left.helps or 'anything'}"


def _nothing(claim: Claim) -> Iterator[str]:
    """Claims about time and hours are looked into by `time_is_short` and `shut_ways_are_shut`."""
    del claim
    return iter(())


Disprove = Callable[[Claim], Iterator[str]]
GEOMETRY = (
    r"no free ground beside it|arm .* too short|^hidden|no stand left on the ground"
    r"|too high from the ground|^cut off|no path leads to it"
)
REASONS: Sequence[tuple[str, Disprove]] = (
    (r"no clear ground to stand on while the machine turns", _clear_ground),
    (r"^nobody reaches it from the ground or a deck", _takes_more),
    (r"^nobody is at hand", _nobody),
    (r"^no room", _no_room),
    (GEOMETRY, _a_place_serves),
    (r"^it stands in ", _posture_allows),
    (r"^no gun fits|asks for the skill|has the gun or the skill", _somebody_can),
    (r"^with what is done at the unit", _bag_suffices_for_all),
    (r"more cartridges than", _bag_suffices),
    (r"^no cartridge is left", _nothing),
    (r"no cartridge more", _no_store),
    (r"^not enough time|^no time |^its window|^the shift ends|^every way ", _nothing),
)
