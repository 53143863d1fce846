"""Types of numpy arrays that kernels take and give; shapes stand in their docstrings."""

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]
