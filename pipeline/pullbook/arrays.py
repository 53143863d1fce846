"""Types of numpy arrays that kernels take and give; shapes stand in their docstrings."""

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]


def thinned(values: Array, most: int) -> Array:
    """Evenly picked elements of ``values`` where there are many, shape (≤ 2 · most, …): a view, enough to look at a whole log."""
    return values[:: max(1, len(values) // most)]


def extremes(values: Array) -> tuple[float, float]:
    """Smallest and largest of ``values``, shape (n,), any unit, NaN passed over (inf, -inf where there is none)."""
    if not len(values):
        return np.inf, -np.inf
    low, high = float(values.min()), float(values.max())  # four times as fast as fmin and fmax, which are needed only with NaN
    if low == low:
        return low, high
    return float(np.fmin.reduce(values, initial=np.inf)), float(np.fmax.reduce(values, initial=-np.inf))
