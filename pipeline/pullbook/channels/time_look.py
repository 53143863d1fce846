"""How a column looks that may hold time: whether it climbs, evenly, in whole numbers, one by one."""

import numpy as np

from pullbook.arrays import Array

_LOOKED_AT = 40_000


def _known(values: Array | None) -> Array:
    """What the first rows hold, the missing left out: enough to see how a column looks."""
    return np.zeros(0) if values is None else values[:_LOOKED_AT][np.isfinite(values[:_LOOKED_AT])]


def climbs(values: Array | None) -> bool:
    """Whether a column mostly climbs.

    Parameters
    ----------
    values
        Shape (n,), any unit, NaN where missing; None: no numbers.
    """
    steps = np.diff(_known(values))
    return len(steps) > 0 and float(np.mean(steps >= 0)) > 0.7 and float(np.mean(steps > 0)) > 0.02


def climbs_evenly(values: Array | None) -> bool:
    """Whether a column climbs in even steps.

    Parameters
    ----------
    values
        Shape (n,), any unit, NaN where missing; None: no numbers.
    """
    if not climbs(values):
        return False
    steps = np.diff(_known(values))
    steps = steps[steps > 0]
    middle = float(np.median(steps))
    return len(steps) > 3 and float(np.mean(np.abs(steps - middle) < 0.25 * middle + 1e-12)) > 0.9


def is_whole(values: Array | None) -> bool:
    """Whether a column holds whole numbers alone.

    Parameters
    ----------
    values
        Shape (n,), any unit, NaN where missing; None: no numbers.
    """
    known = _known(values)
    return bool(np.all(known == np.round(known)))


def counts_rows(values: Array | None) -> bool:
    """Whether a column counts one, two, three.

    Parameters
    ----------
    values
        Shape (n,), any unit, NaN where missing; None: no numbers.
    """
    known = _known(values)
    return len(known) > 1 and is_whole(values) and float(np.median(np.diff(known))) == 1.0


def runs_on(values: Array) -> bool:
    """Whether no step of ``values``, shape (n,), NaN passed over, leads back, but for one in fifty (restarts, midnight)."""
    steps = np.diff(values[np.isfinite(values)])
    return len(steps) > 0 and float(np.mean(steps < 0)) < 0.02
