"""Whole numbers, texts and two-bit states packed into bytes, and taken out again."""

from collections.abc import Iterable

MOST_BITS = 49
"""Numbers up to 2**49: whole in the arithmetic of a phone's browser (safe to 2**53)."""


class CutOff(ValueError):
    """The bytes end before what they announce, or hold a number that is none of ours."""


class Packer:
    """Bytes that grow."""

    def __init__(self) -> None:
        self.data = bytearray()

    def number(self, value: int) -> None:
        """A whole number from 0 up, seven bits a byte, the lowest first (LEB128)."""
        while value > 0x7F:
            self.data.append(0x80 | value & 0x7F)
            value >>= 7
        self.data.append(value)

    def text(self, words: str) -> None:
        """A text as its length in bytes and UTF-8."""
        encoded = words.encode()
        self.number(len(encoded))
        self.data += encoded

    def states(self, states: Iterable[int]) -> None:
        """States 0 to 3, four a byte, the first in the lowest bits."""
        row = list(states)
        for begin in range(0, len(row), 4):
            four = row[begin : begin + 4]
            self.data.append(sum(state << 2 * place for place, state in enumerate(four)))


class Unpacker:
    """Bytes that are read from the front. Raises CutOff past their end."""

    def __init__(self, data: bytes) -> None:
        self._data = data
        self._at = 0

    def take(self, count: int) -> bytes:
        """The next bytes."""
        if count < 0 or self._at + count > len(self._data):
            raise CutOff(f"{len(self._data)} bytes")
        part = self._data[self._at : self._at + count]
        self._at += count
        return part

    def number(self) -> int:
        """The next whole number."""
        value, shift = 0, 0
        while True:
            (byte,) = self.take(1)
            value |= (byte & 0x7F) << shift
            if byte < 0x80:
                return value
            shift += 7
            if shift >= MOST_BITS:
                raise CutOff("a number too long")

    def text(self) -> str:
        """The next text; raises CutOff where it is not UTF-8."""
        try:
            return self.take(self.number()).decode()
        except UnicodeDecodeError as error:
            raise CutOff("a text that is not UTF-8") from error

    def states(self, count: int) -> list[int]:
        """The next states 0 to 3."""
        packed = self.take(-(-count // 4))
        return [packed[k // 4] >> 2 * (k % 4) & 3 for k in range(count)]

    @property
    def ended(self) -> bool:
        """Whether everything was read."""
        return self._at == len(self._data)


def folded(value: int) -> int:
    """A signed number as one from 0 up: 0, -1, 1, -2 are 0, 1, 2, 3."""
    return -2 * value - 1 if value < 0 else 2 * value


def unfolded(value: int) -> int:
    """The signed number that was folded."""
    return -(value + 1) // 2 if value % 2 else value // 2
