"""Which samples of a pull show the engine at full load: without the run-in at the bottom and the lift at the top."""

import numpy as np

from pullbook.arrays import Array, Mask

RUN_IN_S = 0.5
_SETTLING = 4.5  # lags: the step has died to about 1 %, alike in every pull
_OPEN_PCT = 3.0  # throttle may sit this much under its level of the pull
_LOADED = 0.6  # share of the pull's median torque below which its end is no full load
_LIFT_LOSS = 0.10  # torque at the top may not fall below this share under its level just before


def trim(time_s: Array, rpm: Array, torque_nm: Array, throttle_pct: Array | None, lag_s: float) -> Mask:
    """Samples to keep.

    Parameters
    ----------
    time_s, rpm, torque_nm
        Shape (n,), in order; seconds, rpm, N·m (NaN where absent).
    throttle_pct
        Shape (n,), %, or None.
    lag_s
        Lag of the torque reading; four and a half of it pass before the step at the bottom has died away.
    """
    n = len(time_s)
    keep = np.ones(n, bool)
    if n < 5:
        return keep
    opened = time_s[0]
    if throttle_pct is not None and np.isfinite(throttle_pct).any():
        wide = throttle_pct >= np.nanmedian(throttle_pct) - _OPEN_PCT
        wide |= ~np.isfinite(throttle_pct)
        if wide.any():
            first, last = int(np.argmax(wide)), n - 1 - int(np.argmax(wide[::-1]))
            opened = time_s[first]
            keep &= (np.arange(n) >= first) & (np.arange(n) <= last)
    keep &= time_s >= opened + max(RUN_IN_S, _SETTLING * lag_s)
    keep &= np.arange(n) <= _last_under_load(rpm, torque_nm)
    return keep


def _last_under_load(rpm: Array, torque_nm: Array) -> int:
    """Index of the last sample before the lift: rpm still at its highest, torque not yet fallen away."""
    last = int(np.nanargmax(rpm))
    known = np.flatnonzero(np.isfinite(torque_nm[: last + 1]))
    if len(known) < 8:
        return last
    loaded = np.flatnonzero(torque_nm[known] >= _LOADED * np.median(torque_nm[known]))
    known = known[: 1 + int(loaded[-1])] if len(loaded) else known
    y = torque_nm[known]
    level = float(np.median(y[-max(8, len(y) // 8) :]))
    while len(known) > 8 and torque_nm[known[-1]] < level - _LIFT_LOSS * abs(level):
        known = known[:-1]
    return int(known[-1])
