"""A day as the advice looks at it: the earlier stages' answers, the rows that count, and the settings that were run."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl

from pullbook.advice import limits_words
from pullbook.advice.ceiling_ends import without_thin_ends
from pullbook.advice.ground import Ground, survey_ground
from pullbook.advice.settings_run import Setting, settings_run
from pullbook.columns import NOTED
from pullbook.handover import AlignedDay, BestDay, DayReading, DeliveredDay


@dataclass(frozen=True, slots=True)
class AdviceDay:
    """What every part of the advice looks at.

    ``ceiling``: CEILING without its thin ends; ``ground``: None where no advance can be compared; ``settings``: those with a used
    pull; ``kind``: of ignition, None unknown; ``pulls``: how many were used; ``facts``: what was heard, in words.
    """

    reading: DayReading
    aligned: AlignedDay
    delivered: DeliveredDay
    best: BestDay
    ceiling: pl.DataFrame
    ground: Ground | None
    settings: list[Setting]
    kind: str | None
    pulls: int
    facts: list[str]

    @property
    def mark_error(self) -> float | None:
        """What a light reads too high, degrees, where the mark was measured."""
        value = self.delivered.timing_scale.get("zero_mark_error_deg")
        return None if value is None else float(value)

    @property
    def fuel(self) -> str | None:
        """The day's fuel, or the engine's."""
        return self.reading.facts.fuel or self.reading.engine_facts.fuel

    def scale(self, name: str) -> float | None:
        """A number of the contract's ``timing_scale``, in its own unit; None where the day does not tell."""
        value = self.delivered.timing_scale.get(name)
        return None if value is None else float(value)


def look_at(reading: DayReading, aligned: AlignedDay, delivered: DeliveredDay, best: BestDay) -> AdviceDay:
    """Gather what the advice needs from the earlier stages' answers.

    Parameters
    ----------
    reading, aligned, delivered, best
        What the earlier stages handed on, all of the same day.

    Returns
    -------
    AdviceDay
        ``ground`` None where no row has draws, a tested span and a ceiling; ``kind`` as engine.yaml says, else what all
        curves look like.
    """
    used = aligned.pulls.filter(pl.col("status") != "left_out")
    # a setting that knocked is never carried on past where it was run: the rows beside are where its pull was cut short
    knocked = best.knock.filter(pl.col("word").is_in(NOTED))["setting"]
    names = used.filter(~pl.col("setting").is_in(knocked.to_list()))["setting"].drop_nulls().unique(maintain_order=True).to_list()
    ceiling = without_thin_ends(best.ceiling, delivered.delivered, names)
    ground = survey_ground(
        best.posterior,
        ceiling,
        used_rpm=reading.engine_facts.used_rpm,
        max_advance_deg=reading.engine_facts.max_advance_deg,
        tolerance_pct=reading.facts.limits.tolerance_pct,
    )
    rows = np.array([]) if ground is None else ground.rpm
    settings = settings_run(aligned, delivered, best.knock, rows)
    kind: str | None = reading.engine_facts.ignition.kind
    if kind is None:
        families = set(delivered.shapes["family"].drop_nulls().to_list()) - {"unknown"}
        kind = families.pop() if len(families) == 1 else "mechanical" if "mechanical" in families else None
    facts = limits_words.knock_facts(best.knock, aligned)
    return AdviceDay(reading, aligned, delivered, best, ceiling, ground, settings, kind, len(used), facts)


def ceiling_rows(ceiling: pl.DataFrame) -> list[dict[str, Any]]:
    """CEILING as the contract writes it: ``rpm, advance_deg, because`` of each row, by rpm."""
    return ceiling.select("rpm", "advance_deg", "because").sort("rpm").to_dicts()
