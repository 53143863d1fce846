"""A column on its way from heading to channel, and what is asked and said about the columns of one log."""

from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
import polars as pl

from pullbook.arrays import Array, thinned
from pullbook.questions import Question
from pullbook.vocabulary.naming import Meaning
from pullbook.vocabulary.units_text import Unit

UnitFrom = Literal["header", "units_row", "proved", "columns_yaml", "assumed"]
"""Where a unit is known from."""


@dataclass(slots=True)
class Column:
    """One column on its way from heading to channel. ``values``: as logged, shape (rows,), None where it holds no numbers.

    ``kind``: number, switch, clock, text, empty. ``hint``: the operator's line in columns.yaml. ``factor``: what columns.yaml
    or a sign adds to the unit's own factor.
    """

    header: str
    meaning: Meaning
    kind: str
    values: Array | None
    hint: dict[str, Any] = field(default_factory=dict)
    channel: str | None = None
    unit: Unit | None = None
    unit_from: UnitFrom | None = None
    corrected: str | Literal[False] = False
    factor: float = 1.0
    source: pl.Series | None = None  # the parser's own column, while ``values`` are still its numbers
    span: tuple[float, float] | None = None  # smallest and largest of ``values``, where looked up

    def share_missing(self) -> float:
        """Share of rows without a value, 0 to 1; 0 for clocks and words."""
        if self.kind == "empty" or self.values is None or not len(self.values):
            return float(self.kind == "empty")
        if self.source is not None:
            return self.source.null_count() / len(self.values)
        return float(1.0 - np.isfinite(self.values).mean())

    def kept(self) -> Array:
        """Values in the kept unit, shape (rows,)."""
        assert self.values is not None
        factor, offset = (self.unit.factor, self.unit.offset) if self.unit else (1.0, 0.0)
        if factor * self.factor == 1.0 and offset == 0.0:
            return self.values
        return self.values * (factor * self.factor) + offset * self.factor

    def some(self, most: int = 10_000) -> Array:
        """Finite logged values, evenly picked where there are many, shape (≤ 2 · most,)."""
        assert self.values is not None
        picked = thinned(self.values, most)
        return picked[np.isfinite(picked)]


@dataclass(slots=True)
class Talk:
    """Questions and warnings of one log; ``name`` starts each."""

    name: str
    questions: list[str] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)

    def ask(self, text: str, fact: str | None = None) -> None:
        """A question; ``fact``: what it asks after, where others may ask too (:class:`pullbook.questions.Question`)."""
        said = f"{self.name}: {text}"
        self.questions.append(said if fact is None else Question(said, fact))

    def warn(self, text: str) -> None:
        """A warning."""
        self.warnings.append(f"{self.name}: {text}")


def find(columns: list[Column], channel: str) -> Column | None:
    """The column of a channel."""
    return next((c for c in columns if c.channel == channel), None)
