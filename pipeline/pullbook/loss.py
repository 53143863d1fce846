"""What running off the best advance costs: the hill's one formula, wherever it is asked."""

import numpy as np

from pullbook.arrays import Array

LONGEST = 3.0
"""``skew · d`` is held within this: a search or a draw that strays stays finite."""


def loss(off_deg: Array, k: Array, skew: Array) -> Array:
    """Loss, fraction ≥ 0 of the best torque, of running ``off_deg`` above (or below) the best: ``k·d²·exp(skew·d)``.

    Parameters
    ----------
    off_deg, k, skew
        Crank degrees, 1/deg² and 1/deg; the last two of shapes that broadcast to the first's, which is the answer's.

    Source: a parabola near its top, as published torque against spark has it (docs/method.md; tests/outside, row M1), leaning.

    Examples
    --------
    >>> loss(np.array([0.0, 10.0]), np.array(3e-4), np.array(0.0)).tolist()
    [0.0, 0.03]
    """
    out = np.asarray(skew * off_deg)
    np.clip(out, -LONGEST, LONGEST, out=out)  # in one place: thousands of draws stand here, and room is dearer than sums
    np.exp(out, out=out)
    out *= off_deg
    out *= off_deg
    out *= k
    return out
