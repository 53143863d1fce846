"""Light readings that are not believed: those apart from the rest, and all of them where log and sheet agree against the light."""

from dataclasses import dataclass

import numpy as np

from pullbook.arrays import Array, Mask

MISREAD_DEG = 3.5
"""A light reading this far from most of the others was misread (another cylinder's mark, another setting, the vacuum hose on)."""

MOST_LEFT_OUT = 0.4  # of the readings: where more stand apart, nobody knows which of them are the good ones
TWO_AGAINST_DEG = 4.5  # from log and sheet, which agree to half of that: two witnesses against one
_LEAST_BESIDE = 2  # readings: one alone may stand by the sheet by chance
ASK_DEG = 6.0  # log and light this far apart with nobody to judge: no recorder's offset and delay do that often


@dataclass(frozen=True, slots=True)
class Misread:
    """``off`` (n,): readings not to be believed. ``against``: log minus light, degrees, where log and sheet agree against it.

    ``asked``: log minus light where the two stand far apart and nobody can judge; else None. ``split``: so many readings stand
    apart from the largest group that nobody knows which are the good ones; all are kept.
    """

    off: Mask
    against: float | None = None
    asked: float | None = None
    split: bool = False


def misread(light: Array, sheet: Array) -> Misread:
    """Judge light readings by each other, then by log and sheet.

    Parameters
    ----------
    light
        Log minus light of every reading, degrees, (n,).
    sheet
        Log minus what the sheet says, degrees, a value a setting, (m,); may be empty.

    Returns
    -------
    Misread
        The yardstick is the largest group of readings within :data:`MISREAD_DEG` of one of them: a third of them wrong does
        not drag it along, as it would a mean. Where so many stand apart that nobody knows, the sheet judges between them.
    """
    if not len(light):
        return Misread(np.zeros(0, bool))
    near = np.abs(light[:, None] - light[None, :]) <= MISREAD_DEG
    middle = float(np.median(light[near[int(near.sum(axis=1).argmax())]]))
    off = np.abs(light - middle) > MISREAD_DEG
    told = float(np.median(sheet)) if len(sheet) else np.nan
    beside = np.abs(light - told) <= MISREAD_DEG  # readings that the sheet bears out
    if off.sum() > MOST_LEFT_OUT * len(light):
        judged = _LEAST_BESIDE <= int(beside.sum()) < len(light)
        return Misread(~beside) if judged else Misread(np.zeros(len(light), bool), split=True)
    if abs(middle) > TWO_AGAINST_DEG and abs(told) < abs(middle) / 2 and abs(middle - told) > TWO_AGAINST_DEG:
        return Misread(~beside) if beside.sum() >= _LEAST_BESIDE else Misread(np.ones(len(light), bool), against=middle)
    return Misread(off, asked=middle if abs(middle) > ASK_DEG else None)
