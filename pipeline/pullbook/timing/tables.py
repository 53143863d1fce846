"""Courses as tables: what was delivered, and every witness's word beside what was made of it."""

from collections.abc import Container
from typing import Any

import numpy as np
import polars as pl

from pullbook.columns import DELIVERED, EVIDENCE, conform
from pullbook.measure.normal import Z90
from pullbook.timing.courses import Course
from pullbook.timing.witnesses import Witnesses


def delivered_table(courses: list[Course]) -> pl.DataFrame:
    """DELIVERED: the way up, and the way down where something was seen of it; ``both`` where there is no difference."""
    parts = []
    for course in courses:
        if not len(course.rpm):
            continue
        parts.append(_direction(course, "up" if course.family == "mechanical" else "both"))
        if course.down is not None:
            parts.append(_direction(course, "down"))
    return conform(pl.concat(parts) if parts else pl.DataFrame(), DELIVERED)


def _direction(course: Course, direction: str) -> pl.DataFrame:
    advance, lo, hi = course.advance, course.lo, course.hi
    if direction == "down" and course.down is not None:
        more = course.more_falling()
        doubt = np.where(course.moving, Z90 * course.down[1], 0.0)
        lo, hi = advance + more - np.hypot(advance - lo, doubt), advance + more + np.hypot(hi - advance, doubt)
        advance = advance + more
    known = {
        name: pl.Series(values, nan_to_null=True, dtype=pl.Float64)
        for name, values in (("advance_deg", advance), ("lo_deg", lo), ("hi_deg", hi))
    }
    return pl.DataFrame(
        {
            "setting": course.setting,
            "direction": direction,
            "rpm": course.rpm.astype(np.int64),
            **known,
            "evidence": [course.evidence] * len(course.rpm),
        },
        schema_overrides=dict(DELIVERED),
    )


def evidence_table(
    witnesses: Witnesses, courses: dict[str, Course], zero_deg: float, *, heard: Container[str], on_sheet: tuple[str, ...]
) -> pl.DataFrame:
    """Every witness's word beside what was made of it.

    Parameters
    ----------
    witnesses, courses
        What log, light and sheet say, and the delivered curve of each setting.
    zero_deg
        Error of the damper's mark, degrees: what a light reads above the truth.
    heard
        Settings whose logged advance was used.
    on_sheet
        Settings whose curve rests on the sheet.

    Returns
    -------
    polars.DataFrame
        EVIDENCE: one row a reading. ``fitted_deg`` is what the fit says that witness should have read (a light: with the mark's
        error); for the log it is the delivered advance itself.
    """
    rows: list[dict[str, Any]] = []
    for setting, logged in witnesses.logged.curves.items():
        rows += [
            {"setting": setting, "rpm": float(n), "source": "log", "direction": "up", "advance_deg": float(a),
             "fitted_deg": _fitted(courses, setting, float(n), "up"), "used": setting in heard}
            for n, a in zip(logged.rpm, logged.advance_deg, strict=True)
        ]  # fmt: skip
    for r in witnesses.light.iter_rows(named=True):
        value = _fitted(courses, r["setting"], r["rpm"], r["direction"])
        moved = zero_deg if r["source"] == "light" else 0.0
        rows.append(
            {k: r[k] for k in ("setting", "rpm", "source", "direction", "advance_deg", "used", "why_not")}
            | {"fitted_deg": None if value is None else value + moved}
        )
    for setting, entry in witnesses.sheet.items():
        shape = courses[setting].shape if setting in courses else {}
        for name, value in (("initial_deg", entry.initial_deg), ("total_deg", entry.total_deg)):
            if value is not None:
                used = setting in on_sheet or not (setting in courses and courses[setting].on_log)
                rows.append(
                    {"setting": setting, "source": "sheet", "direction": name.split("_")[0], "advance_deg": value, "used": used}
                    | {"fitted_deg": shape.get(name)}
                )
    return conform(pl.DataFrame(rows, infer_schema_length=None) if rows else pl.DataFrame(), EVIDENCE)


def _fitted(courses: dict[str, Course], setting: str | None, rpm: float, direction: str | None) -> float | None:
    course = courses.get(setting) if setting is not None else None
    if course is None or not len(course.rpm) or not course.rpm[0] - 50.0 <= rpm <= course.rpm[-1] + 50.0:
        return None
    curve = course.advance
    if direction == "down" and course.down is not None:
        curve = curve + course.more_falling()
    value = float(np.interp(rpm, course.rpm, curve))
    return value if np.isfinite(value) else None
