"""What the engine did, stretch by stretch: rises, falls and steady running told apart by speed, rate and load.

A state machine with hysteresis: a rise begins where the rate clearly exceeds its noise and lasts while it stays above half of
that. What a stretch is called follows from its length, its span and whether the engine was loaded.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from pullbook.reading.motion import Mask, Motion, runs

PULL_SPAN_RPM = 500.0
PULL_SECONDS = 1.5
HOLD_SECONDS = 2.0
HOLD_RPM = 50.0
_MOVE_RPM = 200.0
_FREE_RATE = 4000.0
_BLIP_SECONDS = 6.0


@dataclass(frozen=True, slots=True)
class Part:
    """Steps ``first`` up to but not including ``stop`` of a motion, of one kind."""

    kind: str
    first: int
    stop: int


def _moving(motion: Motion, sign: float) -> list[tuple[int, int]]:
    """Rises (``sign`` 1) or falls (−1): hysteresis on the rate, short pauses bridged, ends put on the turning points."""
    rate, rpm = sign * motion.rate, sign * motion.rpm
    low = max(12.0, 3.0 * motion.rate_noise)
    joined: list[tuple[int, int]] = []
    for a, b in runs(rate > low):
        if joined and a - joined[-1][1] <= motion.steps(1.0) and rpm[a] > rpm[joined[-1][1] - 1] - 120.0:
            joined[-1] = (joined[-1][0], b)
        else:
            joined.append((a, b))
    found = []
    near, n = motion.steps(0.6), len(rpm)
    for a, b in joined:
        if rate[a:b].max() <= 2.0 * low:
            continue
        lo, hi = max(0, a - near // 2), min(n, b + near)
        first = lo + int(np.argmin(rpm[lo : max(a + near, lo + 1)]))
        top = max(first + 1, b - near)
        stop = top + int(np.argmax(rpm[top:hi])) + 1 if top < hi else b
        if rpm[stop - 1] - rpm[first] >= _MOVE_RPM:
            found.append((0 if a <= 1 else first, n if b >= n - 1 else stop))
    return found


def _share(loaded: Mask | None, first: int, stop: int) -> float | None:
    return None if loaded is None else float(loaded[first:stop].mean())


def _without_limiter(motion: Motion, first: int, stop: int) -> int:
    """Where a sweep that ends against the rev limiter really ends: the first touch of its top, if it dwells there."""
    rpm = motion.rpm[first:stop]
    touch = int(np.argmax(rpm >= rpm.max() - max(20.0, 0.006 * rpm.max())))
    return first + touch + 1 if motion.seconds(first + touch, stop) > 0.5 and stop - first - touch > 3 else stop


def _rise(motion: Motion, first: int, stop: int, fall_stop: int | None) -> tuple[str, int, int]:
    """Kind and ends of a rise; ``fall_stop``: where the fall right after it ends, if there is one."""
    loaded = motion.loaded
    if loaded is not None and loaded[first:stop].any():
        inside = runs(loaded[first:stop])
        longest = max(inside, key=lambda r: r[1] - r[0])
        begin = max(first, first + longest[0] - round(0.1 / motion.step_s))
        end = stop if longest[1] >= stop - first - motion.steps(0.6) else first + longest[1]
    elif loaded is None:  # nothing tells the load: a gentle approach to the start of the sweep is told by its rate
        upper = motion.rate[first:stop][motion.rpm[first:stop] > 0.5 * (motion.rpm[first] + motion.rpm[stop - 1])]
        slow = np.flatnonzero(motion.rate[first:stop] < 0.6 * float(np.median(upper))) if len(upper) else np.array([], int)
        slow = slow[motion.rpm[first + slow] < motion.rpm[first] + 0.3 * (motion.rpm[stop - 1] - motion.rpm[first])]
        begin, end = first + (int(slow[-1]) + 1 if len(slow) else 0), stop
    else:
        begin, end = first, stop
    end = _without_limiter(motion, begin, end)
    span = float(motion.rpm[begin:end].max() - motion.rpm[begin])
    seconds = motion.seconds(begin, end)
    share = _share(loaded, begin, end)
    short = seconds < PULL_SECONDS or end - begin < 4
    free = share is None and span / max(seconds, 1e-9) > _FREE_RATE
    if not short and not free and span >= PULL_SPAN_RPM and (share is None or share >= 0.5):
        return "pull", begin, end
    quick = motion.seconds(first, stop) < 3.0
    if quick and fall_stop is not None and motion.seconds(first, fall_stop) <= _BLIP_SECONDS:
        return "blip", first, fall_stop
    return "idle", first, stop


def _steady(motion: Motion, first: int, stop: int) -> list[Part]:
    """Holds inside a stretch without sweeps: loaded and within ±50 rpm for two seconds, split where the advance is stepped."""
    if motion.loaded is None:
        return []
    found = []
    for a, b in runs(motion.loaded[first:stop]):
        begin = first + a
        while motion.seconds(begin, first + b) >= HOLD_SECONDS:
            rpm = motion.rpm[begin : first + b]
            beyond = np.maximum.accumulate(rpm) - np.minimum.accumulate(rpm) > 2 * HOLD_RPM
            end = begin + (int(np.argmax(beyond)) if beyond.any() else len(rpm))
            if motion.seconds(begin, end) >= HOLD_SECONDS:
                found += [Part("hold", x, y) for x, y in _advance_steps(motion, begin, end)]
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
            cuts.append(i)
            level_from = i
            i += width
        else:
            i += 1
        level_from = max(level_from, i - 4 * width)
    cuts.append(stop)
    pieces = [(a, b) for a, b in pairwise(cuts) if motion.seconds(a, b) >= HOLD_SECONDS]
    return pieces if len(cuts) > 2 else [(first, stop)]


def _on_limiter(motion: Motion, hold: Part, pull: Part) -> bool:
    """Whether a hold right after a pull is the rev limiter or the driver's lift rather than a held speed."""
    if hold.first - pull.stop > motion.steps(0.5) or motion.rpm[hold.first] < motion.rpm[pull.stop - 1] - 300.0:
        return False
    if motion.torque is None:
        return True
    held = motion.torque[hold.first : hold.stop]
    at_top = float(np.median(motion.torque[max(pull.first, pull.stop - motion.steps(0.5)) : pull.stop]))
    middle = float(np.median(held))
    return middle < 0.85 * at_top or float(np.percentile(held, 90) - np.percentile(held, 10)) > 0.12 * abs(middle)


def parts_of(motion: Motion) -> list[Part]:
    """Cut one stretch into parts that tile it, in order of time.

    Returns
    -------
    list of Part
        Kinds ``pull`` (a sweep long enough to use), ``hold``, ``coast_down``, ``blip`` and ``idle``; whether a pull was
        aborted only the whole day can say.
    """
    n = len(motion.rpm)
    rises, falls = _moving(motion, 1.0), _moving(motion, -1.0)
    found: list[Part] = []
    for first, stop in rises:
        follower = next((b for a, b in falls if abs(a - stop) <= motion.steps(0.8) and b > stop), None)
        found.append(Part(*_rise(motion, first, stop, follower)))
    for first, stop in falls:
        inside = [p for p in found if p.kind == "blip" and p.first <= first < p.stop]
        if inside:
            continue
        share = _share(motion.loaded, min(first + motion.steps(0.3), stop - 1), stop)
        begins = max([first, *(p.stop for p in found if p.first < first < p.stop)])
        kind = "coast_down" if (share is None or share < 0.5) and motion.seconds(begins, stop) >= 0.5 else "idle"
        found.append(Part(kind, begins, stop))
    found = _in_order(found)
    filled: list[Part] = []
    at = 0
    for part in [*found, Part("end", n, n)]:
        if part.first > at:
            holds = _steady(motion, at, part.first)
            before = filled[-1] if filled else None
            if before is not None and before.kind == "pull":
                holds = [h for h in holds if not _on_limiter(motion, h, before)]
            for hold in holds:
                filled += [Part("idle", at, hold.first)] if hold.first > at else []
                filled.append(hold)
                at = hold.stop
            filled += [Part("idle", at, part.first)] if part.first > at else []
        if part.kind != "end":
            filled.append(part)
        at = max(at, part.stop)
    return _without_slivers(motion, filled)


def _in_order(parts: list[Part]) -> list[Part]:
    """Sorted by time, overlaps given to the part that began first."""
    out: list[Part] = []
    for part in sorted(parts, key=lambda p: (p.first, p.kind != "pull")):
        first = max(part.first, out[-1].stop) if out else part.first
        if part.stop > first:
            out.append(Part(part.kind, first, part.stop))
    return out


def _without_slivers(motion: Motion, parts: list[Part]) -> list[Part]:
    """Idle stretches below 0.7 s go to the neighbour they belong to, neighbouring idle stretches become one."""
    short = motion.steps(0.7)
    out: list[Part] = []
    for i, part in enumerate(parts):
        following = parts[i + 1].kind if i + 1 < len(parts) else None
        if part.kind == "idle" and part.stop - part.first <= short and len(parts) > 1:
            leading = not out and following is not None and part.stop - part.first <= motion.steps(0.2)
            if following in ("coast_down", "blip", "idle") or leading:
                parts[i + 1] = Part(parts[i + 1].kind, part.first, parts[i + 1].stop)
                continue
            if out and out[-1].kind in ("coast_down", "blip", "idle"):
                out[-1] = Part(out[-1].kind, out[-1].first, part.stop)
                continue
        if out and part.kind == "idle" == out[-1].kind:
            out[-1] = Part("idle", out[-1].first, part.stop)
        else:
            out.append(part)
    return out
