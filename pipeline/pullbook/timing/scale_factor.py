"""Whose degrees the log holds: crank degrees, or half of them (distributor), tried against light and sheet; never applied."""

import numpy as np
import polars as pl

from pullbook.arrays import Array
from pullbook.measure import gls
from pullbook.timing.scale import OFFSET_SD_DEG, flat_top
from pullbook.timing.witnesses import LIGHT_SD_DEG, SHEET_COMMON_SD_DEG, SHEET_SD_DEG, Witnesses

_CLEAR = 6.0  # natural logs of evidence
_LEAST_READINGS, _FITS_DEG = 3, 1.5
_BEYOND_RPM = 500.0  # a light may be read a little beyond the pulls
_FITS_SD = 2.5  # what does not fit itself is no better explanation: labels mixed up, another mark
_OWN_ZERO, _OWN_ZERO_SD = 12.0, 8.0  # a distributor's own zero lacks the initial advance


def wrong_factor(witnesses: Witnesses, zero_deg: float, family: str | None) -> tuple[float, bool] | None:
    """The factor that logged degrees would need, where one other than 1 is clearly better.

    Parameters
    ----------
    witnesses
        The day's log, light and sheet.
    zero_deg
        Light minus true of the mark as checked, else 0.
    family
        As engine.yaml says, or None.

    Returns
    -------
    tuple[float, bool] | None
        2 (the log holds distributor degrees) or 0.5 (they were doubled although they are crank degrees), and whether they
        stand on the distributor's own zero, without the initial advance. None: nothing speaks against 1.
    """
    log, true, variance = _pairs(witnesses, zero_deg, family)
    if not len(log):
        return None
    noise = np.diag(variance)

    def evidence(factor: float, mean: float, sd: float) -> float:
        return gls.fit(np.ones((len(log), 1)), true - factor * log, noise, np.array([mean]), np.array([[sd**2]])).log_evidence

    plain = evidence(1.0, 0.0, OFFSET_SD_DEG)
    others = {
        (2.0, False): evidence(2.0, 0.0, OFFSET_SD_DEG),
        (2.0, True): evidence(2.0, _OWN_ZERO, _OWN_ZERO_SD),
        (0.5, False): evidence(0.5, 0.0, OFFSET_SD_DEG),
    }
    best = max(others, key=lambda k: others[k])
    left = true - best[0] * log
    fits = float(np.median(np.abs(left - np.median(left)) / np.sqrt(variance))) <= _FITS_SD
    return best if others[best] - plain > _CLEAR and fits else None


def light_at_half(witnesses: Witnesses, zero_deg: float) -> bool:
    """Whether the light readings fit the log only when both their axes are doubled: distributor degrees at distributor rpm.

    Parameters
    ----------
    witnesses
        The day's log, light and sheet.
    zero_deg
        Light minus true of the mark as checked, else 0.
    """
    apart, doubled = [], []
    table = witnesses.light.filter(pl.col("used") & (pl.col("scale").fill_null("crank") == "crank"))
    seen = max((float(c.rpm[-1]) for c in witnesses.logged.curves.values()), default=0.0)
    if table.filter(2.0 * pl.col("rpm") > seen + _BEYOND_RPM)["setting"].is_in(list(witnesses.logged.curves)).any():
        return False  # a reading at a speed the distributor never turns
    for setting, rpm, advance in table.select("setting", "rpm", "advance_deg").iter_rows():
        curve = witnesses.logged.curves.get(setting)
        if curve is None or not np.isfinite(twice := float(curve.at(2.0 * rpm))):
            continue
        doubled.append(abs(twice - 2.0 * (advance - zero_deg)))
        apart.append(abs(float(curve.at(rpm)) - (advance - zero_deg)))
    if len(doubled) < _LEAST_READINGS:
        return False
    known, twice_off = [a for a in apart if np.isfinite(a)], float(np.median(doubled))
    return twice_off < _FITS_DEG and (not known or float(np.median(known)) > twice_off + _FITS_DEG)


def _pairs(witnesses: Witnesses, zero_deg: float, family: str | None) -> tuple[Array, Array, Array]:
    """What log and what light or sheet say of the same place, and the variance of their difference."""
    pairs: list[tuple[float, float, float]] = []
    table = witnesses.light.filter(pl.col("used") & (pl.col("source") == "light"))
    for setting, rpm, advance in table.select("setting", "rpm", "advance_deg").iter_rows():
        curve = witnesses.logged.curves.get(setting)
        if curve is not None and np.isfinite(logged := float(curve.at(rpm))):
            pairs.append((logged, advance - zero_deg, 2.0 * LIGHT_SD_DEG**2))
    for setting, curve in witnesses.logged.curves.items():
        total = witnesses.sheet[setting].total_deg
        if total is not None and flat_top(curve, witnesses.parts(setting, family)) is not None:
            pairs.append((float(curve.advance_deg[-5:].mean()), total, SHEET_SD_DEG**2 + SHEET_COMMON_SD_DEG**2))
    log, true, variance = (np.array(c) for c in zip(*pairs, strict=True)) if pairs else (np.zeros(0),) * 3
    return log, true, variance
