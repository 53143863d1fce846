"""The delivered curve of each setting, and how the doubts about them hang together."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import polars as pl

from pullbook.arrays import Array, Mask
from pullbook.facts import CRANKING_RPM
from pullbook.measure import mixture
from pullbook.measure.normal import Z90
from pullbook.timing import unlogged
from pullbook.timing.families import SHEET_HALF_DEG, blank_shape, corners_of, family_of, put, put_ends
from pullbook.timing.hysteresis import hysteresis, rising
from pullbook.timing.logged import LoggedCurve
from pullbook.timing.scale import STOP_SD_DEG, TimingScale
from pullbook.timing.sheet_entries import SheetEntry
from pullbook.timing.witnesses import LIGHT_SD_DEG, SHEET_COMMON_SD_DEG, SHEET_SD_DEG, Witnesses
from pullbook.units import DEG_PER_RPM_US

_ENOUGH_RISING = 4  # readings on the way up that tell it without those on the way down
_HYSTERESIS_DEG, _HYSTERESIS_SD = 0.5, 0.6  # weights on their way down, where nothing better is known
_RISE_DEG = 1.0  # initial to total by the sheet: more than this is weights and springs, however flat the log


@dataclass(slots=True)
class Course:
    """Delivered advance of one setting on its way up, at ``rpm`` (n,); NaN where nothing is known.

    ``modes`` (n, J): one-SD shifts in columns common to all settings without a log; a course from the log (``on_log``) shifts
    with the timing scale instead. ``down``: (degrees, SD) more on the way down, in the rows ``moving``.
    """

    setting: str
    family: str
    rpm: Array
    advance: Array
    lo: Array
    hi: Array
    evidence: list[str]
    shape: dict[str, Any]
    on_log: bool = False
    modes: Array = field(default_factory=lambda: np.zeros((0, 0)))
    down: tuple[float, float] | None = None
    moving: Mask = field(default_factory=lambda: np.zeros(0, bool))

    def more_falling(self) -> Array:
        """What the weights hold more on the way down, degrees (n,): never more than brings them to their stop."""
        if self.down is None:
            return np.zeros(len(self.rpm))
        to_stop = np.maximum(np.nanmax(self.advance) - self.advance, 0.0)
        return np.where(self.moving, np.minimum(self.down[0], to_stop), 0.0)


def true_advance(scale: TimingScale, rpm: Array, logged: Array, sd: Array) -> tuple[Array, Array, Array]:
    """True advance where the log reads something, by what is known of its scale.

    Parameters
    ----------
    scale
        Offset and delay of the log, as a mixture.
    rpm, logged, sd
        Rows, rpm; logged advance and its SD, degrees; (n,) each.

    Returns
    -------
    tuple of Array
        Median and 90 % ends, degrees, (n,) each.
    """
    shift, doubt = scale.shift(rpm)
    mean, width = logged - shift, np.hypot(doubt, sd)
    low, middle, high = (mixture.quantile(scale.weight, mean, width, q) for q in (0.05, 0.5, 0.95))
    return middle, low, high


def from_log(logged: LoggedCurve, witnesses: Witnesses, scale: TimingScale, told: str | None, zero_deg: float) -> Course:
    """A setting's course from its log, less the log's offset and delay.

    Parameters
    ----------
    logged
        The setting's mean curve as logged.
    witnesses, scale
        The day's witnesses and what they made of the log's scale.
    told
        Family by engine.yaml or None.
    zero_deg
        Light minus true.
    """
    sheet = witnesses.sheet[logged.setting]
    advance, lo, hi = true_advance(scale, logged.rpm, logged.advance_deg, logged.sd_deg)
    tilt_sd = 1000.0 * DEG_PER_RPM_US * float(np.sqrt(scale.joint()[1][1, 1]))
    corners = corners_of(logged.rpm, advance, logged.sd_deg, tilt_sd) if told in (None, "mechanical") else None
    family = family_of(advance, logged.sd_deg, told, corners.misfit_deg if corners else None)
    if told is None and family == "locked" and (sheet.rise_deg or 0.0) > _RISE_DEG:
        family = "mechanical"  # all in below the rpm seen
    shape = blank_shape(logged.setting, family)
    evidence = ["log", *[w for w in ("strobe", "sheet") if w in scale.witnesses]]
    out = Course(logged.setting, family, logged.rpm, advance, lo, hi, evidence, shape, on_log=True)

    def degrees(value: float, rpm: float) -> tuple[float, float, float]:
        below, above = (float(np.interp(rpm, logged.rpm, side - advance)) for side in (lo, hi))
        return value, value + below, value + above

    if family == "locked":
        level = degrees(float(np.average(advance, weights=logged.sd_deg**-2.0)), float(np.median(logged.rpm)))
        if told is not None or sheet.rise_deg is not None or logged.rpm[0] <= CRANKING_RPM:
            put(shape, "initial_deg", level)  # else weights may be all in below the rpm seen
        put(shape, "total_deg", level)
    elif family == "mechanical":
        if corners is not None:
            put(shape, "start_rpm", corners.start_rpm)
            put(shape, "knee_rpm", corners.knee_rpm)
            put(shape, "all_in_rpm", corners.all_in_rpm)
            if corners.knee_deg is not None and corners.knee_rpm is not None:
                put(shape, "knee_deg", degrees(corners.knee_deg, corners.knee_rpm[0]))
            total = degrees(corners.total_deg, float(logged.rpm[-1])) if corners.total_deg is not None else None
            initial = degrees(corners.initial_deg, float(logged.rpm[0])) if corners.initial_deg is not None else None
            put_ends(shape, initial, total, sheet)
        _hold_back(out, logged, witnesses, zero_deg)
    return out


def _hold_back(course: Course, up: LoggedCurve, witnesses: Witnesses, zero_deg: float) -> None:
    """What a setting's weights hold more on the way down, where that was seen, into its course."""
    known = (witnesses.logged.down.get(course.setting), witnesses.falling(course.setting), zero_deg)
    believed = () if course.on_log else ((_HYSTERESIS_DEG, _HYSTERESIS_SD),)
    course.down = hysteresis(up, course.advance, *known, *believed)
    course.moving = rising(up)
    course.shape["hysteresis_deg"] = course.down[0] if course.down else None


def without_log(
    settings: list[str],
    witnesses: Witnesses,
    told: str | None,
    zero_deg: float | None,
    rows: dict[str, Array],
    rng: np.random.Generator,
) -> list[Course]:
    """Courses of settings that no log speaks for, with their doubts in common columns.

    Parameters
    ----------
    settings
        Whose log says nothing of advance.
    witnesses, told, zero_deg
        As for :func:`from_log`; ``zero_deg`` None where the mark is unchecked.
    rows
        The rows each setting was pulled at; absent for settings that were only lit.
    rng
        A stream that the day's inputs start.
    """
    lit = {s: _lit(s, witnesses, told, zero_deg or 0.0, rows.get(s)) for s in settings}
    family = {s: told or witnesses.parts(s, _sheet_family(one.sheet)) or _seen_family(one) for s, one in lit.items()}
    groups = _same_parts([s for s in lit if family[s] == "mechanical"], witnesses)
    groups = [g for g in groups if any(len(lit[s].rpm) for s in g)]  # a setting in the dark is lit by its fellows' parts
    spoken = {s for g in groups for s in g} | {s for s, one in lit.items() if len(one.rpm)}
    lit = {s: one for s, one in lit.items() if s in spoken}
    draws: dict[str, unlogged.CurveDraws] = {}
    for group in groups:
        draws |= zip(group, unlogged.mechanical([lit[s] for s in group], rng), strict=True)
    for setting, one in lit.items():
        if setting not in draws:
            draws[setting] = unlogged.locked(one, rng) if family[setting] == "locked" else unlogged.smooth(one, rng)
    common = rng.standard_normal(unlogged.DRAWS) * (STOP_SD_DEG if zero_deg is not None else 0.0)
    courses = [_from_draws(s, family[s], lit[s], draws[s].advance_deg + common[:, None], draws[s].shape) for s in draws]
    for course in (c for c in courses if c.family == "mechanical" and len(c.rpm)):
        sd = (course.hi - course.lo) / (2.0 * Z90)
        _hold_back(course, LoggedCurve(course.setting, course.rpm, course.advance, sd, 0), witnesses, zero_deg or 0.0)
    dark = [_from_sheet(s, told, witnesses.sheet[s], rows.get(s, np.zeros(0))) for s in settings if s not in lit]
    _share_doubt(courses, [draws[c.setting].advance_deg + common[:, None] for c in courses], dark)
    return [*courses, *dark]


def _lit(setting: str, witnesses: Witnesses, told: str | None, zero_deg: float, rows: Array | None) -> unlogged.Lit:
    """Readings that speak for the way up, in true degrees as far as the mark is known."""
    own = witnesses.light.filter(pl.col("used") & (pl.col("setting") == setting))
    falling = (own["direction"].fill_null("up") == "down").to_numpy() & (witnesses.parts(setting, told) not in ("locked", "mapped"))
    if np.count_nonzero(~falling) >= _ENOUGH_RISING:
        own, falling = own.filter(~falling), falling[~falling]  # the way down then speaks for itself
    bench = (own["source"] == "bench").to_numpy()
    advance = own["advance_deg"].to_numpy()
    own_zero = bench & ((own["scale"] == "distributor").fill_null(False).to_numpy() | bool(np.any(advance[bench] < 3.0)))
    rpm = own["rpm"].to_numpy()
    if rows is None:
        rows = np.arange(np.ceil(rpm.min() / 100) * 100, rpm.max() + 1, 100.0) if len(rpm) else np.zeros(0)
    up = advance - np.where(bench, 0.0, zero_deg) - np.where(falling, _HYSTERESIS_DEG, 0.0)
    return unlogged.Lit(
        rpm, up, np.hypot(LIGHT_SD_DEG, np.where(falling, _HYSTERESIS_SD, 0.0)), own_zero, witnesses.sheet[setting], rows
    )


def _sheet_family(sheet: SheetEntry) -> str | None:
    return None if sheet.rise_deg is None else "locked" if abs(sheet.rise_deg) < 0.05 else "mechanical"


def _seen_family(lit: unlogged.Lit) -> str:
    """Readings that rise as weights do; else unknown, and only a smooth course is taken."""
    if len(lit.rpm) < 3:
        return "unknown"
    order = np.argsort(lit.rpm)
    rise = lit.advance_deg[order][-1] - lit.advance_deg[order][0]
    return "mechanical" if rise > 3.0 and rise > 0.8 * float(np.ptp(lit.advance_deg)) else "unknown"


def _same_parts(settings: list[str], witnesses: Witnesses) -> list[list[str]]:
    """Settings that may be the same weights, springs and stop turned: one rise by the sheet, each initial once."""
    groups: dict[float, list[str]] = {}
    alone = []
    for setting in settings:
        sheet = witnesses.sheet[setting]
        if sheet.rise_deg is None:
            alone.append([setting])
        else:
            groups.setdefault(round(sheet.rise_deg, 1), []).append(setting)
    out = []
    for group in groups.values():
        initials = [witnesses.sheet[s].initial_deg for s in group]
        out += [group] if len(set(initials)) == len(group) else [[s] for s in group]
    return [*out, *alone]


def _from_draws(setting: str, family: str, lit: unlogged.Lit, advance: Array, corners: dict[str, Array]) -> Course:
    low, middle, high = np.quantile(advance, [0.05, 0.5, 0.95], axis=0)
    shape = blank_shape(setting, family)
    for name, drawn in corners.items():
        a, b, c = (float(q) for q in np.quantile(drawn, [0.05, 0.5, 0.95]))
        put(shape, name, (b, a, c))
    written = lit.sheet.total_deg is not None or lit.sheet.initial_deg is not None
    evidence = ["strobe", *(["sheet"] if written else [])]
    return Course(setting, family, lit.rows, middle, low, high, evidence, shape)


def _from_sheet(setting: str, told: str | None, sheet: SheetEntry, rows: Array) -> Course:
    """The sheet alone: as wide as initial to total, and no shape between them; blank where it does not give both ends.

    The estimate is the total: what a sheet calls a setting, what its sums and its advice are made in, and what weights deliver
    once all is in. It may be less, as the interval says.
    """
    family = told or _sheet_family(sheet) or "unknown"
    n, shape = len(rows), blank_shape(setting, family)
    blank = np.full(n, np.nan)
    known = [v for v in (sheet.initial_deg, sheet.total_deg) if v is not None]
    for name, value in (("initial_deg", sheet.initial_deg), ("total_deg", sheet.total_deg)):
        if value is not None:
            put(shape, name, (value, value - SHEET_HALF_DEG, value + SHEET_HALF_DEG))
    if family == "mapped" or not known or (family != "locked" and len(known) < 2):
        return Course(setting, family, rows, blank, blank, blank, [], shape)
    if family == "locked":
        known = known[-1:]
    low, high = min(known), max(known)
    middle, lo, hi = (np.full(n, v) for v in (known[-1], low - SHEET_HALF_DEG, high + SHEET_HALF_DEG))
    return Course(setting, family, rows, middle, lo, hi, ["sheet"], shape)


def _share_doubt(courses: list[Course], draws: list[Array], dark: list[Course]) -> None:
    """Give every course its ``modes`` in columns common to all of them."""
    wide = np.concatenate([np.zeros((unlogged.DRAWS, 0)), *draws], axis=1)
    wide = (wide - wide.mean(axis=0)) / np.sqrt(max(len(wide) - 1, 1))
    _, size, direction = np.linalg.svd(wide, full_matrices=False) if wide.shape[1] else (0, np.zeros(0), np.zeros((0, 0)))
    kept = size**2 > 1e-4 * float((size**2).sum())
    columns = (direction[kept] * size[kept, None]).T
    known = [c for c in dark if len(c.rpm) and np.isfinite(c.advance).any()]
    total = columns.shape[1] if columns.size else 0
    width = total + (2 if known else 0) + len(known)
    at = 0
    for course in courses:
        course.modes = np.zeros((len(course.rpm), width))
        course.modes[:, :total] = columns[at : at + len(course.rpm)]
        at += len(course.rpm)
    for i, course in enumerate(known):
        course.modes = np.zeros((len(course.rpm), width))
        half = float((course.hi[0] - course.lo[0]) / 2.0 - SHEET_HALF_DEG)
        course.modes[:, total] = half  # where between initial and total the parts stand: the same for all
        course.modes[:, total + 1] = SHEET_COMMON_SD_DEG
        course.modes[:, total + 2 + i] = SHEET_SD_DEG
