"""Where a tyre or a clutch slipped: engine speed over roller speed leaving its median by more than one per cent."""

import numpy as np

from pullbook.arrays import Array, Mask
from pullbook.measure.spikes import local_median

SLIP = 0.01


def slipping(rpm: Array, roller_rpm: Array) -> Mask:
    """Samples of a pull taken while the drive slipped.

    Parameters
    ----------
    rpm, roller_rpm
        Shape (n,), rpm; NaN or zero where absent.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where((roller_rpm > 0) & (rpm > 0), rpm / roller_rpm, np.nan)
    known = np.isfinite(ratio)
    out = np.zeros(len(rpm), bool)
    if known.sum() < 20:
        return out
    steady = local_median(ratio[known], 4)
    out[known] = np.abs(steady / np.median(steady) - 1.0) > SLIP
    return out
