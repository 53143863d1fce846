"""Questions to the shop, with the fact they ask after: whoever notices that a fact is missing, the shop is asked for it once."""

from typing import Self


class Question(str):
    """A question as text, and the fact it asks after."""

    __slots__ = ("fact",)
    fact: str

    def __new__(cls, text: str, fact: str) -> Self:
        """``text`` as the shop reads it; ``fact``: :data:`ADVANCE`, :data:`AIR` or :data:`STANDARD`."""
        made = super().__new__(cls, text)
        made.fact = fact
        return made


ADVANCE, AIR, STANDARD = "advance", "air", "standard of correction"
"""Facts that more than one part of the work misses."""


def fact_of(question: str) -> str | None:
    """The fact a question asks after; None where nobody else asks after it."""
    return question.fact if isinstance(question, Question) else None
