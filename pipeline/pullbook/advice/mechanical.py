"""Search of the curves a distributor can make: the cheapest under the ceiling, then the least advance that costs no more.

A knock cap makes the cost many-valleyed, so the search is wide (thousands of curves priced at once from a table) and then
polished by ever smaller random changes of the best few. With owned springs and stops every combination is tried.
"""

from dataclasses import dataclass, replace
from functools import reduce

import numpy as np

from pullbook.advice.curve_shapes import Shapes, highest_total
from pullbook.advice.free_curve import CHANCE
from pullbook.advice.ground import Ground, rows_of
from pullbook.advice.parts import Part, Parts
from pullbook.arrays import Array, Mask

_WIDE, _POLISH, _KEEP, _ROUNDS = 4000, 480, 24, 9
_RPM_PER_DEG = 40.0  # the steepest a spring lets weights fly: 25° in 1000 rpm
_RISE_RPM = 500.0  # and no spring takes up a rise, however small, in less
_KNEE_WORTH = 0.0003  # a second slope has to earn this much torque, or it is left out
_CURVES_AT_ONCE = 96
_FEW_DRAWS = 64
_AS_RUN_DEG = 1.0
_BEYOND_DEG = 0.25  # tolerance is not spent on going further below what was run


@dataclass(frozen=True, slots=True)
class Found:
    """``chosen``: the least advance within tolerance; ``cheapest``: least expected loss; one curve each (N = 1).

    ``part`` and ``cheapest_part``: what makes them, None for springs still to be found.
    """

    chosen: Shapes
    cheapest: Shapes
    part: Part | None
    cheapest_part: Part | None


def search(ground: Ground, parts: Parts) -> Found:
    """Find the mechanical curve to advise.

    Parameters
    ----------
    ground
        Rows, ceiling and prices of the day.
    parts
        What may be fitted.

    Returns
    -------
    Found
        Monotone curves at or under the ceiling on every row of the day. The chosen one costs more than the tolerance over the
        cheapest in fewer than 10 % of the draws, and among those found has the least mean advance over the rows in use. Where what
        is fitted qualifies, it is the least advance of what is fitted: nobody changes springs for what cannot be measured.

    Notes
    -----
    The same inputs give the same answer: the random numbers start from a fixed state.
    """
    found = _enumerated(ground, parts.owned + parts.fitted, None) if parts.owned else _free(ground, parts)
    if not parts.fitted:
        return found
    kept = _enumerated(ground, parts.fitted, found.cheapest)
    extra = _excess(ground, kept.chosen, found.cheapest)[0]
    if not _seldom_dearer(ground, extra):
        return found
    return replace(kept, cheapest=found.cheapest, cheapest_part=found.cheapest_part)


def as_run(ground: Ground, found: Found, curves: list[Array]) -> Found:
    """The same answer turned to a setting that was run, where one lies within a degree and qualifies: it needs no proof.

    Parameters
    ----------
    ground, found
        The day's rows and the search's answer.
    curves
        Delivered curves of settings run without noted knock, (R,) each.
    """
    mine = found.chosen.curves(ground.rpm)[0]
    best = found
    nearest = _AS_RUN_DEG
    for curve in curves:
        gap = float(np.sqrt(np.mean((curve - mine) ** 2)))
        if not gap < nearest or np.any(curve > ground.ceiling + 0.1):
            continue
        turned = found.chosen.with_total(found.chosen.total + np.mean(curve - mine))
        top = highest_total(turned, ground.limit_rpm, ground.limit_deg)
        turned = turned.with_total(np.minimum(turned.total, top))
        if _seldom_dearer(ground, _excess(ground, turned, found.cheapest)[0]):
            best, nearest = replace(found, chosen=turned), gap
    return best


def _seldom_dearer(ground: Ground, extra: Array) -> Mask:
    """Whether an extra cost, (..., D), is above the tolerance in fewer than one draw of ten."""
    return np.asarray(np.mean(extra > ground.tolerance, axis=-1) < CHANCE)


def _excess(ground: Ground, shapes: Shapes, cheapest: Shapes) -> Array:
    """What curves cost over the cheapest in each draw, (N, D)."""
    base = ground.losses(cheapest.curves(ground.rpm))
    parts = [
        ground.losses(shapes.take(list(range(i, min(i + _CURVES_AT_ONCE, len(shapes))))).curves(ground.rpm))
        for i in range(0, len(shapes), _CURVES_AT_ONCE)
    ]
    return np.concatenate(parts) - base


def _first_within(ground: Ground, shapes: Shapes, cheapest: Shapes) -> int:
    """Index of the curve of least mean advance that seldom costs more than the tolerance over the cheapest."""
    curves = shapes.curves(ground.rpm)
    reference = cheapest.curves(ground.rpm)
    near = np.flatnonzero(
        (ground.price(curves) <= ground.price(reference)[0] + ground.tolerance)
        & (ground.beyond_tested(curves) <= ground.beyond_tested(reference) + _BEYOND_DEG)
    )
    near = near[np.argsort(np.mean(curves[near], axis=1), kind="stable")]
    for i in range(0, len(near), 32):
        batch = near[i : i + 32]
        good = _seldom_dearer(ground, _excess(ground, shapes.take(batch), cheapest))
        if good.any():
            return int(batch[np.argmax(good)])
    return int(np.argmin(ground.price(curves)))


def _enumerated(ground: Ground, parts: tuple[Part, ...], cheapest: Shapes | None) -> Found:
    """Every part at every total in tenths of a degree, from the ceiling down."""
    blocks: list[Shapes] = []
    for part in parts:
        top = _tenths(float(highest_total(part.shape, ground.limit_rpm, ground.limit_deg)[0]))
        low = min(max(float(ground.grid[0]), float(part.shape.stop[0])), top - 8.0)
        totals = np.round(np.arange(top, low - 1e-9, -0.1), 1)
        blocks.append(part.shape.take([0] * len(totals)).with_total(totals))
    every = reduce(Shapes.join, blocks)
    who = np.repeat(np.arange(len(parts)), [len(block) for block in blocks])
    prices = ground.price(every.curves(ground.rpm))
    # a negative initial is no setting while any other will do
    usable = np.flatnonzero(every.total - every.stop >= -1e-9)
    usable = usable if usable.size else np.arange(len(every))
    best = int(usable[np.argmin(prices[usable])])
    reference = every.take([best]) if cheapest is None else cheapest
    least = int(usable[_first_within(ground, every.take(usable), reference)])
    least = least if _may_spend(ground) else best
    return Found(every.take([least]), every.take([best]), parts[who[least]], parts[who[best]])


def _may_spend(ground: Ground) -> bool:
    """Whether there is a tolerance to spend: not where the best is likely out of reach above the ceiling over most of the rpm."""
    return bool(np.median(np.mean(ground.posterior.best_deg > ground.ceiling, axis=0)) <= 0.5)


def _tenths(value: float) -> float:
    return float(np.floor(value * 10.0 + 1e-6) / 10.0)


def _free(ground: Ground, parts: Parts) -> Found:
    """Any springs: wide random search, polish, then the least advance within the tolerance, polished too."""
    random = np.random.default_rng(20_000)
    knees = (False, True)
    best: Shapes | None = None
    pool: Shapes | None = None
    for knee in knees:
        found, seen = _cheapest(ground, parts, random, knee)
        gain = 0.0 if best is None else float(ground.price(best.curves(ground.rpm))[0] - ground.price(found.curves(ground.rpm))[0])
        if best is None or gain > _KNEE_WORTH:
            best = found
            pool = seen if pool is None else pool.join(seen)
    assert best is not None
    assert pool is not None
    chosen = _least(ground, parts, random, pool.join(best), best) if _may_spend(ground) else best
    return Found(chosen, best, None, None)


def _cheapest(ground: Ground, parts: Parts, random: np.random.Generator, knee: bool) -> tuple[Shapes, Shapes]:
    """Cheapest curve found, and the few best seen on the way."""
    seen = _feasible(ground, parts, _random_shapes(ground, parts, random, knee), random.exponential(2.0, _WIDE) - 0.5)
    prices = ground.price(seen.curves(ground.rpm))
    for round_ in range(_ROUNDS):
        keep = np.argsort(prices, kind="stable")[:_KEEP]
        seen, prices = seen.take(keep), prices[keep]
        moved = _moved(ground, parts, seen.take(np.resize(np.arange(len(seen)), _POLISH)), random, 0.5**round_, knee)
        seen, prices = seen.join(moved), np.concatenate([prices, ground.price(moved.curves(ground.rpm))])
    order = np.argsort(prices, kind="stable")
    return seen.take(order[:1]), seen.take(order[:_KEEP])


def _least(ground: Ground, parts: Parts, random: np.random.Generator, pool: Shapes, best: Shapes) -> Shapes:
    """Lower the mean advance while the curve seldom costs more than the tolerance over the cheapest."""
    few = rows_of(ground.posterior, np.ones(len(ground.rpm), bool), draws=_FEW_DRAWS)
    base = np.mean(few.loss(best.curves(ground.rpm)), axis=-1)
    beyond = ground.beyond_tested(best.curves(ground.rpm)) + _BEYOND_DEG
    with_knee = bool(best.knee_at[0] != 0.5)
    for round_ in range(6):
        again = pool.take(np.resize(np.arange(len(pool)), _POLISH // 2))
        moved = _moved(ground, parts, again, random, 0.6**round_, with_knee, lower=True)
        pool = pool.join(moved)
        curves = pool.curves(ground.rpm)
        dear = np.quantile(np.mean(few.loss(curves), axis=-1) - base, 1.0 - CHANCE, axis=1)
        over = np.maximum(dear - ground.tolerance, 0.0) + np.maximum(ground.beyond_tested(curves) - beyond, 0.0) * 1e-2
        pool = pool.take(np.argsort(np.mean(curves, axis=1) + over * 3e4, kind="stable")[:48])
    pool = pool.join(best)
    # the same shapes a little up and down: the chance decides, and it was not in the polish
    ups = np.arange(-1.0, 1.51, 0.25)
    spread = pool.take(np.repeat(np.arange(len(pool)), len(ups)))
    top = highest_total(spread, ground.limit_rpm, ground.limit_deg)
    spread = spread.with_total(np.minimum(spread.total + np.tile(ups, len(pool)), top)).join(best)
    return spread.take([_first_within(ground, spread, best)])


def _random_shapes(ground: Ground, parts: Parts, random: np.random.Generator, knee: bool) -> Shapes:
    n = _WIDE
    stop = random.choice(np.array(parts.stops, float), n) if parts.stops else random.uniform(0.0, 30.0, n)
    lo, hi = _rise_span(ground, parts)
    start = random.uniform(lo, hi, n)
    all_in = start + random.uniform(0.0, 1.0, n) * (hi - start)
    at = random.uniform(0.15, 0.85, n) if knee else np.full(n, 0.5)
    share = random.uniform(0.1, 0.9, n) if knee else np.full(n, 0.5)
    return Shapes(np.zeros(n), stop, start, all_in, at, share)


def _rise_span(ground: Ground, parts: Parts) -> tuple[float, float]:
    return (float(ground.rpm[0]) if parts.inside_only else min(800.0, float(ground.rpm[0]))), float(ground.rpm[-1])


def _feasible(ground: Ground, parts: Parts, shapes: Shapes, below: Array) -> Shapes:
    """Bring shapes inside what springs can do and under the ceiling, ``below`` degrees under the highest total allowed."""
    lo, hi = _rise_span(ground, parts)
    start = np.clip(shapes.start, lo, hi)
    shortest = np.maximum(_RPM_PER_DEG * shapes.stop, _RISE_RPM)
    start = np.minimum(start, np.maximum(hi - shortest, lo))
    all_in = np.maximum(np.minimum(shapes.all_in, hi), start + shortest)
    steady = replace(shapes, start=start, all_in=all_in)
    top = highest_total(steady, ground.limit_rpm, ground.limit_deg)
    total = top - np.maximum(below, 0.0)
    if parts.stops:  # a negative initial is no setting while the ceiling leaves room for another
        total = np.maximum(total, np.minimum(shapes.stop, top))
    return steady.with_total(total)


def _moved(
    ground: Ground, parts: Parts, shapes: Shapes, random: np.random.Generator, scale: float, knee: bool, *, lower: bool = False
) -> Shapes:
    n = len(shapes)
    stop = shapes.stop
    if not parts.stops:
        stop = np.clip(stop + random.normal(0.0, 2.5 * scale, n), 0.0, 35.0)
    start = shapes.start + random.normal(0.0, 350.0 * scale, n)
    all_in = shapes.all_in + random.normal(0.0, 500.0 * scale, n)
    at, share = shapes.knee_at, shapes.knee_share
    if knee:
        at = np.clip(at + random.normal(0.0, 0.15 * scale, n), 0.1, 0.9)
        share = np.clip(share + random.normal(0.0, 0.15 * scale, n), 0.05, 0.95)
    other = Shapes(shapes.total, stop, start, all_in, at, share)
    shift = random.normal(-0.5 * scale if lower else 0.0, 1.0 * scale, n)
    top = highest_total(_feasible(ground, parts, other, np.zeros(n)), ground.limit_rpm, ground.limit_deg)
    return _feasible(ground, parts, other, top - shapes.total - shift)
