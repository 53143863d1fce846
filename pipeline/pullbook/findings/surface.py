"""The hill as a picture needs it: % below best over rpm and advance, inside what was tested and nowhere else."""

import numpy as np
import polars as pl

from pullbook.columns import SURFACE
from pullbook.handover import Posterior
from pullbook.loss import loss

_STEP_DEG = 0.5


def surface(posterior: Posterior | None) -> pl.DataFrame:
    """Loss against the best advance on a grid of rpm rows and half degrees within the tested advances.

    Parameters
    ----------
    posterior
        Draws of the day's hill, or None where the day gave none.

    Returns
    -------
    polars.DataFrame
        ``rpm`` (1/min), ``advance_deg`` (crank degrees BTDC), ``loss_pct`` (mean), ``lo_pct``, ``hi_pct`` (90 % interval), all in
        % of the best torque at that rpm; no rows where nothing was tested.
    """
    empty = pl.DataFrame(schema=SURFACE)
    if posterior is None or not np.isfinite(posterior.tested_lo_deg).any():
        return empty
    lo = np.floor(np.nanmin(posterior.tested_lo_deg) / _STEP_DEG)
    hi = np.ceil(np.nanmax(posterior.tested_hi_deg) / _STEP_DEG)
    grid = np.arange(lo, hi + 1) * _STEP_DEG
    parts = []
    for advance in grid:
        inside = (posterior.tested_lo_deg - 0.25 <= advance) & (advance <= posterior.tested_hi_deg + 0.25)
        if not inside.any():
            continue
        cost = 100.0 * loss(advance - posterior.best_deg[:, inside], posterior.k[:, inside], posterior.skew[:, None])
        low, high = np.quantile(cost, (0.05, 0.95), axis=0)
        parts.append(
            pl.DataFrame(
                {
                    "rpm": posterior.rpm[inside],
                    "advance_deg": np.full(int(inside.sum()), advance),
                    "loss_pct": cost.mean(axis=0),
                    "lo_pct": low,
                    "hi_pct": high,
                },
                schema=SURFACE,
            )
        )
    return pl.concat(parts).sort("rpm", "advance_deg") if parts else empty
