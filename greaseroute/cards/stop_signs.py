"""What many stops share stands once on paper; a stop names it by a sign."""

from dataclasses import dataclass, field

from greaseroute.cards.card_model import StopBlock
from greaseroute.cards.card_words import filled, in_language
from greaseroute.cards.cautions import ToldCaution, general_cautions, local_caution
from greaseroute.texts.language import Language


@dataclass
class StopSigns:
    """Ways of isolation (I1, I2 ...) and cautions (1, 2 ...) of the stops, in the order named.

    Those that hold everywhere have the first numbers (``general`` of them): the ``own`` sentences
    of a plan, and the usual ones.
    """

    say: Language
    own: tuple[str, ...] = ()
    isolation: dict[tuple[str, ...], str] = field(default_factory=dict)
    cautions: list[str] = field(default_factory=list)
    told: dict[int, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.cautions = [*self.own, *(caution.text for caution in general_cautions(self.say))]
        self.general = len(self.cautions)

    def begin_walk(self) -> None:
        """Places are news again: somebody else's walk begins."""
        self.told.clear()

    def named(self, block: StopBlock) -> str:
        """The signs of one stop in words, beside a caution its place where that is news."""
        return ", ".join(self.of_stop(block))

    def of_stop(self, block: StopBlock) -> list[str]:
        """The same one by one: how it is isolated, cautions there, those of the way back."""
        parts = []
        if block.moved_first:
            parts.append(self._word("moved_first"))
        elif block.isolation:
            sign = self.isolation.setdefault(block.isolation, f"I{len(self.isolation) + 1}")
            parts.append(self._word("paper.isolate_as", sign=sign))
        numbers = [self._told(caution) for caution in block.around]
        numbers += [str(self._number(text)) for text in block.cautions]
        if numbers:
            parts.append(self._word("paper.cautions_as", numbers=", ".join(numbers)))
        if block.way_back:
            back = ", ".join(map(self._told, block.way_back))
            parts.append(f"{self._word('way_back')}: {back}")
        return parts

    def _word(self, key: str, **values: object) -> str:
        return filled(self.say.plain(f"card.{key}"), values)

    def _told(self, caution: ToldCaution) -> str:
        number = self._number(caution.text)
        news = caution.where and caution.where != self.told.get(number)
        self.told[number] = caution.where
        return f"{number} ({in_language(self.say, caution.where)})" if news else str(number)

    def _number(self, english: str) -> int:
        text = local_caution(english, self.say)
        if text not in self.cautions:
            self.cautions.append(text)
        return self.cautions.index(text) + 1
