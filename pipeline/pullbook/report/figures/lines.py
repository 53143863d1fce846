"""How a setting is drawn, the same everywhere: the chosen one bold, the baseline dashed, the others in patterns of their own."""

from typing import Any

import numpy as np

from pullbook.arrays import Array
from pullbook.report.style import BASELINE_PATTERN, PAPER, PATTERNS
from pullbook.report.view import DayView

ROW_GAP = 150


def hue_of(shown: DayView, setting: str) -> str:
    """Hue of a setting's words and line."""
    return "up" if setting == shown.chosen else "ink" if setting == shown.baseline else "soft"


def line_of(shown: DayView, setting: str, width: float = 1.0) -> dict[str, Any]:
    """Matplotlib line arguments of a setting, ``width`` times as thick as an ordinary line."""
    if setting == shown.chosen:
        return {"color": PAPER["up"], "lw": 2.4 * width, "ls": "-", "zorder": 5}
    if setting == shown.baseline:
        return {"color": PAPER["ink"], "lw": 1.5 * width, "ls": BASELINE_PATTERN, "zorder": 4}
    others = [s for s in shown.settings if s not in (shown.chosen, shown.baseline)]
    place = others.index(setting) if setting in others else 0
    return {"color": PAPER["soft"], "lw": 1.1 * width, "ls": PATTERNS[place % len(PATTERNS)], "zorder": 3}


def broken(x: Array, *ys: Array) -> tuple[Array, ...]:
    """Lines broken where rpm rows are missing: nothing is drawn where nothing was measured.

    Parameters
    ----------
    x
        Rows, rpm, rising, (n,).
    ys
        What is drawn over them, (n,) each.

    Returns
    -------
    tuple of Array
        ``x`` and ``ys`` with a NaN in every gap, (n + gaps,) each.
    """
    gaps = np.flatnonzero(np.diff(x) > ROW_GAP) + 1
    return tuple(np.insert(v.astype(float), gaps, np.nan) for v in (x, *ys))
