"""Where along an ordered list of fittings each cartridge runs out, and how many to carry."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from greaseroute.dose.count import CartridgeCount
from greaseroute.dose.strokes import WHOLE_SLACK, stroke_cm3
from greaseroute.errors import UnfitProblem, UnknownName
from greaseroute.records import Record
from greaseroute.site.crew import Grease, Gun


class CartridgeRun(Record):
    """``put_in``: cartridges put in before each task, in order; ``left_strokes`` per gun after."""

    put_in: tuple[int, ...]
    counts: dict[str, CartridgeCount]
    left_strokes: dict[str, int]


def cartridge_strokes(gun: Gun, grease: Grease) -> int:
    """Strokes one cartridge is good for: usable share over the stroke, less the priming strokes.

    Raises
    ------
    UnfitProblem
        Where priming eats the whole cartridge.
    """
    usable_cm3 = grease.cartridge_g * grease.usable_share / grease.density_g_cm3
    full = math.floor(usable_cm3 / stroke_cm3(gun, grease) + WHOLE_SLACK)
    if full <= gun.priming_strokes:
        raise UnfitProblem(
            f"gun {gun.name}",
            f"{full} strokes in a cartridge, {gun.priming_strokes} of them for priming",
            limit="more strokes than priming takes",
            next_step="check stroke_cm3, cartridge_g and priming_strokes in site.toml",
        )
    return full - gun.priming_strokes


@dataclass(slots=True)
class _Barrel:
    """What one gun holds while the list is walked; local to `walk_cartridges`."""

    left: int
    capacity: int
    used: int = 0
    strokes: int = 0

    def pump(self, wanted: int) -> int:
        """Pump one fitting; cartridges put in before it."""
        put_in = 0
        if self.left < wanted:
            put_in = math.ceil(wanted / self.capacity)
            self.left = put_in * self.capacity
        self.left -= wanted
        self.used += put_in
        self.strokes += wanted
        return put_in


def _named(name: str, things: Mapping[str, Gun] | Mapping[str, Grease]) -> Gun | Grease:
    if name not in things:
        raise UnknownName(
            "cartridges", name, limit=", ".join(sorted(things)), next_step="check site.toml"
        )
    return things[name]


def _count(
    barrels: Mapping[str, _Barrel], guns: Mapping[str, Gun], grease: Grease
) -> CartridgeCount:
    mine = [name for name in barrels if guns[name].grease == grease.name]
    used = sum(barrels[name].used for name in mine)
    grams = sum(
        barrels[name].strokes * stroke_cm3(guns[name], grease) * grease.density_g_cm3
        for name in mine
    )
    return CartridgeCount(
        carry=used + grease.reserve_cartridges,
        used=used,
        reserve=grease.reserve_cartridges,
        strokes=sum(barrels[name].strokes for name in mine),
        grams=round(grams, 6),
    )


def walk_cartridges(
    tasks: Sequence[tuple[int, str]], *, guns: Sequence[Gun], greases: Sequence[Grease]
) -> CartridgeRun:
    """Walk ``tasks`` (strokes, gun name) in order and change cartridges as a technician would.

    A cartridge that cannot finish the next fitting is changed before it, and what is left in it
    is not used further; an empty gun gets one before its first fitting; a fitting that outlasts a
    cartridge puts in several. Counts cover the greases that are pumped.

    Raises
    ------
    UnknownName
        A gun or grease that nothing carries.
    UnfitProblem
        A cartridge that priming empties.
    """
    gun_by = {gun.name: gun for gun in guns}
    grease_by = {grease.name: grease for grease in greases}
    barrels: dict[str, _Barrel] = {}
    put_in = []
    for wanted, name in tasks:
        if name not in barrels:
            gun = _named(name, gun_by)
            assert isinstance(gun, Gun)
            grease = _named(gun.grease, grease_by)
            assert isinstance(grease, Grease)
            barrels[name] = _Barrel(gun.left_strokes, cartridge_strokes(gun, grease))
        put_in.append(barrels[name].pump(wanted))
    pumped = sorted({gun_by[name].grease for name in barrels})
    return CartridgeRun(
        put_in=tuple(put_in),
        counts={name: _count(barrels, gun_by, grease_by[name]) for name in pumped},
        left_strokes={name: barrels[name].left for name in sorted(barrels)},
    )
