"""A hand-made day as a table: a plain hill, settings far apart, offsets drawn."""

import numpy as np

from pullbook.hill.day_table import DayTable


def table(
    settings: list[float],
    *,
    best: float = 33.0,
    k: float = 2.5e-4,
    sd: float = 0.004,
    drift: float = 0.0,
    rows: int = 12,
    number: int = 0,
    slope: float = 0.0,
) -> DayTable:
    """Pulls at these advances in this order; ``slope`` of the best in ° per 1000 rpm; white noise of 0.05 %."""
    rng = np.random.default_rng([number, 5])
    rpm = 3000 + 100 * np.arange(rows)
    advance = np.repeat(np.array(settings)[:, None], rows, axis=1)
    m = best + slope * (rpm - rpm.mean()) / 1000.0
    order = np.arange(len(settings), dtype=float)
    level = sd * rng.standard_normal(len(settings)) + drift * order
    ln_torque = np.log(300.0 * (1 - k * (advance - m) ** 2)) + level[:, None] + 5e-4 * rng.standard_normal(advance.shape)
    return DayTable(
        tuple(f"p{i}" for i in range(len(settings))), tuple(f"{a:g}" for a in settings), order, rpm, ln_torque,
        np.full(advance.shape, 5e-4**2), advance, np.zeros((*advance.shape, 0)), np.ones(advance.shape, bool),
    )  # fmt: skip
