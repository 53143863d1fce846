"""Spikes in a speed trace: single samples or short bursts that no crankshaft could follow (missed or doubled teeth, dropouts)."""

import numpy as np
import polars as pl

from pullbook.arrays import Array, Mask
from pullbook.measure.normal import MAD_TO_SD

_BLOCK = 8_192  # windows sorted at a time: a long log must not be held in memory once for each sample of the window


def local_median(values: Array, half_width: int) -> Array:
    """Median over ``2 * half_width + 1`` samples about each sample, ends repeated; NaN is passed over.

    Parameters
    ----------
    values
        Shape (n,), any unit.
    half_width
        Samples to either side, ≥ 0.

    Returns
    -------
    Array
        Shape (n,); NaN only where a whole window is NaN.
    """
    if half_width == 0 or not len(values):
        return values.astype(float)
    padded = np.pad(values.astype(float), half_width, mode="edge")
    if not np.isnan(padded).any():
        windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * half_width + 1)
        blocks = [windows[i : i + _BLOCK] for i in range(0, len(windows), _BLOCK)]
        return np.concatenate([np.partition(block, half_width, axis=1)[:, half_width] for block in blocks])
    rolled = pl.Series(padded, nan_to_null=True).rolling_median(2 * half_width + 1, center=True, min_samples=1)
    return np.asarray(rolled.to_numpy()[half_width:-half_width], dtype=np.float64)


def spikes(values: Array, *, half_width: int = 3, sigmas: float = 5.0, least: float = 150.0, share: float = 0.04) -> Mask:
    """Samples that stand off their neighbours' median by more than their scatter explains.

    Parameters
    ----------
    values
        Shape (n,), rpm; NaN is never a spike.
    half_width
        Samples to either side of the window.
    sigmas
        Limit in robust standard deviations (1.4826 · median absolute deviation).
    least, share
        A spike is also further off than ``least`` rpm and than ``share`` of the local level, so that a quiet trace is not eaten.

    Notes
    -----
    On a steady sweep the median of a window is its middle, so a sweep is no spike however fast. At the top of a sweep logged
    at 1 Hz the scatter within the window is large and the top stays.

    Source: Hampel F. R., 1974, J. Am. Stat. Assoc. 69, 383-393 (the identifier built on median and median deviation).
    """
    middle = local_median(values, half_width)
    off = np.abs(values - middle)
    scatter = MAD_TO_SD * local_median(off, half_width)
    with np.errstate(invalid="ignore"):
        found = off > np.maximum(np.maximum(sigmas * scatter, least), share * np.abs(middle))
    return np.asarray(found, dtype=np.bool_)


def torque_spikes(torque: Array) -> Mask:
    """Samples of a pull's torque, N·m, shape (n,), that stand off their neighbours by more than their scatter and a tenth."""
    return spikes(torque, least=5.0, sigmas=8.0, share=0.1)


def without_spikes(values: Array, **limits: float) -> Array:
    """``values`` with spikes made NaN; ``limits`` as in :func:`spikes`.

    Parameters
    ----------
    values
        Shape (n,), as for :func:`spikes`.

    Returns
    -------
    Array
        Shape (n,).
    """
    return np.where(spikes(values, **limits), np.nan, values)  # type: ignore[arg-type]
