"""Steady running under load: holds, and a spark sweep at steady speed told apart in its steps."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from pullbook.arrays import Array
from pullbook.measure.runs import runs
from pullbook.measure.spikes import local_median
from pullbook.pulls.motion import Motion

HOLD_SECONDS = 2.0
HOLD_RPM = 50.0
"""A hold stays within this of its speed, and for so long at least."""
_SETTLES_S = 0.3  # torque follows a step of the advance


@dataclass(frozen=True, slots=True)
class Stretch:
    """Steps ``first`` up to but not including ``stop`` of a motion, of one kind.

    ``lead``, ``tail``: steps at its ends in which the advance was on its way from or to the next step of a spark sweep.
    """

    kind: str
    first: int
    stop: int
    lead: int = 0
    tail: int = 0


def steady(motion: Motion, first: int, stop: int) -> list[Stretch]:
    """Holds inside a stretch without sweeps: loaded and within ±50 rpm for two seconds, split where the advance is stepped.

    Parameters
    ----------
    motion
        The stretch on its even clock.
    first, stop
        Steps to look at.

    Returns
    -------
    list of Stretch
        Holds in order of time; none where nothing tells the load.
    """
    if motion.loaded is None:
        return []
    found = []
    level = local_median(motion.rpm[first:stop], motion.steps(0.25))  # what a noisy pick-up swings by is no change of speed
    for a, b in runs(motion.loaded[first:stop]):
        begin = first + a
        while motion.seconds(begin, first + b) >= HOLD_SECONDS:
            rpm = level[begin - first : b]
            beyond = np.maximum.accumulate(rpm) - np.minimum.accumulate(rpm) > 2 * HOLD_RPM
            end = begin + (int(np.argmax(beyond)) if beyond.any() else len(rpm))
            if motion.seconds(begin, end) >= HOLD_SECONDS:
                found += _joined(motion, [Stretch("hold", x, y) for x, y in _advance_steps(motion, begin, end)])
                begin = end
            else:
                begin += max(1, (end - begin) // 4)
    return found


def _advance_steps(motion: Motion, first: int, stop: int) -> list[tuple[int, int]]:
    """A spark sweep at steady rpm in its steps: (first, stop) of stretches of two seconds or more at one advance."""
    if motion.advance is None:
        return [(first, stop)]
    width = motion.steps(1.0)
    cuts, level_from = [first], first
    i = first + width
    while i + width <= stop:
        before = float(np.median(motion.advance[level_from:i]))
        after = float(np.median(motion.advance[i : i + width]))
        if abs(after - before) > 0.7 and abs(float(motion.advance[min(i + width // 2, stop - 1)]) - before) > 0.5:
            i += _leads_by(motion, i, before)
            cuts.append(i)
            level_from = i
            i += width
        else:
            i += 1
        level_from = max(level_from, i - 4 * width)
    cuts.append(stop)
    pieces = [(a, b) for a, b in pairwise(cuts) if motion.seconds(a, b) >= HOLD_SECONDS]
    return pieces if len(cuts) > 2 else [(first, stop)]


def _leads_by(motion: Motion, i: int, before: float) -> int:
    """Steps from ``i``, where the median of the second ahead has left ``before``, to where the advance steps; 0 if it glides."""
    width = motion.steps(1.0)
    advance = motion.advance
    assert advance is not None
    ahead = advance[i + width : i + 2 * width]
    new = float(np.median(ahead)) if len(ahead) else before
    near = max(0.1 * abs(new - before), 0.3)
    way = advance[i : i + width]
    step = int(np.argmax(np.abs(way - new) < np.abs(way - before)))
    about = way[max(step - motion.steps(0.2), 0) : step + motion.steps(0.2)]
    at_once = np.abs(about[0] - before) <= near and np.abs(about[-1] - new) <= near
    return step if at_once else 0


def _joined(motion: Motion, holds: list[Stretch]) -> list[Stretch]:
    """Holds of one spark sweep with nothing between them: each reaches to where the advance is half way to the next one's."""
    for k in range(len(holds) - 1):
        before, after = holds[k : k + 2]
        if motion.advance is None or after.first < before.stop:
            continue
        levels = [float(np.median(motion.advance[h.first + h.lead : h.stop])) for h in (before, after)]
        if after.first == before.stop:
            tail, lead = _on_its_way(motion.advance, before, after, levels)
            holds[k], holds[k + 1] = replace(before, tail=tail), replace(after, lead=max(lead, motion.steps(_SETTLES_S)))
            continue
        way = motion.advance[before.stop : after.first]
        near = np.abs(way - levels[0]) <= np.abs(way - levels[1])
        cut = before.stop + (int(np.argmin(near)) if not near.all() else len(near))
        holds[k] = replace(before, stop=cut, tail=cut - before.stop)
        holds[k + 1] = replace(after, first=cut, lead=after.first - cut)
    return holds


def _on_its_way(advance: Array, before: Stretch, after: Stretch, levels: list[float]) -> tuple[int, int]:
    """Steps at the end of one hold, and at the start of the one that follows at once, that are at neither's advance."""
    near = max(0.1 * abs(levels[1] - levels[0]), 0.3)
    left = np.abs(advance[before.first : before.stop][::-1] - levels[0]) <= near
    reached = np.abs(advance[after.first : after.stop] - levels[1]) <= near
    return max(1, int(np.argmax(left))), int(np.argmax(reached))


def on_limiter(motion: Motion, hold: Stretch, pull: Stretch) -> bool:
    """Whether a hold right after a pull is the rev limiter or the driver's lift rather than a held speed."""
    if hold.first - pull.stop > motion.steps(0.5) or motion.rpm[hold.first] < motion.rpm[pull.stop - 1] - 300.0:
        return False
    if motion.torque is None:
        return True
    held = motion.torque[hold.first : hold.stop]
    at_top = float(np.median(motion.torque[max(pull.first, pull.stop - motion.steps(0.5)) : pull.stop]))
    middle = float(np.median(held))
    return middle < 0.85 * at_top or float(np.percentile(held, 90) - np.percentile(held, 10)) > 0.12 * abs(middle)


def runs_of_holds(speeds: Sequence[float]) -> list[range]:
    """Which holds of a log stand in one run up (or down) the speeds, in order of time.

    Parameters
    ----------
    speeds
        Speed of every hold, rpm, in order of time.

    Returns
    -------
    list of range
        Places in ``speeds``. A run ends where the speed goes back; one run where it never does.

    Examples
    --------
    >>> runs_of_holds([2000, 2500, 3000, 2000, 2500, 3000])
    [range(0, 3), range(3, 6)]
    >>> runs_of_holds([4000, 3000, 2000]), runs_of_holds([3000, 3010, 2995])
    ([range(0, 3)], [range(0, 3)])
    """
    steps = np.diff(np.asarray(speeds, float))
    way = 1.0 if np.count_nonzero(steps > 0) >= np.count_nonzero(steps < 0) else -1.0
    back = [i + 1 for i, step in enumerate(steps) if way * step < -2.0 * HOLD_RPM]
    edges = [0, *back, len(speeds)]
    return [range(a, b) for a, b in pairwise(edges)]
