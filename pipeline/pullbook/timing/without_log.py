"""Courses of settings that no log speaks for, from light, bench and sheet, and how the doubts about them hang together."""

import numpy as np
import polars as pl

from pullbook.arrays import Array
from pullbook.measure.normal import Z90
from pullbook.timing import unlogged
from pullbook.timing.courses import HYSTERESIS_DEG, HYSTERESIS_SD, Course, hold_back
from pullbook.timing.families import SHEET_HALF_DEG, blank_shape, put
from pullbook.timing.logged import LoggedCurve
from pullbook.timing.scale import STOP_SD_DEG
from pullbook.timing.sheet_entries import SheetEntry
from pullbook.timing.witnesses import LIGHT_SD_DEG, SHEET_COMMON_SD_DEG, SHEET_SD_DEG, Witnesses

_ENOUGH_RISING = 4  # readings on the way up that tell it without those on the way down


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
        As for :func:`pullbook.timing.courses.from_log`; ``zero_deg`` None where the mark is unchecked.
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
        hold_back(course, LoggedCurve(course.setting, course.rpm, course.advance, sd, 0), witnesses, zero_deg or 0.0)
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
    up = advance - np.where(bench, 0.0, zero_deg) - np.where(falling, HYSTERESIS_DEG, 0.0)
    return unlogged.Lit(
        rpm, up, np.hypot(LIGHT_SD_DEG, np.where(falling, HYSTERESIS_SD, 0.0)), own_zero, witnesses.sheet[setting], rows
    )


def _sheet_family(sheet: SheetEntry) -> str | None:
    return None if sheet.locked is None else "locked" if sheet.locked else "mechanical"


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
