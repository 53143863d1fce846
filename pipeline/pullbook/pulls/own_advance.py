"""The advance a stretch of a log ran by its own channel, and how far two of them lie apart."""

from collections.abc import Sequence

import numpy as np
import polars as pl

from pullbook.columns import ADVANCES, holds

SAME_DEG = 0.6
"""Root mean square difference up to which two stretches ran one advance."""
_BIN_RPM = 250.0

Curve = dict[int, float]
"""Median logged advance (degrees) by 250 rpm."""


def logged_curve(samples: pl.DataFrame) -> Curve | None:
    """Median logged advance by 250 rpm, or None where none was logged.

    Parameters
    ----------
    samples
        ``rpm`` (1/min) and a channel of advance (degrees BTDC), where the log has them.
    """
    name = next((c for c in ADVANCES if holds(samples, c)), None)
    if name is None or "rpm" not in samples.columns:
        return None
    known = samples.select("rpm", name).drop_nulls()
    rpm, advance = (known[c].cast(float).to_numpy() for c in ("rpm", name))
    bins = np.rint(rpm / _BIN_RPM).astype(int)
    return {int(b): float(np.median(advance[bins == b])) for b in np.unique(bins)} or None


def apart_deg(a: Curve, b: Curve) -> float | None:
    """Root mean square difference of two curves where both were run, degrees; None where they share no speed."""
    common = sorted(a.keys() & b.keys())
    if len(common) > 4:
        common = common[1:-1]
    return float(np.sqrt(np.mean([(a[c] - b[c]) ** 2 for c in common]))) if common else None


def is_step(own: Curve | None, others: Sequence[Curve | None]) -> bool:
    """Whether a hold is a step of a spark sweep: another hold at its speed ran another advance."""
    if own is None:
        return False
    apart = [d for c in others if c is not None and (d := apart_deg(own, c)) is not None]
    return bool(apart) and max(apart) > SAME_DEG
