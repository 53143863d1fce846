"""Types of numpy arrays that kernels take and give; shapes stand in their docstrings."""

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]


def thinned(values: Array, most: int) -> Array:
    """Evenly picked elements of ``values`` where there are many, shape (≤ 2 · most, …): a view, enough to look at a whole log."""
    return values[:: max(1, len(values) // most)]
