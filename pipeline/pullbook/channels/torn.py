"""Stretches in which speed reads elsewhere: it leaps away in one row, faster than an engine can, and leaps back in line."""

import numpy as np
import numpy.typing as npt

from pullbook.arrays import Array, Mask
from pullbook.channels.faulty import LEAP

FASTEST = 6000.0
"""rpm a second: quicker than a crankshaft falls with the throttle shut, and than it rises under load."""
NEVER = 30_000.0
"""rpm a second that no engine reaches, free of any load."""
SHORT_S = 0.5
"""Within so long a stretch may scatter; in a longer one speed runs on as evenly as outside."""
MOST_LEAPS = 2_000


def torn_stretches(rpm: Array, time: Array) -> Mask:
    """Rows of bursts and stretches of any length that speed leaps into and back out of.

    Parameters
    ----------
    rpm, time
        Shape (n,), 1/min and s, NaN where missing; one recording.

    Notes
    -----
    Both leaps are of one size, quicker than :data:`FASTEST` and five times what speed does from row to row about them; behind the
    second one speed is where it would have come to without them. A blip falls more slowly than it rises, a change of gear never
    leaps back.
    """
    out = np.zeros(len(rpm), bool)
    good = np.flatnonzero(np.isfinite(rpm) & np.isfinite(time))
    x, t = rpm[good], time[good]
    if len(x) < 12:
        return out
    step, dt = np.diff(x), np.diff(t)
    leaps = np.flatnonzero((np.abs(step) > LEAP) & (dt >= 0.0) & (np.abs(step) > FASTEST * dt))
    if not len(leaps) or len(leaps) > MOST_LEAPS:
        return out
    usual = float(np.median(np.abs(step)))
    leaps = leaps[np.abs(step[leaps]) > 5.0 * usual]
    at = 0
    while at < len(leaps):
        back = _way_back(x, t, leaps, at)
        if back is not None:
            out[good[leaps[at] + 1 : leaps[back] + 1]] = True
            at = back
        at += 1
    return out


def _way_back(x: Array, t: Array, leaps: npt.NDArray[np.int64], at: int) -> int | None:
    """Which later leap brings speed back in line with what it was before leap ``at``; None where none does."""
    i = int(leaps[at])
    size = x[i + 1] - x[i]
    before = slice(max(i - 9, 0), i + 1)
    pace = float(np.polyfit(t[before] - t[i], x[before], 1)[0]) if i >= 4 and t[i] > t[before][0] else 0.0
    for k in range(at + 1, min(at + 12, len(leaps))):
        j = int(leaps[k])
        fall = x[j + 1] - x[j]
        if np.sign(fall) == np.sign(size) or j - i > len(x) // 2:
            continue
        inside = slice(i + 1, j + 1)
        after = slice(j + 1, min(j + 10, len(x)))
        knows = np.ptp(t[after]) > 0.0 and len(x[after]) >= 5
        onward = float(np.polyfit(t[after] - t[j + 1], x[after], 1)[0]) if knows else pace
        length = t[j + 1] - t[i]
        # from where it left at the pace before, back from where it came at the pace behind: in line where the two meet
        meant = x[i] + 0.5 * (pace + onward) * length
        slack = max(LEAP / 2, 0.15 * min(abs(size), abs(fall))) + 0.25 * abs(pace - onward) * length
        if abs(x[j + 1] - meant) > min(slack, 0.4 * min(abs(size), abs(fall))):
            continue
        line = np.interp(t[inside], [t[i], t[j + 1]], [x[i], x[j + 1]])
        off = np.abs(x[inside] - line)
        if off.min() < max(LEAP, 0.4 * min(abs(size), abs(fall))):
            continue
        steps = np.abs(np.diff(x[inside]))
        goes_on = len(steps) > 1 and _of_a_piece(x, i, i + 1) and _of_a_piece(x, j, j - 1)
        if goes_on and min(abs(size), abs(fall)) < NEVER * max(t[i + 1] - t[i], t[j + 1] - t[j]):
            continue  # it climbs on and comes down by steps: a blip
        if length > SHORT_S and len(steps) and (k > at + 1 or float(np.median(steps)) > 0.1 * abs(size)):
            continue
        return k
    return None


def _of_a_piece(x: Array, leap: int, beside: int) -> bool:
    """Whether the step ``beside`` goes the way of ``leap`` and is a third of it or more."""
    return bool((x[beside + 1] - x[beside]) / (x[leap + 1] - x[leap]) > 0.33)
