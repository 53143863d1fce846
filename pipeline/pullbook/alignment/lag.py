"""How far the torque reading runs behind the engine: from the tails after the throttle shuts."""

import numpy as np
import polars as pl

from pullbook.arrays import Array
from pullbook.columns import holds
from pullbook.measure.decay import Decay, pooled_decay

LAG_BOUND_S = 0.3
"""No load cell with its filter that a shop would put up with reads later than this; said where nothing better is known."""

_TAUS = np.geomspace(0.01, 1.2, 193)
_LONGEST_S = 0.6  # a slower fall is the engine running down, not the load cell
_WINDOW_S = 1.6
_CLEAR = 10.0  # difference of BIC
_STEP_S, _SHARE = 0.008, 0.08  # a throttle is not shut at once, and drums and shafts give back: the tail is not a pure decay


def torque_lag(samples: pl.DataFrame, coast_downs: pl.DataFrame) -> tuple[tuple[float, float, float] | None, float]:
    """First-order lag of the torque reading.

    Parameters
    ----------
    samples, coast_downs
        ``file, segment, time_s, torque_nm, throttle_pct``, numbers or null: the day's pulls untrimmed, its coast-downs alone.

    Returns
    -------
    (lag, bound)
        ``lag``: (estimate, lo, hi) in seconds, 90 %, where the tails clearly show one, else None; ``bound``: no lag is longer.
    """
    decay = pooled_decay(_tails(coast_downs, _open_throttle(samples)), _TAUS)
    if decay is None:
        return None, LAG_BOUND_S
    if decay.evidence > _CLEAR and _TAUS[1] < decay.tau < _LONGEST_S:
        doubt = max(_STEP_S, _SHARE * decay.tau)
        lo = decay.tau - float(np.hypot(decay.tau - decay.lo, doubt))
        hi = decay.tau + float(np.hypot(decay.hi - decay.tau, doubt))
        return (decay.tau, max(lo, 0.0), hi), hi
    return None, _bound(decay)


def _bound(decay: Decay) -> float:
    return float(min(decay.hi, LAG_BOUND_S)) if decay.tau < _LONGEST_S else LAG_BOUND_S


def _open_throttle(samples: pl.DataFrame) -> float | None:
    level = samples["throttle_pct"].max()
    return float(level) if isinstance(level, float) else None


def _tails(coast_downs: pl.DataFrame, wide_open: float | None) -> list[tuple[Array, Array]]:
    """Time and torque from when the throttle is shut, one tail a coast-down."""
    if coast_downs.is_empty():
        return []
    tails = []
    for part in coast_downs.filter(pl.col("time_s").is_not_null() & pl.col("torque_nm").is_not_null()).partition_by(
        "file", "segment", maintain_order=True
    ):
        t, y = part["time_s"].to_numpy(), part["torque_nm"].to_numpy()
        first = 0
        if wide_open is not None and holds(part, "throttle_pct"):
            throttle = part["throttle_pct"].interpolate().forward_fill().backward_fill().to_numpy()
            shut = np.flatnonzero(throttle <= throttle.min() + 0.05 * max(wide_open - throttle.min(), 0.0))
            first = int(shut[0])
        t, y = t[first:] - t[first], y[first:]
        keep = (t >= 0.0) & (t <= _WINDOW_S)
        tails.append((t[keep], y[keep]))
    return tails
