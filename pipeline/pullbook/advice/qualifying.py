"""Which mechanical curve may be advised: one that seldom costs more than the tolerance over the cheapest, of the least advance."""

from dataclasses import dataclass

import numpy as np

from pullbook.advice.curve_shapes import Shapes
from pullbook.advice.free_curve import CHANCE
from pullbook.advice.ground import Ground
from pullbook.advice.parts import Part
from pullbook.arrays import Array, Mask

_CURVES_AT_ONCE = 96
BEYOND_DEG = 0.25
"""Mean degrees: tolerance is not spent on going further than this below what was run."""


@dataclass(frozen=True, slots=True)
class Qualified:
    """``chosen``: the least advance within tolerance; ``cheapest``: least expected loss; one curve each (N = 1).

    ``part`` and ``cheapest_part``: what makes them, None for springs still to be found.
    """

    chosen: Shapes
    cheapest: Shapes
    part: Part | None
    cheapest_part: Part | None


def seldom_dearer(ground: Ground, extra: Array) -> Mask:
    """Whether an extra cost, fraction of torque, (..., D), is above the tolerance in fewer than one draw of ten: (...)."""
    return np.asarray(np.mean(extra > ground.tolerance, axis=-1) < CHANCE)


def excess(ground: Ground, shapes: Shapes, cheapest: Shapes) -> Array:
    """What curves cost over the cheapest (N = 1) in each draw, fraction of torque, (N, D)."""
    base = ground.losses(cheapest.curves(ground.rpm))
    parts = [
        ground.losses(shapes.take(list(range(i, min(i + _CURVES_AT_ONCE, len(shapes))))).curves(ground.rpm))
        for i in range(0, len(shapes), _CURVES_AT_ONCE)
    ]
    return np.concatenate(parts) - base


def first_within(ground: Ground, shapes: Shapes, cheapest: Shapes) -> int:
    """Place of the curve of least mean advance that seldom costs more than the tolerance over the cheapest (N = 1).

    Where none does, that of the curve of least expected loss.
    """
    curves = shapes.curves(ground.rpm)
    reference = cheapest.curves(ground.rpm)
    near = np.flatnonzero(
        (ground.price(curves) <= ground.price(reference)[0] + ground.tolerance)
        & (ground.beyond_tested(curves) <= ground.beyond_tested(reference) + BEYOND_DEG)
    )
    near = near[np.argsort(np.mean(curves[near], axis=1), kind="stable")]
    for i in range(0, len(near), 32):
        batch = near[i : i + 32]
        good = seldom_dearer(ground, excess(ground, shapes.take(batch), cheapest))
        if good.any():
            return int(batch[np.argmax(good)])
    return int(np.argmin(ground.price(curves)))


def may_spend(ground: Ground) -> bool:
    """Whether there is a tolerance to spend: not where the best is likely out of reach above the ceiling over most of the rpm."""
    return bool(np.median(np.mean(ground.posterior.best_deg > ground.ceiling, axis=0)) <= 0.5)
