"""Advance where no log has it: from light and bench readings and the sheet, by what the parts can do. Draws of likely curves."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pullbook.arrays import Array, Mask
from pullbook.timing.sheet_entries import SheetEntry
from pullbook.timing.witnesses import SHEET_COMMON_SD_DEG, SHEET_SD_DEG

SHEET_ALONE_SD_DEG = float(np.hypot(SHEET_SD_DEG, SHEET_COMMON_SD_DEG))
RISE_SD_DEG = 0.7
"""Total less initial is the stop's: known better than either."""

DRAWS = 800
_SHAPES = 10_000  # corners tried
_LEVEL, _LEVEL_SD = 30.0, 12.0  # a trade's range of advance, where the sheet is silent
_INITIAL, _INITIAL_SD = 12.0, 8.0
_RISE, _RISE_WIDE_SD = 20.0, 8.0
_SMOOTH_SD, _SMOOTH_RPM = 6.0, 1200.0  # a table's course, where nothing better is known


@dataclass(frozen=True, slots=True)
class Lit:
    """One setting's readings in true crank degrees as far as the mark is known, its sheet, and the rows asked for.

    ``rpm``, ``advance_deg``, ``sd_deg``, ``relative`` (n,): bench readings on the distributor's own zero lack the initial advance.
    """

    rpm: Array
    advance_deg: Array
    sd_deg: Array
    relative: Mask
    sheet: SheetEntry
    rows: Array


@dataclass(frozen=True, slots=True)
class CurveDraws:
    """Equally likely curves: ``advance_deg`` (D, n) at the rows asked for, and ``shape``: each named corner (D,)."""

    advance_deg: Array
    shape: dict[str, Array]


def locked(lit: Lit, rng: np.random.Generator) -> CurveDraws:
    """One constant, from every reading and the sheet.

    Parameters
    ----------
    lit
        The setting's readings and sheet.
    rng
        A stream that the day's inputs start.
    """
    y = list(lit.advance_deg[~lit.relative])
    v = list(lit.sd_deg[~lit.relative] ** 2)
    written = lit.sheet.total_deg if lit.sheet.total_deg is not None else lit.sheet.initial_deg
    if written is not None:
        y.append(written)
        v.append(SHEET_ALONE_SD_DEG**2)
    weight = np.concatenate([1.0 / np.array(v, float), [1.0 / _LEVEL_SD**2]])
    mean = float(weight @ np.array([*y, _LEVEL]) / weight.sum())
    level = mean + rng.standard_normal(DRAWS) / np.sqrt(weight.sum())
    return CurveDraws(np.repeat(level[:, None], len(lit.rows), axis=1), {"initial_deg": level, "total_deg": level})


def mechanical(lit: Sequence[Lit], rng: np.random.Generator) -> list[CurveDraws]:
    """Settings that turned the same parts: one shape and rise, an initial each, if the readings say so; else each its own.

    Parameters
    ----------
    lit
        One setting, or several whose sheet gives the same rise from different initials.
    rng
        A stream that the day's inputs start.

    Returns
    -------
    list[CurveDraws]
        One a setting; draw d of one belongs with draw d of the others.
    """
    apart, evidence = [], 0.0
    for one in lit:
        draws, value = _turned([one], rng)
        apart += draws
        evidence += value
    if len(lit) == 1:
        return apart
    together, joint = _turned(lit, rng)
    share = 1.0 / (1.0 + float(np.exp(np.clip(evidence - joint, -50.0, 50.0))))
    alike = np.arange(DRAWS) < round(share * DRAWS)
    order = rng.permutation(DRAWS)
    return [
        CurveDraws(
            np.where(alike[:, None], t.advance_deg[order], a.advance_deg),
            {k: np.where(alike, t.shape[k][order], a.shape[k]) for k in a.shape},
        )
        for t, a in zip(together, apart, strict=True)
    ]


def _turned(lit: Sequence[Lit], rng: np.random.Generator) -> tuple[list[CurveDraws], float]:
    """Draws of settings that share shape and rise, and ln of the readings' density under that.

    For given corners the curves are linear in (initials…, rise), whose posterior and evidence are in closed form; corners
    come from a wide prior and are weighted by that evidence (importance sampling).
    """
    start = rng.uniform(500.0, 3200.0, _SHAPES)
    all_in = start + np.exp(rng.uniform(np.log(500.0), np.log(4500.0), _SHAPES))
    kneed = rng.random(_SHAPES) < 0.4
    across = np.where(kneed, rng.uniform(0.15, 0.85, _SHAPES), 0.5)
    up = np.where(kneed, rng.uniform(0.15, 0.9, _SHAPES), 0.5)

    def risen(rpm: Array, which: npt.NDArray[np.int64] | slice) -> Array:
        a, b, c, d = start[which, None], all_in[which, None], across[which, None], up[which, None]
        share = np.clip((rpm[None, :] - a) / (b - a), 0.0, 1.0)
        return np.where(share < c, share * d / c, d + (share - c) * (1.0 - d) / (1.0 - c))

    many = len(lit)
    blocks, y, noise = [], [], []
    mean0, sd0 = np.full(many + 1, _INITIAL), np.full(many + 1, _INITIAL_SD)
    mean0[-1], sd0[-1] = _RISE, _RISE_WIDE_SD
    for i, one in enumerate(lit):
        block = np.zeros((_SHAPES, len(one.rpm), many + 1))
        block[:, :, i] = ~one.relative
        block[:, :, -1] = risen(one.rpm, slice(None))
        blocks.append(block)
        y.append(one.advance_deg)
        noise.append(one.sd_deg**2)
        if one.sheet.initial_deg is not None:
            mean0[i], sd0[i] = one.sheet.initial_deg, SHEET_ALONE_SD_DEG
        elif one.sheet.total_deg is not None:
            block = np.zeros((_SHAPES, 1, many + 1))
            block[:, :, [i, -1]] = 1.0
            blocks.append(block)
            y.append(np.array([one.sheet.total_deg]))
            noise.append(np.array([SHEET_ALONE_SD_DEG**2]))
        if one.sheet.rise_deg is not None:
            mean0[-1], sd0[-1] = one.sheet.rise_deg, RISE_SD_DEG
    x, seen, v = np.concatenate(blocks, axis=1), np.concatenate(y), np.concatenate(noise)
    precision = np.einsum("cni,n,cnj->cij", x, 1.0 / v, x, optimize=True) + np.diag(sd0**-2.0)
    target = np.einsum("cni,n->ci", x, seen / v) + mean0 / sd0**2
    cov = np.linalg.inv(precision)
    mean = np.einsum("cij,cj->ci", cov, target)
    fit = np.einsum("ci,ci->c", target, mean) - float(seen @ (seen / v)) - float(mean0 @ (mean0 / sd0**2))
    log_weight = 0.5 * (fit - np.linalg.slogdet(precision)[1] - float(np.log(2 * np.pi * v).sum()) - 2.0 * float(np.log(sd0).sum()))
    weight = np.exp(log_weight - log_weight.max())
    evidence = float(log_weight.max() + np.log(weight.mean()))
    places = (np.arange(DRAWS) + rng.random()) / DRAWS
    chosen = np.searchsorted(np.cumsum(weight / weight.sum()), places).clip(0, _SHAPES - 1)
    linear = mean[chosen] + np.einsum("cij,cj->ci", np.linalg.cholesky(cov[chosen]), rng.standard_normal((DRAWS, many + 1)))
    rise = np.maximum(linear[:, -1], 0.0)
    return [
        CurveDraws(
            linear[:, i : i + 1] + rise[:, None] * risen(one.rows, chosen),
            {
                "initial_deg": linear[:, i],
                "total_deg": linear[:, i] + rise,
                "start_rpm": start[chosen],
                "all_in_rpm": all_in[chosen],
            },
        )
        for i, one in enumerate(lit)
    ], evidence


def smooth(lit: Lit, rng: np.random.Generator) -> CurveDraws:
    """A table nobody showed: level free, course smooth, held by the readings (kriging).

    Parameters
    ----------
    lit, rng
        As for :func:`locked`.
    """

    def related(a: Array, b: Array) -> Array:
        return _LEVEL_SD**2 + _SMOOTH_SD**2 * np.exp(-0.5 * ((a[:, None] - b[None, :]) / _SMOOTH_RPM) ** 2)

    seen = ~lit.relative
    x, y = lit.rpm[seen], lit.advance_deg[seen]
    gain = np.linalg.solve(related(x, x) + np.diag(lit.sd_deg[seen] ** 2), related(x, lit.rows)).T
    mean = _LEVEL + gain @ (y - _LEVEL)
    cov = related(lit.rows, lit.rows) - gain @ related(x, lit.rows)
    values, vectors = np.linalg.eigh((cov + cov.T) / 2.0)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    return CurveDraws(mean + rng.standard_normal((DRAWS, len(lit.rows))) @ root.T, {})
