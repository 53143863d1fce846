"""How much more advance the weights hold on the way down, from coast-downs in the log and light readings taken falling."""

import numpy as np
import polars as pl

from pullbook.arrays import Array, Mask
from pullbook.measure import gls
from pullbook.timing.logged import LoggedCurve
from pullbook.timing.scale import FLAT_DEG_PER_1000
from pullbook.timing.witnesses import LIGHT_SD_DEG

_VACUUM_DEG = 1.0  # down minus up on the stop, where weights cannot move: more than this is a vacuum can
_WIDE_SD_DEG = 5.0
_COAST_SD_DEG = 0.15  # a recorder's lag looks like a little hysteresis


def rising(curve: LoggedCurve) -> Mask:
    """Rows between start and all-in, with their neighbours rising too: there the weights move.

    Parameters
    ----------
    curve
        A setting's advance as logged, on n rows.

    Returns
    -------
    Mask
        (n,); rising is more than :data:`FLAT_DEG_PER_1000` degrees per 1000 rpm over ±150 rpm.
    """
    steep = np.array([curve.slope_at(n, 150.0) for n in curve.rpm])
    up = np.asarray(np.isfinite(steep) & (steep > FLAT_DEG_PER_1000), dtype=np.bool_)
    inner = up.copy()
    inner[1:] &= up[:-1]
    inner[:-1] &= up[1:]
    return inner


def hysteresis(
    up: LoggedCurve,
    true_up: Array,
    down: LoggedCurve | None,
    light_down: pl.DataFrame,
    zero_deg: float,
    prior: tuple[float, float] = (0.0, _WIDE_SD_DEG),
) -> tuple[float, float] | None:
    """Down minus up where the weights move.

    Parameters
    ----------
    up, true_up
        The setting's curve as logged, and in true degrees at the same rows (n,).
    down
        Its coast-downs as logged; None where there are none.
    light_down
        ``rpm, advance_deg`` of light readings taken falling.
    zero_deg
        Light minus true.
    prior
        What is believed before, degrees and SD: light alone is good to a degree.

    Returns
    -------
    tuple[float, float] | None
        Degrees and SD; None where nothing was seen on the way down, or where the coast-downs show a vacuum can instead.
    """
    moving = rising(up)
    y, variance = [], []
    if down is not None and moving.any():
        gap = down.at(up.rpm) - up.advance_deg
        stopped = np.isfinite(gap) & (np.array([abs(up.slope_at(n)) for n in up.rpm]) < FLAT_DEG_PER_1000)
        on_stop = abs(float(np.median(gap[stopped]))) if stopped.any() else 0.0
        seen = moving & np.isfinite(gap)
        if on_stop < _VACUUM_DEG and seen.any():
            y.append(float(np.median(gap[seen])))
            variance.append(_COAST_SD_DEG**2)
    for rpm, advance in light_down.select("rpm", "advance_deg").iter_rows():
        near = int(np.argmin(np.abs(up.rpm - rpm)))
        if moving[near] and abs(up.rpm[near] - rpm) <= 50.0:
            y.append(advance - zero_deg - float(np.interp(rpm, up.rpm, true_up)))
            variance.append(LIGHT_SD_DEG**2 + 0.3**2)
    if not y:
        return None
    one = gls.fit(np.ones((len(y), 1)), np.array(y), np.array(variance), np.array([prior[0]]), np.array([[prior[1] ** 2]]))
    return float(one.mean[0]), float(np.sqrt(one.cov[0, 0]))
