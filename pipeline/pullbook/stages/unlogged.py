"""A setting's advance where no log has it: from light and bench readings and the sheet, by what the parts can do."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pullbook.stages.witnesses import LIGHT_SD_DEG, SHEET_COMMON_SD_DEG, SHEET_SD_DEG, SheetEntry

Array = npt.NDArray[np.float64]

_CURVES = 6000  # shapes tried
_DRAWS = 800
_SHEET_SD = float(np.hypot(SHEET_SD_DEG, SHEET_COMMON_SD_DEG))
_RISE_SD = 0.7  # total minus initial is the stop's, known better than either
_LEVEL, _LEVEL_SD = 30.0, 12.0  # a trade's range of total advance, where the sheet is silent
_INITIAL, _INITIAL_SD = 12.0, 8.0
_RISE, _RISE_WIDE_SD = 20.0, 8.0
_SMOOTH_SD, _SMOOTH_RPM = 6.0, 1200.0  # a table's course, where nothing better is known


@dataclass(frozen=True, slots=True)
class Readings:
    """Light or bench readings of one setting in true crank degrees as far as the mark is known; shape (n,) each.

    ``relative``: bench readings on the distributor's own zero, which lack the initial advance.
    """

    rpm: Array
    advance_deg: Array
    relative: npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class CurveDraws:
    """Equally likely curves: ``advance_deg`` (D, n) at the rows asked for, and ``shape``: each named corner (D,)."""

    advance_deg: Array
    shape: dict[str, Array]


def locked(readings: Readings, sheet: SheetEntry, rows: Array, rng: np.random.Generator) -> CurveDraws:
    """One constant, from every reading and the sheet."""
    y = list(readings.advance_deg[~readings.relative])
    v = [LIGHT_SD_DEG**2] * len(y)
    for entry in {sheet.initial_deg, sheet.total_deg} - {None}:
        y.append(float(entry))  # type: ignore[arg-type]
        v.append(_SHEET_SD**2)
    weight = np.concatenate([1.0 / np.array(v, float), [1.0 / _LEVEL_SD**2]])
    mean = float(weight @ np.array([*y, _LEVEL]) / weight.sum())
    level = mean + rng.standard_normal(_DRAWS) / np.sqrt(weight.sum())
    return CurveDraws(np.repeat(level[:, None], len(rows), axis=1), {"initial_deg": level, "total_deg": level})


def mechanical(readings: Readings, sheet: SheetEntry, rows: Array, rng: np.random.Generator) -> CurveDraws:
    """Flat, rise, perhaps a knee, rise, flat: thousands of shapes weighted by how well they meet the readings.

    Notes
    -----
    For given corners the curve is linear in (initial, rise), whose posterior and evidence are in closed form; corners are
    drawn from a wide prior and weighted by that evidence.
    """
    start = rng.uniform(500.0, 3200.0, _CURVES)
    all_in = start + np.exp(rng.uniform(np.log(500.0), np.log(4500.0), _CURVES))
    kneed = rng.random(_CURVES) < 0.4
    across = np.where(kneed, rng.uniform(0.15, 0.85, _CURVES), 0.5)
    up = np.where(kneed, rng.uniform(0.15, 0.9, _CURVES), 0.5)

    def risen(rpm: Array) -> Array:
        share = np.clip((rpm[None, :] - start[:, None]) / (all_in - start)[:, None], 0.0, 1.0)
        low = share * (up / across)[:, None]
        high = up[:, None] + (share - across[:, None]) * ((1.0 - up) / (1.0 - across))[:, None]
        return np.where(share < across[:, None], low, high)

    prior_mean, prior_sd = np.array([_INITIAL, _RISE]), np.array([_INITIAL_SD, _RISE_WIDE_SD])
    if sheet.initial_deg is not None:
        prior_mean[0], prior_sd[0] = sheet.initial_deg, _SHEET_SD
    if sheet.initial_deg is not None and sheet.total_deg is not None:
        prior_mean[1], prior_sd[1] = sheet.total_deg - sheet.initial_deg, _RISE_SD
    x = np.stack([np.broadcast_to(~readings.relative, (_CURVES, len(readings.rpm))).astype(float), risen(readings.rpm)], axis=2)
    y, noise = readings.advance_deg, np.full(len(readings.rpm), LIGHT_SD_DEG**2)
    if sheet.initial_deg is None and sheet.total_deg is not None:
        x = np.concatenate([x, np.ones((_CURVES, 1, 2))], axis=1)
        y, noise = np.append(y, sheet.total_deg), np.append(noise, _SHEET_SD**2)
    precision = np.einsum("cni,n,cnj->cij", x, 1.0 / noise, x) + np.diag(prior_sd**-2.0)
    target = np.einsum("cni,n->ci", x, y / noise) + prior_mean / prior_sd**2
    cov = np.linalg.inv(precision)
    mean = np.einsum("cij,cj->ci", cov, target)
    fit = np.einsum("ci,ci->c", target, mean) - float(y @ (y / noise)) - float(prior_mean @ (prior_mean / prior_sd**2))
    log_weight = 0.5 * fit - 0.5 * np.linalg.slogdet(precision)[1]
    weight = np.exp(log_weight - log_weight.max())
    chosen = np.searchsorted(np.cumsum(weight / weight.sum()), (np.arange(_DRAWS) + rng.random()) / _DRAWS).clip(0, _CURVES - 1)
    spread = np.linalg.cholesky(cov[chosen])
    linear = mean[chosen] + np.einsum("cij,cj->ci", spread, rng.standard_normal((_DRAWS, 2)))
    linear[:, 1] = np.maximum(linear[:, 1], 0.0)
    curves = linear[:, :1] + linear[:, 1:] * risen(rows)[chosen]
    shape = {
        "initial_deg": linear[:, 0],
        "total_deg": linear.sum(axis=1),
        "start_rpm": start[chosen],
        "all_in_rpm": all_in[chosen],
    }
    return CurveDraws(curves, shape)


def smooth(readings: Readings, rows: Array, rng: np.random.Generator) -> CurveDraws:
    """A table nobody showed: level free, course smooth, held by the readings (kriging)."""

    def related(a: Array, b: Array) -> Array:
        return _LEVEL_SD**2 + _SMOOTH_SD**2 * np.exp(-0.5 * ((a[:, None] - b[None, :]) / _SMOOTH_RPM) ** 2)

    seen = ~readings.relative
    x, y = readings.rpm[seen], readings.advance_deg[seen]
    gain = np.linalg.solve(related(x, x) + LIGHT_SD_DEG**2 * np.eye(len(x)), related(x, rows)).T
    mean = _LEVEL + gain @ (y - _LEVEL)
    cov = related(rows, rows) - gain @ related(x, rows)
    values, vectors = np.linalg.eigh((cov + cov.T) / 2.0)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    return CurveDraws(mean + rng.standard_normal((_DRAWS, len(rows))) @ root.T, {})
