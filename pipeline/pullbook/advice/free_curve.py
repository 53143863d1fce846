"""The curve a freely mapped ignition would run: least advance inside the tolerance, no rougher than the evidence."""

from functools import cache

import numpy as np

from pullbook.advice.ground import Ground
from pullbook.arrays import Array

CHANCE = 0.10
"""An advance qualifies where its chance of costing more than the tolerance is below this."""


def corridor(ground: Ground) -> tuple[Array, Array]:
    """Least and most advance that qualify per row, (R,) each; where none does, both are the advance of least expected loss.

    Notes
    -----
    "Qualifies": the share of draws in which it costs more than the tolerance of the best torque at that rpm is under 10 %.
    Between grid points the chance is taken as straight.
    """
    grid, chance = ground.grid, ground.chance
    least = ground.cheapest_free()
    most = least.copy()
    low = np.minimum(ground.tested_lo, ground.ceiling)
    for r in range(len(ground.rpm)):
        fine = np.arange(low[r], ground.ceiling[r] + 1e-9, 0.1)
        fine = np.append(fine, ground.ceiling[r])
        good = fine[np.interp(fine, grid, chance[r]) < CHANCE]
        if good.size:
            least[r], most[r] = good[0], good[-1]
    return least, most


@cache
def _smoother(rows: int, weight: float) -> Array:
    """Whittaker smoother (I + λ·D₂ᵀD₂)⁻¹ for ``rows`` even steps, (rows, rows). Source: Whittaker 1923; Eilers 2003."""
    second = np.diff(np.eye(rows), 2, axis=0)
    return np.asarray(np.linalg.inv(np.eye(rows) + weight * second.T @ second), np.float64)


def least_curve(ground: Ground) -> Array:
    """The least advance inside the tolerance, smoothed over rpm as far as its own interval lets it, under the ceiling, (R,).

    Notes
    -----
    The heaviest smoothing is taken that moves no row further than half the width of its qualifying span plus half a degree (what
    nobody can see on a light), or further than the best's own 90 % half-width; what then lies under the span is lifted back to
    it where the ceiling allows, so smoothing never spends the tolerance.
    """
    least, most = corridor(ground)
    lo, hi = np.quantile(ground.posterior.best_deg, [0.05, 0.95], axis=0)
    room = np.minimum(0.5 * (most - least) + 0.5, 0.5 * (hi - lo) + 0.25)
    chosen = least
    if len(least) >= 4:
        for weight in 10.0 ** np.arange(-1.0, 5.1, 0.5):
            smooth = _smoother(len(least), float(weight)) @ least
            if np.any(np.abs(smooth - least) > room):
                break
            chosen = smooth
    lifted = np.maximum(chosen, least - 0.25)
    floor = np.minimum(ground.tested_lo, ground.ceiling)
    return np.clip(lifted, floor, ground.ceiling)


def costs(ground: Ground, curve: Array) -> Array:
    """Expected loss of ``curve`` per row, fraction, (R,)."""
    cost: Array = np.mean(ground.posterior.loss(curve), axis=0)
    return cost
