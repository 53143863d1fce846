"""The ground all advice stands on: the rows that count, the ceiling over them, and what every advance is expected to cost.

One day's posterior is looked at from many sides (free curve, mechanical curve, next pull). This module brings it to one form:
draws on the rows in use, and tables of expected loss and of the chance of costing more than the tolerance over an even grid of
advance, so that thousands of curves can be priced by looking up.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl

from pullbook.arrays import Array, Mask
from pullbook.handover import Posterior

GRID_DEG = 0.5
_DRAWS = 400
_UNTESTED_COST = 1e-4  # what a degree under the least that was run costs in the choice, fraction a degree


@dataclass(frozen=True, slots=True)
class Ground:
    """Rows in use and what is known on them. R rows, D draws, A grid advances.

    ``expected[r, i]``: mean loss (fraction of the best torque) at ``grid[i]``; ``chance[r, i]``: share of draws in which that
    advance costs more than ``tolerance``. ``limit_rpm`` and ``limit_deg``: the ceiling on every row of the day, in use or not.
    """

    rpm: Array  # (R,)
    posterior: Posterior
    ceiling: Array  # (R,), ° BTDC
    tested_lo: Array  # (R,), ° BTDC
    limit_rpm: Array  # (L,)
    limit_deg: Array  # (L,), ° BTDC
    tolerance: float  # fraction
    grid: Array  # (A,), ° BTDC
    expected: Array  # (R, A)
    chance: Array  # (R, A)

    def price(self, curves: Array) -> Array:
        """Mean expected loss over the rows of each curve; ``curves`` (N, R) -> (N,). Beyond the grid its edge counts."""
        place = np.clip((curves - self.grid[0]) / GRID_DEG, 0.0, len(self.grid) - 1.000001)
        low = place.astype(np.intp)
        part = place - low
        rows = np.arange(len(self.rpm))
        prices: Array = np.mean(self.expected[rows, low] * (1.0 - part) + self.expected[rows, low + 1] * part, axis=-1)
        return prices

    def beyond_tested(self, curves: Array) -> Array:
        """How far curves lie under the least that was run, mean degrees over the rows; (..., R) -> (...)."""
        under: Array = np.mean(np.maximum(self.tested_lo - curves, 0.0), axis=-1)
        return under

    def losses(self, curves: Array) -> Array:
        """Loss of each curve in each draw, mean over rows; ``curves`` (..., R) -> (..., D)."""
        losses: Array = np.mean(self.posterior.loss(curves), axis=-1)
        return losses

    def cheapest_free(self) -> Array:
        """Per row, the advance of least expected loss between the least tested and the ceiling: the ideal free curve, (R,)."""
        open_ = (self.grid >= self.tested_lo[:, None] - 1e-9) & (self.grid <= self.ceiling[:, None] + 1e-9)
        open_[np.arange(len(self.rpm)), np.argmin(np.abs(self.grid - self.ceiling[:, None]), axis=1)] = True
        at = np.argmin(np.where(open_, self.expected, np.inf), axis=1)
        return np.clip(self._vertex(at), np.minimum(self.tested_lo, self.ceiling), self.ceiling)

    def _vertex(self, at: npt.NDArray[np.intp]) -> Array:
        """Sharpen a grid minimum by the parabola through its neighbours."""
        rows = np.arange(len(self.rpm))
        inner = np.clip(at, 1, len(self.grid) - 2)
        left, mid, right = (self.expected[rows, inner + j] for j in (-1, 0, 1))
        bend = left - 2.0 * mid + right
        shift = np.where(bend > 0, 0.5 * (left - right) / np.where(bend > 0, bend, 1.0), 0.0)
        return self.grid[inner] + GRID_DEG * np.clip(shift, -1.0, 1.0)


def some_rows(posterior: Posterior, keep: Mask, draws: int = _DRAWS) -> Posterior:
    """The posterior on some of its rows and at most ``draws`` evenly spaced draws.

    Parameters
    ----------
    posterior
        D draws on R rows.
    keep
        Rows to keep, (R,).
    draws
        Most draws kept; taken evenly, so that the same posterior gives the same draws.
    """
    take = np.unique(np.linspace(0, posterior.best_deg.shape[0] - 1, draws).astype(int))
    return Posterior(
        rpm=posterior.rpm[keep],
        best_deg=posterior.best_deg[np.ix_(take, keep)],
        k=posterior.k[np.ix_(take, keep)],
        skew=posterior.skew[take],
        pull_sd=posterior.pull_sd[take],
        drift=posterior.drift[take],
        log_torque=posterior.log_torque[np.ix_(take, keep)],
        tested_lo_deg=posterior.tested_lo_deg[keep],
        tested_hi_deg=posterior.tested_hi_deg[keep],
        setting_means={name: mean[np.ix_(take, keep)] for name, mean in posterior.setting_means.items()},
    )


def survey_ground(
    posterior: Posterior | None,
    ceiling: pl.DataFrame,
    *,
    used_rpm: tuple[float, float] | None,
    max_advance_deg: float | None,
    tolerance_pct: float,
    above_deg: float = 4.0,
) -> Ground | None:
    """Bring a day's posterior and ceiling to one form.

    Parameters
    ----------
    posterior
        The day's draws, or None where no pull with a known advance was used.
    ceiling
        ``rpm, advance_deg`` per row, ° BTDC: what no advice passes.
    used_rpm
        Span that counts, rpm; None, or a span without a tested row: everything tested.
    max_advance_deg
        A known limit that binds whatever the table says.
    tolerance_pct
        What may be given away, %.
    above_deg
        How far above the highest ceiling losses are tabled, degrees (next pulls look a step further).

    Returns
    -------
    Ground or None
        None where no row has draws, a tested span and a ceiling.
    """
    if posterior is None or posterior.best_deg.shape[0] == 0:
        return None
    table = ceiling.drop_nulls(["rpm", "advance_deg"]).sort("rpm")
    limit_rpm = table["rpm"].cast(pl.Float64).to_numpy()
    limit_deg = table["advance_deg"].cast(pl.Float64).to_numpy().copy()
    if max_advance_deg is not None:
        limit_deg = np.minimum(limit_deg, max_advance_deg)
    rpm = posterior.rpm.astype(float)
    known = np.isin(rpm, limit_rpm) & np.isfinite(posterior.tested_lo_deg) & np.isfinite(posterior.tested_hi_deg)
    known &= np.all(np.isfinite(posterior.best_deg), axis=0)
    if used_rpm is not None:
        used = known & (rpm >= min(used_rpm) - 1e-6) & (rpm <= max(used_rpm) + 1e-6)
        known = used if used.any() else known
    if not known.any():
        return None
    mine = some_rows(posterior, known)
    top = limit_deg[np.searchsorted(limit_rpm, mine.rpm)]
    low = np.floor(min(float(np.min(mine.tested_lo_deg)) - 14.0, float(np.min(top)) - 6.0))
    grid = np.arange(low, np.ceil(float(np.max(top)) + above_deg) + GRID_DEG, GRID_DEG)
    tolerance = tolerance_pct / 100.0
    loss = mine.loss(np.broadcast_to(grid[:, None], (len(grid), len(mine.rpm))))  # (A, D, R)
    return Ground(
        rpm=mine.rpm.astype(float),
        posterior=mine,
        ceiling=top,
        tested_lo=mine.tested_lo_deg,
        limit_rpm=limit_rpm,
        limit_deg=limit_deg,
        tolerance=tolerance,
        grid=grid,
        expected=_sober(np.mean(loss, axis=1).T, grid, mine.tested_lo_deg),
        chance=np.mean(loss > tolerance, axis=1).T.copy(),
    )


def _sober(expected: Array, grid: Array, tested_lo: Array) -> Array:
    """Expected losses (R, A) with nothing promised for advance under the least that was run: there it never gets cheaper."""
    under = grid < tested_lo[:, None]
    edge = np.array([np.interp(lo, grid, row) for lo, row in zip(tested_lo, expected, strict=True)])[:, None]
    never_less = np.maximum(expected, edge) + _UNTESTED_COST * (tested_lo[:, None] - grid)
    return np.where(under, never_less, expected)


def interval(draws: Array) -> tuple[float, float, float]:
    """Mean and 90 % interval of a number known by draws, (D,), in its unit."""
    lo, hi = np.quantile(draws, [0.05, 0.95])
    return float(np.mean(draws)), float(lo), float(hi)
