"""What the fittings of a unit are called on paper."""

from collections import Counter

from greaseroute.cards.card_words import in_language
from greaseroute.cards.type_sheet import numbered_fittings
from greaseroute.catalogue.kinematics.placed import PlacedMachine
from greaseroute.texts.language import Language


class FittingNames:
    """What the fittings of a unit are called on paper, and their numbers in the type book."""

    def __init__(self, say: Language, placed: PlacedMachine) -> None:
        self._say, self._family = say, placed.machine_type.family
        self.rows = numbered_fittings(placed)
        self._numbers = {(row.joint, row.fitting): row.label for row in self.rows}
        self._heads = {(f.joint.name, f.fitting.name): f.head for f in placed.fittings}
        self._of_joint = Counter(row.joint for row in self.rows)

    def number(self, joint: str, fitting: str) -> str:
        """The number in the type book, ``?`` for what is not in it."""
        return self._numbers.get((joint, fitting), "?")

    def name(self, joint: str, fitting: str) -> str:
        """The joint, the fitting where the joint has several, the head where it is not usual."""
        head = self._heads.get((joint, fitting), "conical")
        parts = [joint, *([fitting] if self._of_joint[joint] != 1 else [])]
        parts += [head] if head != "conical" else []
        return ", ".join(in_language(self._say, part, self._family) for part in parts)
