"""Search of the curves a distributor can make: the cheapest under the ceiling, then the least advance that costs no more.

With owned springs and stops every combination is tried; else any springs are searched (:mod:`any_springs`).
"""

from dataclasses import replace
from functools import reduce

import numpy as np

from pullbook.advice.any_springs import any_springs
from pullbook.advice.curve_shapes import Shapes, highest_total
from pullbook.advice.ground import Ground
from pullbook.advice.parts import Part, Parts
from pullbook.advice.qualifying import Qualified, excess, first_within, may_spend, seldom_dearer
from pullbook.arrays import Array

_AS_RUN_DEG = 1.0


def search(ground: Ground, parts: Parts) -> Qualified:
    """Find the mechanical curve to advise.

    Parameters
    ----------
    ground
        Rows, ceiling and prices of the day.
    parts
        What may be fitted.

    Returns
    -------
    Qualified
        Monotone curves at or under the ceiling on every row of the day. The chosen one costs more than the tolerance over the
        cheapest in fewer than 10 % of the draws, and among those found has the least mean advance over the rows in use. Where what
        is fitted qualifies, it is the least advance of what is fitted: nobody changes springs for what cannot be measured.

    Notes
    -----
    The same inputs give the same answer: the random numbers start from a fixed state.
    """
    found = _enumerated(ground, parts.owned + parts.fitted, None) if parts.owned else any_springs(ground, parts)
    if not parts.fitted:
        return found
    kept = _enumerated(ground, parts.fitted, found.cheapest)
    extra = excess(ground, kept.chosen, found.cheapest)[0]
    if not seldom_dearer(ground, extra):
        return found
    return replace(kept, cheapest=found.cheapest, cheapest_part=found.cheapest_part)


def as_run(ground: Ground, found: Qualified, curves: list[Array]) -> Qualified:
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
        if seldom_dearer(ground, excess(ground, turned, found.cheapest)[0]):
            best, nearest = replace(found, chosen=turned), gap
    return best


def _enumerated(ground: Ground, parts: tuple[Part, ...], cheapest: Shapes | None) -> Qualified:
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
    least = int(usable[first_within(ground, every.take(usable), reference)])
    least = least if may_spend(ground) else best
    return Qualified(every.take([least]), every.take([best]), parts[who[least]], parts[who[best]])


def _tenths(value: float) -> float:
    return float(np.floor(value * 10.0 + 1e-6) / 10.0)
