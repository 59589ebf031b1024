"""The sample site and plan, shared with the cards."""

from tests.cards.conftest import plan, yard

__all__ = ["plan", "yard"]
