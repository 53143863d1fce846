"""What the spark really did, setting by setting: sheet, log and light put together, each with its own doubt."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt
import polars as pl

from pullbook.columns import DELIVERED, PULL_ADVANCE, SHAPES, conform
from pullbook.handover import AlignedDay, DayReading, DeliveredDay
from pullbook.measure import mixture
from pullbook.stages import unlogged
from pullbook.stages.families import blank_shape, corners_of, family_of, put
from pullbook.stages.timing_scale import (
    DEG_PER_RPM_US,
    MARK_CHECKED_DEG,
    MARK_UNCHECKED_DEG,
    TimingScale,
    mark_error,
    timing_scale,
)
from pullbook.stages.witnesses import LoggedCurve, SheetEntry, Witnesses, gather

Array = npt.NDArray[np.float64]

Z90 = 1.6448536269514722
_SHEET_HALF_DEG = Z90 * unlogged._SHEET_SD


@dataclass(slots=True)
class _Curve:
    """Delivered advance of one setting; ``modes`` (n, J) its own, ``on_log`` adds the log's common ones."""

    setting: str
    family: str
    rpm: Array
    advance: Array
    lo: Array
    hi: Array
    modes: Array
    on_log: bool
    evidence: list[str]
    shape: dict[str, Any] = field(default_factory=dict)


def delivered_advance(reading: DayReading, aligned: AlignedDay) -> DeliveredDay:
    """Delivered advance of every setting and of every used pull.

    Parameters
    ----------
    reading, aligned
        The day as read and as aligned.

    Returns
    -------
    DeliveredDay
        See :class:`pullbook.handover.DeliveredDay`. Where nothing is known, advance is null.
    """
    witnesses = gather(reading, aligned)
    told = reading.engine_facts.ignition.kind
    zero = mark_error(reading.facts.zero_mark)
    scale = timing_scale(witnesses, zero, told if told != "mapped" else None)
    rng = np.random.default_rng(reading.seed & 0xFFFFFFFF)
    rows = _rows_of(aligned)
    curves = [_curve(s, witnesses, scale, zero or 0.0, told, rows.get(s), rng) for s in witnesses.settings]
    pull_advance, modes = _pull_advance(aligned, {c.setting: c for c in curves}, scale)
    questions, warnings, missing = _remarks(reading, witnesses, curves)
    return DeliveredDay(
        delivered=_delivered_table(curves),
        shapes=conform(pl.DataFrame([c.shape for c in curves], infer_schema_length=None), SHAPES),
        timing_scale=_scale_object(witnesses, scale, zero),
        pull_advance=pull_advance,
        modes=modes,
        evidence=_evidence(witnesses, {c.setting: c for c in curves}, zero or 0.0),
        questions=(*witnesses.questions, *questions),
        warnings=(*witnesses.warnings, *warnings),
        not_established=tuple(missing),
    )


def _rows_of(aligned: AlignedDay) -> dict[str, Array]:
    """The rows each setting was pulled at."""
    joined = aligned.rows.join(aligned.pulls.select("pull_id", "setting", "status"), on="pull_id").filter(
        pl.col("setting").is_not_null()
    )
    speaking = joined.filter(pl.col("status") != "left_out")
    joined = speaking if len(speaking) else joined
    return {
        str(k[0]): np.sort(part["rpm"].unique().to_numpy()).astype(float)
        for k, part in joined.partition_by("setting", as_dict=True).items()
    }


def _curve(
    setting: str,
    witnesses: Witnesses,
    scale: TimingScale,
    zero: float,
    told: str | None,
    rows: Array | None,
    rng: np.random.Generator,
) -> _Curve:
    logged, sheet = witnesses.logged.get(setting), witnesses.sheet[setting]
    table = witnesses.light.filter(pl.col("used") & (pl.col("setting") == setting))
    if logged is not None:
        return _from_log(logged, scale, told, sheet, zero)
    own = (
        table.filter((pl.col("direction") != "down") | pl.col("direction").is_null()) if told not in ("locked", "mapped") else table
    )
    if rows is None or not len(rows):
        seen = own["rpm"].to_numpy()
        rows = np.arange(np.ceil(seen.min() / 100) * 100, seen.max() + 1, 100.0) if len(seen) else np.zeros(0)
    if len(own):
        return _from_light(setting, own, zero, told, sheet, rows, rng)
    return _from_sheet(setting, told, sheet, rows)


def _from_log(logged: LoggedCurve, scale: TimingScale, told: str | None, sheet: SheetEntry, zero: float) -> _Curve:
    """The log less its offset and delay."""
    advance, lo, hi = _true(scale, logged.rpm, logged.advance_deg, logged.sd_deg)
    corners = corners_of(logged.rpm, advance, logged.sd_deg) if told in (None, "mechanical") else None
    family = family_of(advance, logged.sd_deg, told, corners.misfit_deg if corners else None)
    shape = blank_shape(logged.setting, family)

    def degrees(value: float, rpm: float) -> tuple[float, float, float]:
        width = [float(np.interp(rpm, logged.rpm, side - advance)) for side in (lo, hi)]
        return value, value + width[0], value + width[1]

    middle = float(np.median(logged.rpm))
    if family == "locked":
        level = degrees(float(np.average(advance, weights=logged.sd_deg**-2.0)), middle)
        put(shape, "initial_deg", level)
        put(shape, "total_deg", level)
    elif family == "mechanical" and corners is not None:
        put(shape, "start_rpm", corners.start_rpm)
        put(shape, "knee_rpm", corners.knee_rpm)
        put(shape, "all_in_rpm", corners.all_in_rpm)
        if corners.knee_deg is not None and corners.knee_rpm is not None:
            put(shape, "knee_deg", degrees(corners.knee_deg, corners.knee_rpm[0]))
        total = degrees(corners.total_deg, float(logged.rpm[-1])) if corners.total_deg is not None else None
        initial = degrees(corners.initial_deg, float(logged.rpm[0])) if corners.initial_deg is not None else None
        both = sheet.initial_deg is not None and sheet.total_deg is not None
        if initial is None and total is not None and both:
            rise = float(sheet.total_deg) - float(sheet.initial_deg)  # type: ignore[arg-type]
            half = [float(np.hypot(total[0] - total[1], Z90 * 0.7)), float(np.hypot(total[2] - total[0], Z90 * 0.7))]
            initial = (total[0] - rise, total[0] - rise - half[0], total[0] - rise + half[1])
        if total is None and sheet.total_deg is not None:
            total = (sheet.total_deg, sheet.total_deg - _SHEET_HALF_DEG, sheet.total_deg + _SHEET_HALF_DEG)
        put(shape, "initial_deg", initial)
        put(shape, "total_deg", total)
    evidence = ["log", *[w for w in ("strobe", "sheet") if w in scale.witnesses]]
    return _Curve(logged.setting, family, logged.rpm, advance, lo, hi, np.zeros((len(logged.rpm), 0)), True, evidence, shape)


def _true(scale: TimingScale, rpm: Array, logged: Array, sd: Array) -> tuple[Array, Array, Array]:
    """Median and 90 % interval of true advance where the log reads ``logged`` at ``rpm``; shape (n,) each."""
    shift, doubt = scale.shift(rpm)
    mean, width = logged - shift, np.hypot(doubt, sd)
    low, middle, high = (mixture.quantile(scale.weight, mean, width, q) for q in (0.05, 0.5, 0.95))
    return middle, low, high


def _from_light(
    setting: str, own: pl.DataFrame, zero: float, told: str | None, sheet: SheetEntry, rows: Array, rng: np.random.Generator
) -> _Curve:
    bench = (own["source"] == "bench").to_numpy()
    relative = bench & ((own["scale"].fill_null("crank") == "distributor").to_numpy() | (own["advance_deg"].to_numpy() < 3.0).any())
    advance = own["advance_deg"].to_numpy() - np.where(bench, 0.0, zero)
    readings = unlogged.Readings(own["rpm"].to_numpy(), advance, relative)
    family = told or _sheet_family(sheet) or ("mechanical" if float(np.ptp(advance)) > 3.0 else "unknown")
    if family == "locked":
        draws = unlogged.locked(readings, sheet, rows, rng)
    elif family == "mechanical":
        draws = unlogged.mechanical(readings, sheet, rows, rng)
    else:
        draws = unlogged.smooth(readings, rows, rng)
    low, middle, high = np.quantile(draws.advance_deg, [0.05, 0.5, 0.95], axis=0)
    values, vectors = np.linalg.eigh(np.cov(draws.advance_deg.T).reshape(len(rows), len(rows)))
    kept = values > 1e-3
    shape = blank_shape(setting, family)
    for name, drawn in draws.shape.items():
        a, b, c = (float(q) for q in np.quantile(drawn, [0.05, 0.5, 0.95]))
        put(shape, name, (b, a, c))
    evidence = ["strobe", *(["sheet"] if sheet.total_deg is not None or sheet.initial_deg is not None else [])]
    return _Curve(setting, family, rows, middle, low, high, vectors[:, kept] * np.sqrt(values[kept]), False, evidence, shape)


def _sheet_family(sheet: SheetEntry) -> str | None:
    if sheet.initial_deg is None or sheet.total_deg is None:
        return None
    return "locked" if abs(sheet.total_deg - sheet.initial_deg) < 0.05 else "mechanical"


def _from_sheet(setting: str, told: str | None, sheet: SheetEntry, rows: Array) -> _Curve:
    """The sheet alone: wide, and no shape between initial and total."""
    family = told or _sheet_family(sheet) or "unknown"
    n = len(rows)
    shape = blank_shape(setting, family)
    blank = np.full(n, np.nan)
    known = [v for v in (sheet.initial_deg, sheet.total_deg) if v is not None]
    if family == "mapped" or not known or (family != "locked" and len(known) < 2):
        return _Curve(setting, family, rows, blank, blank, blank, np.zeros((n, 0)), False, [], shape)
    low, high = min(known), max(known)
    for name, value in (("initial_deg", sheet.initial_deg), ("total_deg", sheet.total_deg)):
        if value is not None:
            put(shape, name, (value, value - _SHEET_HALF_DEG, value + _SHEET_HALF_DEG))
    modes = np.column_stack([np.full(n, unlogged._SHEET_SD), np.full(n, (high - low) / 2.0)])
    middle, lo, hi = (np.full(n, v) for v in ((low + high) / 2.0, low - _SHEET_HALF_DEG, high + _SHEET_HALF_DEG))
    return _Curve(setting, family, rows, middle, lo, hi, modes, False, ["sheet"], shape)


def _pull_advance(aligned: AlignedDay, curves: dict[str, _Curve], scale: TimingScale) -> tuple[pl.DataFrame, Array]:
    """Every used pull's advance at its rows and the joint modes."""
    used = aligned.pulls.filter(pl.col("status") != "left_out").select("pull_id", "setting", "order")
    table = aligned.rows.select("pull_id", "rpm").join(used, on="pull_id").sort("order", "rpm")
    settings, rpm = table["setting"].to_list(), table["rpm"].to_numpy().astype(float)
    advance = np.full(len(rpm), np.nan)
    own = {c.setting: i for i, c in enumerate(curves.values())}
    first = np.cumsum([2, *[c.modes.shape[1] for c in curves.values()]])
    modes = np.zeros((len(rpm), int(first[-1])))
    _, cov = scale.joint()
    common = -np.column_stack([np.ones(len(rpm)), DEG_PER_RPM_US * rpm]) @ np.linalg.cholesky(cov + 1e-12 * np.eye(2))
    names = np.array([s if s is not None else "" for s in settings], dtype=object)
    for name, curve in curves.items():
        at = np.flatnonzero(names == name)
        if not len(at) or not len(curve.rpm):
            continue
        near = np.abs(np.interp(rpm[at], curve.rpm, curve.rpm) - rpm[at]) <= 50.0
        at = at[near]
        advance[at] = np.interp(rpm[at], curve.rpm, curve.advance)
        if curve.on_log:
            modes[at, :2] = common[at]
        for j in range(curve.modes.shape[1]):
            modes[at, first[own[name]] + j] = np.interp(rpm[at], curve.rpm, curve.modes[:, j])
    known = pl.Series(advance, nan_to_null=True)
    out = table.select("pull_id", "rpm").with_columns(advance_deg=known)
    return conform(out, PULL_ADVANCE), modes[:, np.any(modes != 0.0, axis=0)] if len(rpm) else np.zeros((0, 0))


def _delivered_table(curves: list[_Curve]) -> pl.DataFrame:
    parts = [
        pl.DataFrame(
            {
                "setting": c.setting,
                "direction": "up" if c.family == "mechanical" else "both",
                "rpm": c.rpm.astype(np.int64),
                "advance_deg": pl.Series(c.advance, nan_to_null=True),
                "lo_deg": pl.Series(c.lo, nan_to_null=True),
                "hi_deg": pl.Series(c.hi, nan_to_null=True),
                "evidence": [c.evidence] * len(c.rpm),
            },
            schema_overrides=dict(DELIVERED),
        )
        for c in curves
        if len(c.rpm)
    ]
    return conform(pl.concat(parts) if parts else pl.DataFrame(), DELIVERED)


def _scale_object(witnesses: Witnesses, scale: TimingScale, zero: float | None) -> dict[str, Any]:
    """The contract's ``timing_scale``."""
    offset = scale.interval(0) if witnesses.logged else (None, None, None)
    delay = scale.interval(1) if witnesses.logged else (None, None, None)
    return {
        "log_minus_true_deg": offset[0],
        "lo_deg": offset[1],
        "hi_deg": offset[2],
        "delay_us": delay[0],
        "delay_lo_us": delay[1],
        "delay_hi_us": delay[2],
        "zero_mark_error_deg": zero,
        "mark_uncertainty_deg": MARK_UNCHECKED_DEG if zero is None else MARK_CHECKED_DEG,
        "verified": zero is not None,
    }


def _evidence(witnesses: Witnesses, curves: dict[str, _Curve], zero: float) -> pl.DataFrame:
    """One row a witness's reading beside what was made of it."""

    def fitted(setting: str | None, rpm: float) -> float | None:
        curve = curves.get(setting) if setting is not None else None
        if curve is None or not len(curve.rpm) or not (curve.rpm[0] - 50 <= rpm <= curve.rpm[-1] + 50):
            return None
        value = float(np.interp(rpm, curve.rpm, curve.advance))
        return value if np.isfinite(value) else None

    rows: list[dict[str, Any]] = []
    for setting, logged in witnesses.logged.items():
        rows += [
            {"setting": setting, "rpm": float(n), "source": "log", "direction": "up", "advance_deg": float(a),
             "fitted_deg": fitted(setting, float(n)), "used": True}
            for n, a in zip(logged.rpm, logged.advance_deg, strict=True)
        ]  # fmt: skip
    for r in witnesses.light.iter_rows(named=True):
        value = fitted(r["setting"], r["rpm"])
        rows.append(
            {k: r[k] for k in ("setting", "rpm", "source", "direction", "advance_deg", "used")}
            | {"fitted_deg": None if value is None else value + (zero if r["source"] == "light" else 0.0)}
        )
    for setting, entry in witnesses.sheet.items():
        for name, value in (("sheet initial", entry.initial_deg), ("sheet total", entry.total_deg)):
            if value is not None:
                rows.append({"setting": setting, "source": name, "advance_deg": value, "used": True})
    schema = {"setting": pl.String(), "rpm": pl.Float64(), "source": pl.String(), "direction": pl.String(),
              "advance_deg": pl.Float64(), "fitted_deg": pl.Float64(), "used": pl.Boolean()}  # fmt: skip
    return conform(pl.DataFrame(rows, infer_schema_length=None) if rows else pl.DataFrame(), schema)


def _remarks(reading: DayReading, witnesses: Witnesses, curves: list[_Curve]) -> tuple[list[str], list[str], list[str]]:
    questions: list[str] = []
    warnings: list[str] = []
    missing: list[str] = []
    if not witnesses.logged:
        questions.append(
            "No log holds the advance: is there a channel for it, or can the light be read at a few speeds per setting?"
        )
    blank = [c.setting for c in curves if len(c.advance) and bool(np.isnan(c.advance).all())]
    if blank:
        missing.append("delivered advance of " + ", ".join(blank) + ": no log, no light, and the sheet does not settle it")
    has_light = bool(witnesses.light["used"].any()) if len(witnesses.light) else False
    if witnesses.logged and not has_light:
        questions.append("The log's advance was not checked with a light: a dozen readings would tell its offset and delay.")
        missing.append("offset and delay of the log's advance: no light readings")
    if has_light and mark_error(reading.facts.zero_mark) is None:
        questions.append(
            "Was the damper's zero mark checked with a piston stop (day.yaml, zero_mark)? Unchecked, all advance may be off by ±3°."
        )
    if reading.facts.light == "dial_back" and reading.engine_facts.ignition.spark in ("wasted", "multi") and len(witnesses.light):
        questions.append(
            f"A dial-back light on a {reading.engine_facts.ignition.spark} spark may read double or at random: "
            "was it used with the dial at zero?"
        )
    return questions, warnings, missing
