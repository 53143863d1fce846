"""What a part of the work says beside its tables: remarks, and questions with the fact they ask after, so that it is asked once."""

from dataclasses import dataclass, field
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


@dataclass(slots=True)
class Remarks:
    """Sentences for the record, gathered while a part of the work goes on; ``not_established``: what the day could not tell."""

    questions: list[str] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)
    not_established: list[str] = field(default_factory=list)
