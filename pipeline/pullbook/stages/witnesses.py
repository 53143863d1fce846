"""What is known of each setting's advance, as three tables: log, light or bench, sheet. In crank degrees, nothing judged yet."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl

from pullbook.handover import AlignedDay, DayReading
from pullbook.measure.local import second_differences

Array = npt.NDArray[np.float64]

LIGHT_SD_DEG = 0.61
"""A light reading is good to ±1° (90 %), rounding to half degrees included."""

SHEET_SD_DEG = 0.7
"""How well a setting is set to what the sheet says, each setting for itself."""

SHEET_COMMON_SD_DEG = 0.5
"""… and what all settings of a day share: the eye, the light, the mark as it was read."""

_FLOOR_DEG = 0.02


@dataclass(frozen=True, slots=True)
class LoggedCurve:
    """A setting's advance as logged, mean of its pulls, every 100 rpm it has.

    ``rpm``, ``advance_deg``, ``sd_deg``: shape (n,), rising; ``pulls``: how many stand behind it.
    """

    setting: str
    rpm: Array
    advance_deg: Array
    sd_deg: Array
    pulls: int

    def at(self, rpm: Array | float) -> Array:
        """Logged advance between the rows; NaN more than 50 rpm outside them."""
        inside = (np.asarray(rpm) >= self.rpm[0] - 50.0) & (np.asarray(rpm) <= self.rpm[-1] + 50.0)
        return np.where(inside, np.interp(rpm, self.rpm, self.advance_deg), np.nan)

    def slope_at(self, rpm: float, reach: float = 200.0) -> float:
        """Steepest slope within ``reach`` rpm, degrees per 1000 rpm."""
        near = np.flatnonzero(np.abs(self.rpm - rpm) <= reach + 50.0)
        if len(near) < 3:
            return float("inf")
        step = np.diff(self.advance_deg[near]) / np.diff(self.rpm[near]) * 1000.0
        smooth = np.convolve(step, np.ones(2) / 2.0, mode="valid")
        return float(np.max(np.abs(smooth)))


@dataclass(frozen=True, slots=True)
class SheetEntry:
    """What the operator believes was set, crank degrees BTDC; None where not written."""

    initial_deg: float | None
    total_deg: float | None


@dataclass(frozen=True, slots=True)
class Witnesses:
    """``logged`` and ``sheet`` by setting; ``light``: ``setting, rpm, advance_deg, direction, source, scale, used, why_not``
    in crank degrees on the damper's own scale; ``commanded``: the log holds what was asked for, not what was done.
    """

    settings: tuple[str, ...]
    logged: dict[str, LoggedCurve]
    light: pl.DataFrame
    sheet: dict[str, SheetEntry]
    commanded: bool
    questions: tuple[str, ...]
    warnings: tuple[str, ...]


def gather(reading: DayReading, aligned: AlignedDay) -> Witnesses:
    """Collect the witnesses of every setting that was pulled or lit.

    Parameters
    ----------
    reading, aligned
        The day. Pulls that were left out do not speak for their setting, but a setting with nothing else keeps its sheet.
    """
    questions: list[str] = []
    warnings: list[str] = []
    light = _light(reading, warnings)
    pulled = aligned.pulls.filter(pl.col("setting").is_not_null())
    settings = tuple(dict.fromkeys([*pulled["setting"].to_list(), *light["setting"].drop_nulls().to_list()]))
    channel, commanded = _which_advance(aligned.rows, questions)
    speaking = pulled.filter(pl.col("status") != "left_out").select("pull_id", "setting")
    logged = {}
    if channel is not None:
        factor = 1.0
        if reading.engine_facts.ignition.advance_scale == "distributor":
            factor = 2.0
            warnings.append("logged advance is doubled: engine.yaml says the logs hold distributor degrees")
        table = aligned.rows.join(speaking, on="pull_id").filter(pl.col(channel).is_not_null())
        for key, part in table.partition_by("setting", as_dict=True, maintain_order=True).items():
            logged[str(key[0])] = _mean_curve(str(key[0]), part, channel, factor)
    sheet = {s: _sheet_of(pulled.filter(pl.col("setting") == s), s, warnings) for s in settings}
    return Witnesses(settings, logged, light, sheet, commanded, tuple(questions), tuple(warnings))


def _which_advance(rows: pl.DataFrame, questions: list[str]) -> tuple[str | None, bool]:
    """The log's own advance where it has one, else the commanded; a question where both stand and part."""
    both = rows.filter(pl.col("advance_log_deg").is_not_null() & pl.col("advance_commanded_deg").is_not_null())
    if len(both):
        gap = float((both["advance_commanded_deg"] - both["advance_log_deg"]).median() or 0.0)  # type: ignore[arg-type]
        if abs(gap) > 0.5:
            questions.append(
                f"Commanded advance stands {gap:+.1f}° against the advance the log reports: which one did the spark get? "
                "The reported one is used."
            )
    if rows["advance_log_deg"].null_count() < len(rows):
        return "advance_log_deg", False
    if rows["advance_commanded_deg"].null_count() < len(rows):
        questions.append("The logs hold commanded advance only: does the ignition follow it (a light reading would tell)?")
        return "advance_commanded_deg", True
    return None, False


def _mean_curve(setting: str, part: pl.DataFrame, channel: str, factor: float) -> LoggedCurve:
    rows = part.group_by("rpm").agg(pl.col(channel).mean().alias("a"), pl.len().alias("n")).sort("rpm")
    a = rows["a"].to_numpy() * factor
    n = rows["n"].to_numpy().astype(float)
    d2 = second_differences(a)
    d2 = d2[np.isfinite(d2)]
    white = float(np.sqrt(np.median(d2) / 0.455)) if len(d2) >= 3 else 0.1  # 0.455: median of chi-square with one degree
    return LoggedCurve(
        setting,
        rows["rpm"].to_numpy().astype(float),
        a,
        np.sqrt(white**2 * n.max() / n + _FLOOR_DEG**2),
        int(part["pull_id"].n_unique()),
    )


def _sheet_of(pulls: pl.DataFrame, setting: str, warnings: list[str]) -> SheetEntry:
    values: list[float | None] = []
    for name in ("initial_deg", "total_deg"):
        written = pulls[name].drop_nulls()
        if len(written) and float(written.max()) - float(written.min()) > 0.05:  # type: ignore[arg-type]
            warnings.append(
                f"{setting}: the sheet's {name.split('_')[0]} differs between pulls of one setting; the median is taken"
            )
        values.append(float(np.median(written.to_numpy())) if len(written) else None)
    return SheetEntry(values[0], values[1])


def _light(reading: DayReading, warnings: list[str]) -> pl.DataFrame:
    """Light and bench readings in crank degrees and crank rpm, each with whether it may speak for the curve."""
    double = pl.when(pl.col("scale") == "distributor").then(2.0).otherwise(1.0)
    vacuum = pl.col("vacuum").fill_null(reading.facts.vacuum_advance or "off") == "on"
    table = reading.strobe.filter(pl.col("rpm").is_not_null() & pl.col("advance_deg").is_not_null()).with_columns(
        rpm=pl.col("rpm") * double,
        advance_deg=pl.col("advance_deg") * double,
        source=pl.col("source").fill_null("light"),
        used=~vacuum,
        why_not=pl.when(vacuum).then(pl.lit("vacuum advance was on")).otherwise(None),
    )
    labels = reading.pulls["setting"].drop_nulls().unique()
    nameless = table.filter(pl.col("setting").is_null())
    if len(nameless) and len(labels) == 1:
        table = table.with_columns(pl.col("setting").fill_null(labels[0]))
    elif len(nameless):
        warnings.append(f"{len(nameless)} light reading(s) without a setting are shown and not used")
        table = table.with_columns(
            used=pl.col("used") & pl.col("setting").is_not_null(),
            why_not=pl.when(pl.col("setting").is_null()).then(pl.lit("no setting named")).otherwise(pl.col("why_not")),
        )
    return table
