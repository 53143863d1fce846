"""What the engine did, stretch by stretch: rises, falls and steady running told apart by speed, rate and load.

A state machine with hysteresis: a rise begins where the rate clearly exceeds its noise and lasts while it stays above half of
that. What a stretch is called follows from its length, its span and whether the engine was loaded.
"""

from bisect import bisect_left, bisect_right
from dataclasses import replace

import numpy as np

from pullbook.arrays import Array, Mask
from pullbook.measure.runs import runs
from pullbook.pulls.holds import Stretch, on_limiter, steady
from pullbook.pulls.motion import Motion, slope

PULL_SPAN_RPM = 600.0
PULL_SECONDS = 1.5
_MOVE_RPM = 200.0
_FREE_RATE = 4000.0
_BLIP_SECONDS = 6.0
_APPROACH_SECONDS = 4.0


def _moving(motion: Motion, sign: float, half_s: float | None = None) -> list[tuple[int, int]]:
    """Rises (``sign`` 1) or falls (−1): hysteresis on the rate, short pauses bridged, ends put on the turning points.

    ``half_s``: take the rate over twice this instead, for sweeps so slow that they drown in the noise of the usual rate.
    """
    rate, rpm, noise = sign * motion.rate, sign * motion.rpm, motion.rate_noise
    if half_s is not None:
        half = motion.steps(half_s)
        rate = sign * slope(motion.rpm, half, motion.step_s)
        noise *= min(1.0, motion.steps(0.4) / half) ** 1.5
    low = max(12.0 if half_s is None else 4.0, 3.0 * noise)
    joined: list[tuple[int, int]] = []
    for a, b in runs(rate > low):
        if joined and _goes_on(motion, rpm, joined[-1], (a, b)):
            joined[-1] = (joined[-1][0], b)
        else:
            joined.append((a, b))
    found = []
    near, n = motion.steps(0.6 if half_s is None else half_s), len(rpm)
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


def _with_slow(motion: Motion, rises: list[tuple[int, int]], falls: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """``rises`` with sweeps of a few rpm a second, of which the usual rate sees scraps at most."""

    def pace(first: int, stop: int) -> float:
        return float(motion.rpm[stop - 1] - motion.rpm[first]) / max(motion.seconds(first, stop), 1e-9)

    for first, stop in _moving(motion, 1.0, 2.5):
        inside = _within(rises, first, stop)
        approach = [r for r in inside[:1] if r[0] <= first + (stop - first) // 4]
        begin = max([first, *(b for _, b in approach)])
        scraps = all(pace(*r) < 2.5 * pace(begin, stop) for r in inside if r not in approach)
        fallen = any(a < stop - motion.steps(2.5) for a, _ in _within(falls, begin, stop))
        seen = any(b >= stop - motion.steps(5.0) for _, b in approach)
        if scraps and not fallen and not seen and motion.rpm[stop - 1] - motion.rpm[begin] >= PULL_SPAN_RPM:
            rises = sorted([*(r for r in rises if r not in inside), (begin if motion.loaded is None else first, stop)])
    return rises


def _within(stretches: list[tuple[int, int]], first: int, stop: int) -> list[tuple[int, int]]:
    """Stretches (in order of time) that share a step with ``first`` to ``stop``."""
    lo = bisect_right(stretches, first, key=lambda r: r[1])
    return stretches[lo : bisect_left(stretches, stop, key=lambda r: r[0])]


def _goes_on(motion: Motion, rpm: Array, before: tuple[int, int], after: tuple[int, int]) -> bool:
    """Whether two stretches of rising speed are one sweep: a short pause, or a gap in which speed went on rising.

    A governed speed that swings about its mean makes no way however often it rises, and is not joined.
    """

    def pace(first: int, last: int) -> float:
        return float(rpm[last] - rpm[first]) / (max(last - first, 1) * motion.step_s)

    (a, b), (c, d) = before, after
    if rpm[c] < rpm[b - 1] - 120.0 or pace(a, d - 1) < 0.5 * max(pace(a, b - 1), pace(c, d - 1)):
        return False
    return c - b <= motion.steps(1.0) or pace(b - 1, c) >= max(4.0, 0.25 * pace(a, b - 1))


def _bridged(stretches: list[tuple[int, int]], most: int) -> list[tuple[int, int]]:
    """Stretches with gaps of at most ``most`` steps closed: a misfire or a dropout of the load cell ends no pull."""
    out = stretches[:1]
    for a, b in stretches[1:]:
        if a - out[-1][1] <= most:
            out[-1] = (out[-1][0], b)
        else:
            out.append((a, b))
    return out


def _share(loaded: Mask | None, first: int, stop: int) -> float | None:
    return None if loaded is None else float(loaded[first:stop].mean())


def _without_limiter(motion: Motion, first: int, stop: int) -> int:
    """Where a sweep that ends against the rev limiter really ends: the first touch of its top, if it dwells there."""
    rpm = motion.rpm[first:stop]
    margin = max(20.0, 0.006 * float(rpm.max()))
    touch = int(np.argmax(rpm >= rpm.max() - margin))
    pace = max(float(rpm.max() - rpm[0]) / max(motion.seconds(first, stop), 1e-9), 1.0)
    dwells = motion.seconds(first + touch, stop) > 0.5 + 2.0 * margin / pace
    return first + touch + 1 if dwells and stop - first - touch > 3 else stop


def _rise(motion: Motion, first: int, stop: int, fall_stop: int | None) -> tuple[str, int, int]:
    """Kind and ends of a rise; ``fall_stop``: where the fall right after it ends, if there is one."""
    loaded = motion.loaded
    if loaded is not None and loaded[first:stop].any():
        inside = _bridged(runs(loaded[first:stop]), motion.steps(0.7))
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
    if (
        quick
        and fall_stop is not None
        and motion.seconds(first, fall_stop) <= _BLIP_SECONDS
        and not steady(motion, first, fall_stop)
    ):
        return "blip", first, fall_stop
    return "idle", *_while_it_moves(motion, first, _without_limiter(motion, first, stop))  # what it dwells at is a hold, perhaps


def _while_it_moves(motion: Motion, first: int, stop: int) -> tuple[int, int]:
    """The part of a step from speed to speed that moves: its ends were put on the turning points of noise, well into the holds.

    The rate is a mean over 0.8 s, so it has half of its height where an even move begins and ends.
    """
    rate = np.abs(motion.rate[first:stop])
    moves = np.flatnonzero(rate >= 0.5 * rate.max()) if len(rate) else rate
    return (first + int(moves[0]), first + int(moves[-1]) + 1) if len(moves) else (first, stop)


def parts_of(motion: Motion) -> list[Stretch]:
    """Cut one stretch into parts that tile it, in order of time.

    Returns
    -------
    list of Stretch
        Kinds ``pull`` (a sweep long enough to use), ``hold``, ``coast_down``, ``blip`` and ``idle``; whether a pull was
        aborted only the whole day can say.
    """
    rises, falls = _moving(motion, 1.0), _moving(motion, -1.0)
    moved = _in_order(_rises_and_falls(motion, _with_slow(motion, rises, falls), falls))
    return _without_slivers(motion, _without_approaches(motion, _filled(motion, moved)))


def _rises_and_falls(motion: Motion, rises: list[tuple[int, int]], falls: list[tuple[int, int]]) -> list[Stretch]:
    """What each rise and each fall was; the fall of a blip belongs to it."""
    risen: list[Stretch] = []
    for first, stop in rises:
        near = bisect_left(falls, stop - motion.steps(0.8), key=lambda f: f[0])
        follower = next((b for a, b in falls[near : near + 3] if a - stop <= motion.steps(0.8) and b > stop), None)
        risen.append(Stretch(*_rise(motion, first, stop, follower)))
    fallen: list[Stretch] = []
    for first, stop in falls:
        at = bisect_right(risen, first, key=lambda p: p.first)
        before = risen[at - 1] if at else None
        if before is not None and before.kind == "blip" and first < before.stop:
            continue
        share = _share(motion.loaded, min(first + motion.steps(0.3), stop - 1), stop)
        begins = max(first, before.stop if before is not None and before.first < first else first)
        if begins >= stop:
            continue  # the rise before it took all of it
        if motion.loaded is not None:
            begins += int(np.argmin(motion.loaded[begins:stop]))  # scraps of noise at a held speed, joined to the fall after it
        if (share is None or share < 0.5) and motion.seconds(begins, stop) >= 0.5:
            fallen.append(Stretch("coast_down", begins, stop))
        else:
            fallen.append(Stretch("idle", *_while_it_moves(motion, begins, stop)))
    return risen + fallen


def _filled(motion: Motion, moved: list[Stretch]) -> list[Stretch]:
    """``moved`` with holds and idle running between, so that they tile the stretch."""
    n = len(motion.rpm)
    out: list[Stretch] = []
    at = 0
    for part in [*moved, Stretch("idle", n, n)]:
        before = out[-1] if out else None
        holds = steady(motion, at, part.first) if part.first > at else []
        for hold in holds:
            if before is not None and before.kind == "pull" and on_limiter(motion, hold, before):
                continue
            out += [Stretch("idle", at, hold.first)] if hold.first > at else []
            out.append(hold)
            at = hold.stop
        out += [Stretch("idle", at, part.first)] if part.first > at else []
        out += [part] if part.stop > part.first else []
        at = max(at, part.stop)
    return out


def _without_approaches(motion: Motion, parts: list[Stretch]) -> list[Stretch]:
    """A quick rise that ends in a hold only goes there: it is no pull."""
    out = []
    for i, part in enumerate(parts):
        hold = next((p for p in parts[i + 1 : i + 3] if p.kind == "hold" and p.first - part.stop <= motion.steps(1.5)), None)
        quick = part.kind == "pull" and motion.seconds(part.first, part.stop) < _APPROACH_SECONDS
        out.append(Stretch("idle", part.first, part.stop) if quick and hold is not None else part)
    return out


def _in_order(parts: list[Stretch]) -> list[Stretch]:
    """Sorted by time, overlaps given to the part that began first."""
    out: list[Stretch] = []
    for part in sorted(parts, key=lambda p: (p.first, p.kind != "pull")):
        first = max(part.first, out[-1].stop) if out else part.first
        if part.stop > first:
            out.append(Stretch(part.kind, first, part.stop))
    return out


def _without_slivers(motion: Motion, parts: list[Stretch]) -> list[Stretch]:
    """Idle stretches below 0.7 s go to the neighbour they belong to, neighbouring idle stretches become one."""
    short = motion.steps(0.7)
    out: list[Stretch] = []
    for i, part in enumerate(parts):
        following = parts[i + 1].kind if i + 1 < len(parts) else None
        if part.kind == "idle" and part.stop - part.first <= short and len(parts) > 1:
            leading = not out and following is not None and part.stop - part.first <= motion.steps(0.2)
            if following in ("coast_down", "blip", "idle") or leading:
                parts[i + 1] = replace(parts[i + 1], first=part.first)
                continue
            if out and out[-1].kind in ("coast_down", "blip", "idle"):
                out[-1] = Stretch(out[-1].kind, out[-1].first, part.stop)
                continue
        if out and part.kind == "idle" == out[-1].kind:
            out[-1] = Stretch("idle", out[-1].first, part.stop)
        else:
            out.append(part)
    return out
