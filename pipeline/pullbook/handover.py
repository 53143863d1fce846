"""What one stage hands to the next: frozen records of polars tables and plain values. No reading, no writing.

Data flows one way: DayReading -> AlignedDay -> DeliveredDay -> BestDay -> Advice -> the day's record (day.json).
Tables follow the schemas of :mod:`pullbook.columns`; units are in the column names. ``questions``, ``warnings``, ``cautions`` and
``not_established`` are sentences for the record, in the order they came up.
"""

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any, Literal

import numpy as np
import numpy.typing as npt
import polars as pl

from pullbook.arrays import Array
from pullbook.belief import Prior
from pullbook.facts import DayFacts, EngineFacts
from pullbook.loss import loss


@dataclass(frozen=True, slots=True)
class Fault:
    """One input that could not be used: where, what was found, what was expected, what to do (contract 6).

    ``line`` counts from 1, as an editor does; None where the whole file is meant.
    """

    file: str
    line: int | None
    column: str | None
    found: str
    expected: str
    remedy: str

    def sentence(self) -> str:
        """One line for the screen."""
        place = self.file + (f", line {self.line}" if self.line else "") + (f", column {self.column!r}" if self.column else "")
        return f"{place}: found {self.found}; expected {self.expected}; {self.remedy}"


@dataclass(frozen=True, slots=True)
class ColumnRead:
    """How one column of a log was understood (contract 6, ``columns``); ``share_missing``: of its rows, 0 to 1."""

    header: str
    channel: str | None
    unit: str | None
    unit_from: Literal["header", "units_row", "proved", "columns_yaml", "assumed"] | None
    corrected: str | Literal[False]
    share_missing: float


@dataclass(frozen=True, slots=True)
class Clock:
    """How the other recorder's clock maps on this log's: ``t_log = offset_s + rate * t_other``."""

    other_file: str
    offset_s: float
    rate: float
    residual_rpm: float


@dataclass(frozen=True, slots=True)
class Segment:
    """A stretch of a log of one kind; rows ``first`` (0-based) up to but not including ``stop`` of its samples.

    ``segment`` counts the log's stretches from 1; ``rpm_min``, ``rpm_max``: spikes left out, None where no speed is known.
    ``lead``, ``tail``: rows at the ends of a hold in which the advance was on its way from or to the next step of a spark sweep.
    """

    segment: int
    kind: Literal["pull", "aborted", "hold", "coast_down", "blip", "idle"]
    start_s: float | None
    end_s: float | None
    rpm_min: float | None
    rpm_max: float | None
    first: int
    stop: int
    clock: Clock | None = None
    lead: int = 0
    tail: int = 0

    @property
    def rows(self) -> int:
        """Count of samples."""
        return self.stop - self.first

    def settled(self, samples: pl.DataFrame) -> pl.DataFrame:
        """Of a log's samples, one row each, those of the segment, less ``lead`` and ``tail``."""
        return samples.slice(self.first + self.lead, self.rows - self.lead - self.tail)


@dataclass(frozen=True, slots=True)
class LogReading:
    """One log as understood. ``samples``: one row a data row kept, ``line`` (as an editor counts), ``recording``
    (0, 1, … counting restarts of the recorder) and every channel read, in the unit of ``columns.CHANNELS``, null where absent.
    ``rows``, ``rows_dropped``: data rows kept and not kept.

    ``claims`` is what the preamble says, offered, never used silently:
    ``{"what": "baro_kpa", "value": 97.2, "line": 2, "text": "Baro 97.2 kPa"}``.
    ``started``: ISO date and time of the first row where the log carries a date, by which a day without a sheet is put in order.
    ``unusable``: why nothing of this log may be estimated from although it was read (rpm that reads double, say).
    """

    file: str
    encoding: str | None
    delimiter: str | None
    decimal: str | None
    header_line: int | None
    rows: int
    rows_dropped: int
    columns: tuple[ColumnRead, ...]
    samples: pl.DataFrame
    segments: tuple[Segment, ...] = ()
    claims: tuple[dict[str, Any], ...] = ()
    questions: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    error: Fault | None = None
    started: str | None = None
    unusable: str | None = None

    def moment(self, time_s: float | None) -> datetime | None:
        """Date and time of a row at ``time_s``, s from the first one; None where the log carries no date."""
        if self.started is None or time_s is None:
            return None
        try:
            return datetime.fromisoformat(self.started) + timedelta(seconds=time_s)
        except (ValueError, OverflowError):
            return None


@dataclass(frozen=True, slots=True)
class DayReading:
    """Everything a day folder says. ``pulls``: FOUND_PULLS; ``samples``: SAMPLES, each pull's own rows, untrimmed;
    ``coast_downs``: the same columns, coast-downs alone; ``strobe``: STROBE.

    ``seed`` comes from the content of the inputs, so that the same inputs give the same numbers to the last digit.
    """

    engine: str
    day: str
    engine_facts: EngineFacts
    facts: DayFacts
    logs: tuple[LogReading, ...]
    pulls: pl.DataFrame
    samples: pl.DataFrame
    coast_downs: pl.DataFrame
    strobe: pl.DataFrame
    pictures: tuple[str, ...] = ()
    questions: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    errors: tuple[Fault, ...] = ()
    seed: int = 0


@dataclass(frozen=True, slots=True)
class AlignedDay:
    """Pulls brought to one footing. ``pulls``: ALIGNED_PULLS; ``rows``: ROWS of every pull that gave any, left-out ones
    too (the report draws them); ``lag_s``: (estimate, lo, hi) or None where only bounded by ``lag_bound_s``;
    ``correction``: the contract's object; ``not_established``: what could not be known, in words.
    """

    pulls: pl.DataFrame
    rows: pl.DataFrame
    lag_s: tuple[float, float, float] | None
    lag_bound_s: float
    correction: dict[str, Any]
    questions: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    not_established: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class DeliveredDay:
    """What the spark really did. ``delivered``: DELIVERED; ``shapes``: SHAPES; ``timing_scale``: the contract's object.

    ``pull_advance``: PULL_ADVANCE; ``modes``: shape (rows of pull_advance, J), degrees: the joint uncertainty as J
    independent one-SD shifts, ``advance = advance_deg + modes @ z`` with z standard normal. The unchecked damper mark
    (common to the day) is not in them. ``evidence``: EVIDENCE, for page three.
    """

    delivered: pl.DataFrame
    shapes: pl.DataFrame
    timing_scale: dict[str, Any]
    pull_advance: pl.DataFrame
    modes: Array
    evidence: pl.DataFrame
    questions: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    not_established: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Posterior:
    """Draws of the day's hill, the one thing all answers come from. D draws, R rpm rows.

    What running off the best costs is :func:`pullbook.loss.loss`, a fraction of the best torque at that rpm.
    """

    rpm: npt.NDArray[np.int64]  # (R,)
    best_deg: Array  # (D, R)
    k: Array  # (D, R), 1/deg²
    skew: Array  # (D,), 1/deg
    pull_sd: Array  # (D,), fraction
    drift: Array  # (D,), fraction a pull
    log_torque: Array  # (D, R): ln of torque at the best advance, N·m
    tested_lo_deg: Array  # (R,), NaN where untested
    tested_hi_deg: Array  # (R,)
    setting_means: dict[str, Array] = field(default_factory=dict)  # setting -> (D, R) ln torque the setting would repeat to
    scale_deg: Array | None = None
    """(D, R) the day's common error of the timing scale: true best = best_deg + scale_deg. It shifts what was tested and
    what is best alike, so losses do not need it; intervals in true degrees do."""
    likeliest_deg: Array | None = None  # (R,) best advance of the likeliest hill, the posterior's top

    def loss(self, advance_deg: Array) -> Array:
        """Loss (fraction ≥ 0) of running ``advance_deg``.

        Parameters
        ----------
        advance_deg
            Shape (..., R), crank degrees BTDC; a leading axis holds many curves at once.

        Returns
        -------
        Array
            Shape (..., D, R).
        """
        d = np.asarray(advance_deg, float)[..., None, :] - self.best_deg
        return loss(d, self.k, self.skew[:, None])


@dataclass(frozen=True, slots=True)
class BestDay:
    """The day's answer. ``best``: BEST; ``effects``: EFFECTS; ``knock``: KNOCK; ``repeatability``: the contract's object.

    ``ceiling``: CEILING (the contract's ceiling of every advice).
    ``own``: the day's own figures before pooling, as plain numbers for the archive and later days' priors.
    ``residuals``: RESIDUALS; ``offsets``: OFFSETS, each pull's level against the model.
    ``setting_curves``: SETTING_CURVES, means of settings with 90 % intervals.
    ``abnormal``: ``pull_id, rpm_lo, rpm_hi, why``: left out of the fit. ``rough``: pulls repeat far worse than their bench does.
    """

    best: pl.DataFrame
    effects: pl.DataFrame
    knock: pl.DataFrame
    ceiling: pl.DataFrame
    repeatability: dict[str, Any]
    posterior: Posterior | None
    prior: Prior
    own: dict[str, Any]
    residuals: pl.DataFrame
    offsets: pl.DataFrame
    setting_curves: pl.DataFrame
    abnormal: pl.DataFrame
    rough: bool = False
    questions: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    not_established: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Advice:
    """What to do about it. ``advice`` and ``card`` are the contract's objects; ``sums``: trade arithmetic shown with it,
    ``[{"what": "initial + mechanical = total", "text": "14 + 20 = 34"}]``; ``tested_limit``: the do-not-exceed line in words.
    """

    advice: dict[str, Any]
    card: dict[str, Any]
    not_tested: tuple[str, ...]
    cautions: tuple[str, ...]
    sums: tuple[dict[str, str], ...] = ()
    tested_limit: str | None = None
    questions: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
