"""The short receipt of a walk: two bits a fitting, a minute a stop, exceptions, a check sum.

Layout, after the letters ``GR1``, as base 32 (RFC 4648, no padding) with a full stop behind it.
All these letters are in the alphanumeric set of QR codes, and none is lost in a messenger.

- plan id, 8 bytes; number of the walk; phone, 2 bytes; minute of the receipt, folded;
- numbers of fittings, checks and stops of the walk, then two bits a fitting and check: 0 nothing
  told, 1 done as planned (check: good), 2 done otherwise (check: not good), 3 could not;
- for each stop 0 where nothing was told, else 1 + the folded minutes since the stop before;
- exceptions: count, then for each how many places on, a byte of reason (3 bits), defect (3 bits),
  took too much (1 bit), and whether strokes and words follow (1 bit);
- meters: count, then for each how many stops on, and twice the tenths of an hour, plus 1 if sure;
- CRC-32 of all before it, 4 bytes.

Minutes count from the moment the plan was made for. Fittings and checks stand in the card's order.
"""

import base64
import binascii
import re
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final, get_args

from greaseroute.ledger.events import Defect, Reason
from greaseroute.ledger.packing import CutOff, Packer, Unpacker, folded, unfolded

MARK: Final = "GR1"
REASONS: Final[tuple[str, ...]] = get_args(Reason)
DEFECTS: Final[tuple[str, ...]] = get_args(Defect)
NOTHING, AS_PLANNED, OTHERWISE, COULD_NOT = range(4)
TOOK_TOO_MUCH, MORE = 64, 128
CHECK_SUM_BYTES: Final = 4
TEXT: Final = re.compile(rf"{MARK}([A-Z2-7\s]+)(\.?)", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Ticked:
    """What is told of one fitting or check: `NOTHING` to `COULD_NOT`, and what goes with it."""

    state: int = NOTHING
    strokes: int | None = None
    reason: str | None = None
    defect: str | None = None
    took_too_much: bool = False
    words: str = ""
    found: str = ""

    @property
    def exception(self) -> bool:
        """Whether the two bits do not tell all."""
        plain = Ticked(self.state)
        return self != plain

    @property
    def more(self) -> bool:
        """Whether strokes or words follow."""
        return self.strokes is not None or bool(self.words or self.found)


@dataclass(frozen=True, slots=True)
class WalkTold:
    """What a receipt holds. ``minutes`` and ``meters`` have one entry a stop, None where nothing
    was told; minutes count from the plan's moment, meters are (hours, sure)."""

    plan: str
    walk: int
    device: str
    told_min: int
    fittings: tuple[Ticked, ...]
    checks: tuple[Ticked, ...]
    minutes: tuple[int | None, ...]
    meters: tuple[tuple[float, bool] | None, ...]


def receipt_text(told: WalkTold) -> str:
    """The receipt as text, the same as the card shows."""
    out = Packer()
    out.data += bytes.fromhex(told.plan)
    out.number(told.walk)
    out.data += bytes.fromhex(told.device)
    out.number(folded(told.told_min))
    ticked = (*told.fittings, *told.checks)
    for each in (told.fittings, told.checks, told.minutes):
        out.number(len(each))
    out.states(each.state for each in ticked)
    _pack_minutes(out, told.minutes)
    _pack_exceptions(out, ticked)
    _pack_meters(out, told.meters)
    out.data += zlib.crc32(out.data).to_bytes(CHECK_SUM_BYTES, "big")
    return f"{MARK}{base64.b32encode(out.data).decode().rstrip('=')}."


def _pack_minutes(out: Packer, minutes: Sequence[int | None]) -> None:
    before = 0
    for minute in minutes:
        out.number(0 if minute is None else 1 + folded(minute - before))
        before = before if minute is None else minute


def _pack_exceptions(out: Packer, ticked: Sequence[Ticked]) -> None:
    places = [place for place, each in enumerate(ticked) if each.exception]
    out.number(len(places))
    before = 0
    for place in places:
        each = ticked[place]
        out.number(place - before)
        before = place
        reason = 0 if each.reason is None else 1 + REASONS.index(each.reason)
        defect = 0 if each.defect is None else 1 + DEFECTS.index(each.defect)
        flags = TOOK_TOO_MUCH * each.took_too_much + MORE * each.more
        out.data.append(reason + 8 * defect + flags)
        if each.more:
            out.number(0 if each.strokes is None else 1 + each.strokes)
            out.text(each.words)
            out.text(each.found)


def _pack_meters(out: Packer, meters: Sequence[tuple[float, bool] | None]) -> None:
    read = [(stop, meter) for stop, meter in enumerate(meters) if meter is not None]
    out.number(len(read))
    before = 0
    for stop, (meter_h, sure) in read:
        out.number(stop - before)
        out.number(2 * round(10 * meter_h) + sure)
        before = stop


def find_receipt(text: str) -> str | None:
    """The receipt in a text, such as a message with words round it, or None."""
    found = TEXT.search(text)
    return found.group(0) if found else None


def unpacked(text: str) -> WalkTold:
    """What a receipt holds. Raises CutOff where it is damaged."""
    data = _checked(text)
    taken = Unpacker(data[8:])
    walk, device = taken.number(), taken.take(2).hex()
    told_min = unfolded(taken.number())
    fittings, checks, stops = taken.number(), taken.number(), taken.number()
    states = taken.states(fittings + checks)
    minutes = list(_minutes(taken, stops))
    ticked = _exceptions(taken, states)
    meters = _meters(taken, stops)
    if not taken.ended:
        raise CutOff("more than it should hold")
    return WalkTold(
        plan=data[:8].hex(),
        walk=walk,
        device=device,
        told_min=told_min,
        fittings=tuple(ticked[:fittings]),
        checks=tuple(ticked[fittings:]),
        minutes=tuple(minutes),
        meters=tuple(meters),
    )


def _checked(text: str) -> bytes:
    """The bytes of a receipt without the check sum, which fits. Raises CutOff."""
    found = TEXT.search(text)
    if found is None or not found.group(2):
        raise CutOff("no full stop at its end: cut off")
    letters = re.sub(r"\s", "", found.group(1)).upper()
    try:
        data = base64.b32decode(letters + "=" * (-len(letters) % 8))
    except binascii.Error as error:
        raise CutOff(f"{len(letters)} letters") from error
    body, check_sum = data[:-CHECK_SUM_BYTES], data[-CHECK_SUM_BYTES:]
    if len(body) < 16 or zlib.crc32(body).to_bytes(CHECK_SUM_BYTES, "big") != check_sum:
        raise CutOff(f"{len(letters)} letters that do not fit their check sum")
    return body


def _minutes(taken: Unpacker, stops: int) -> Iterator[int | None]:
    before = 0
    for _ in range(stops):
        value = taken.number()
        if value == 0:
            yield None
            continue
        before += unfolded(value - 1)
        yield before


def _exceptions(taken: Unpacker, states: Sequence[int]) -> list[Ticked]:
    ticked = [Ticked(state) for state in states]
    place = 0
    for _ in range(taken.number()):
        place += taken.number()
        if place >= len(ticked):
            raise CutOff("an exception at a fitting that is not there")
        (flags,) = taken.take(1)
        reason, defect = flags & 7, flags >> 3 & 7
        if defect > len(DEFECTS):
            raise CutOff("a defect that is not known")
        strokes, words, found = 0, "", ""
        if flags & MORE:
            strokes, words, found = taken.number(), taken.text(), taken.text()
        ticked[place] = Ticked(
            states[place],
            strokes=strokes - 1 if strokes else None,
            reason=REASONS[reason - 1] if reason else None,
            defect=DEFECTS[defect - 1] if defect else None,
            took_too_much=bool(flags & TOOK_TOO_MUCH),
            words=words,
            found=found,
        )
    return ticked


def _meters(taken: Unpacker, stops: int) -> list[tuple[float, bool] | None]:
    meters: list[tuple[float, bool] | None] = [None] * stops
    stop = 0
    for _ in range(taken.number()):
        stop += taken.number()
        if stop >= stops:
            raise CutOff("a meter at a stop that is not there")
        value = taken.number()
        meters[stop] = (value // 2 / 10, bool(value % 2))
    return meters
