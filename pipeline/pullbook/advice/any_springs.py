"""The mechanical curve where any springs may be found: a wide random search, polished, then the least advance within tolerance.

A knock cap makes the cost many-valleyed, so thousands of curves are priced at once from a table, and the best few are changed at
random in ever smaller steps.
"""

from dataclasses import replace

import numpy as np

from pullbook.advice.curve_shapes import Shapes, highest_total
from pullbook.advice.free_curve import CHANCE
from pullbook.advice.ground import Ground, some_rows
from pullbook.advice.parts import Parts
from pullbook.advice.qualifying import BEYOND_DEG, Qualified, first_within, may_spend
from pullbook.arrays import Array

_WIDE, _POLISH, _KEEP, _ROUNDS = 4000, 480, 24, 9
_RPM_PER_DEG = 40.0  # the steepest a spring lets weights fly: 25° in 1000 rpm
_RISE_RPM = 500.0  # and no spring takes up a rise, however small, in less
_KNEE_WORTH = 0.0003  # a second slope has to earn this much torque, or it is left out
_FEW_DRAWS = 64


def any_springs(ground: Ground, parts: Parts) -> Qualified:
    """The curve to advise of all that springs can make.

    Parameters
    ----------
    ground
        Rows, ceiling and prices of the day.
    parts
        Stops the springs may be set on (none: any), and whether the rise must lie inside the tested rpm.

    Returns
    -------
    Qualified
        ``part`` and ``cheapest_part`` None: the springs are still to be found. The same inputs give the same answer: the random
        numbers start from a fixed state.
    """
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
    chosen = _least(ground, parts, random, pool.join(best), best) if may_spend(ground) else best
    return Qualified(chosen, best, None, None)


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
    few = some_rows(ground.posterior, np.ones(len(ground.rpm), bool), draws=_FEW_DRAWS)
    base = np.mean(few.loss(best.curves(ground.rpm)), axis=-1)
    beyond = ground.beyond_tested(best.curves(ground.rpm)) + BEYOND_DEG
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
    return spread.take([first_within(ground, spread, best)])


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
