"""What the spark really did, setting by setting: sheet, log and light put together, each with its own doubt."""

from dataclasses import replace
from typing import Any

import numpy as np
import polars as pl

from pullbook.arrays import Array
from pullbook.columns import PULL_ADVANCE, SHAPES, conform
from pullbook.handover import AlignedDay, DayReading, DeliveredDay
from pullbook.timing.against_log import against_log, without_logs
from pullbook.timing.courses import Course, from_log, true_advance
from pullbook.timing.remarks import remarks
from pullbook.timing.scale import TimingScale, mark_error, mark_uncertainty, timing_scale
from pullbook.timing.scale_factor import light_at_half, wrong_factor
from pullbook.timing.tables import delivered_table, evidence_table
from pullbook.timing.without_log import without_log
from pullbook.timing.witnesses import Witnesses, gather, set_aside
from pullbook.units import DEG_PER_RPM_US


def delivered_advance(reading: DayReading, aligned: AlignedDay) -> DeliveredDay:
    """Delivered advance of every setting and of every used pull.

    Parameters
    ----------
    reading, aligned
        The day as read and as aligned.

    Returns
    -------
    DeliveredDay
        Where nothing is known, advance is null. A log whose degrees look like half of the crank's is asked about and not used.
    """
    witnesses = gather(reading, aligned)
    told = reading.engine_facts.ignition.kind
    mark = reading.facts.zero_mark
    zero = mark_error(mark)
    factor = wrong_factor(witnesses, zero or 0.0, told)
    declared = reading.engine_facts.ignition.advance_scale == "distributor"
    heard = witnesses
    if light_at_half(witnesses, zero or 0.0):
        factor = (0.5, False)
    if factor is not None and factor[0] == 0.5 and not declared:  # the light is the one that stands at half
        heard = witnesses = replace(witnesses, light=_without_light(witnesses.light))
    elif factor is not None:
        heard = replace(witnesses, logged=replace(witnesses.logged, curves={}, strays={}, down={}, aside={}))
    alone = against_log(heard, zero or 0.0, told)
    heard = without_logs(heard, [one.setting for one in alone if not one.heard])
    scale = timing_scale(heard, zero, told)
    if scale.misread:
        light = set_aside(heard.light, list(scale.misread), "stands too far from the log and the other readings: misread?")
        heard, witnesses = replace(heard, light=light), replace(witnesses, light=light)
    rows = _rows_by_setting(aligned)
    rng = np.random.default_rng(reading.seed & 0xFFFFFFFFFFFFFFFF)
    on_log = {**heard.logged.aside, **heard.logged.curves}
    courses = {s: from_log(c, heard, scale, told, zero or 0.0) for s, c in on_log.items()}
    dark = [s for s in heard.settings if s not in courses]
    courses |= {c.setting: c for c in without_log(dark, heard, told, zero, rows, rng)}
    ordered = [courses[s] for s in heard.settings]
    pull_advance, modes = _pull_advance(aligned, heard, courses, scale)
    said = remarks(reading, witnesses, ordered, scale, factor, alone)
    return DeliveredDay(
        delivered=delivered_table(ordered),
        shapes=conform(pl.DataFrame([c.shape for c in ordered], infer_schema_length=None), SHAPES),
        timing_scale=_scale_object(heard, scale, zero) | {"mark_uncertainty_deg": mark_uncertainty(mark, reading.day)},
        pull_advance=pull_advance,
        modes=modes,
        evidence=evidence_table(witnesses, courses, zero or 0.0, heard=heard.logged.curves, on_sheet=scale.on_sheet),
        questions=tuple(said.questions),
        warnings=tuple(said.warnings),
        not_established=tuple(said.not_established),
    )


def _without_light(light: pl.DataFrame) -> pl.DataFrame:
    return set_aside(light, list(range(len(light))), "half of what the log holds: distributor degrees?")


def _rows_by_setting(aligned: AlignedDay) -> dict[str, Array]:
    """The rows each setting was pulled at, by pulls in use where there are any."""
    labels = aligned.pulls.select("pull_id", "setting", "status").filter(pl.col("setting").is_not_null())
    joined = aligned.rows.join(labels, on="pull_id")
    out: dict[str, Array] = {}
    for part in (joined, joined.filter(pl.col("status") != "left_out")):
        for key, own in part.partition_by("setting", as_dict=True).items():
            out[str(key[0])] = np.sort(own["rpm"].unique().to_numpy()).astype(float)
    return out


def _pull_advance(
    aligned: AlignedDay, witnesses: Witnesses, courses: dict[str, Course], scale: TimingScale
) -> tuple[pl.DataFrame, Array]:
    """Every used pull's advance at its rows, and the joint modes: two for the log's scale, the rest for what no log shows."""
    used = aligned.pulls.filter(pl.col("status") != "left_out").select("pull_id", "setting", "order")
    table = aligned.rows.select("pull_id", "rpm").join(used, on="pull_id").sort("order", "rpm")
    rpm = table["rpm"].to_numpy().astype(float)
    advance = np.full(len(rpm), np.nan)
    width = max((c.modes.shape[1] for c in courses.values()), default=0)
    modes = np.zeros((len(rpm), 2 + width))
    _, cov = scale.joint()
    common = -np.column_stack([np.ones(len(rpm)), DEG_PER_RPM_US * rpm]) @ np.linalg.cholesky(cov + 1e-12 * np.eye(2))
    for key, part in table.with_row_index("at").partition_by("pull_id", as_dict=True).items():
        at, setting = part["at"].to_numpy().astype(np.int64), part["setting"][0]
        stray, course = witnesses.logged.strays.get(str(key[0])), courses.get(setting) if setting is not None else None
        if stray is not None:
            own, _, _ = true_advance(scale, stray.rpm, stray.advance_deg, stray.sd_deg)
            advance[at] = _within(rpm[at], stray.rpm, own)
            modes[at, :2] = common[at]
        elif course is not None and len(course.rpm):
            advance[at] = _within(rpm[at], course.rpm, course.advance)
            if course.on_log:
                modes[at, :2] = common[at]
            for j in range(course.modes.shape[1]):
                modes[at, 2 + j] = np.interp(rpm[at], course.rpm, course.modes[:, j])
    modes[np.isnan(advance)] = 0.0
    out = table.select("pull_id", "rpm").with_columns(advance_deg=pl.Series(advance, nan_to_null=True, dtype=pl.Float64))
    return conform(out, PULL_ADVANCE), modes[:, np.any(modes != 0.0, axis=0)]


def _within(at: Array, rpm: Array, advance: Array) -> Array:
    """``advance`` at ``at``, NaN more than half a row outside what is known."""
    return np.where((at >= rpm[0] - 50.0) & (at <= rpm[-1] + 50.0), np.interp(at, rpm, advance), np.nan)


def _scale_object(witnesses: Witnesses, scale: TimingScale, zero: float | None) -> dict[str, Any]:
    """The contract's ``timing_scale``, but for the mark's uncertainty; null where no log holds advance."""
    offset: tuple[float | None, ...] = scale.interval(0) if witnesses.logged.curves else (None, None, None)
    delay: tuple[float | None, ...] = scale.interval(1) if witnesses.logged.curves else (None, None, None)
    return {
        "log_minus_true_deg": offset[0],
        "lo_deg": offset[1],
        "hi_deg": offset[2],
        "delay_us": delay[0],
        "delay_lo_us": delay[1],
        "delay_hi_us": delay[2],
        "zero_mark_error_deg": zero,
        "verified": zero is not None,
    }
