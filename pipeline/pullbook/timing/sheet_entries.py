"""What the operator believes was set, a setting at a time, and what to do where rows of one label say different things."""

import re
from dataclasses import dataclass

import numpy as np
import polars as pl

from pullbook.alignment.pull_words import pull_words
from pullbook.timing.logged import LoggedCurve

_SAME_DEG = 0.05
_SLIP_DEG = 2.0  # more than a hand on the distributor: a slip of the pen, or another setting
_NUMBER = re.compile(r"[+-]?\d+(?:[.,]\d+)?")


@dataclass(frozen=True, slots=True)
class SheetEntry:
    """What the operator believes was set, crank degrees BTDC; None where not written."""

    initial_deg: float | None
    total_deg: float | None

    @property
    def rise_deg(self) -> float | None:
        """What the parts add: total less initial, crank degrees; None where not both are written."""
        return None if self.initial_deg is None or self.total_deg is None else self.total_deg - self.initial_deg

    @property
    def locked(self) -> bool | None:
        """Whether initial and total are one; None where not both are written."""
        return None if self.rise_deg is None else abs(self.rise_deg) < _SAME_DEG


def sheet_entry(pulls: pl.DataFrame, setting: str, curve: LoggedCurve | None) -> tuple[SheetEntry, list[str], list[str]]:
    """One setting's initial and total, with questions and warnings where its rows differ.

    Parameters
    ----------
    pulls
        ALIGNED_PULLS of the setting.
    setting
        Its label: a number in it says which of two totals is meant.
    curve
        Its logged advance, which says so where the label does not; None without one.

    Returns
    -------
    tuple
        The entry; questions; warnings.
    """
    questions: list[str] = []
    warnings: list[str] = []
    values: list[float | None] = []
    for name in ("initial_deg", "total_deg"):
        written = pulls.drop_nulls(name)
        numbers = written[name].to_numpy()
        values.append(float(np.median(numbers)) if len(numbers) else None)
        if not len(numbers) or float(np.ptp(numbers)) <= _SAME_DEG:
            continue
        word = name.split("_")[0]
        if name != "total_deg" or float(np.ptp(numbers)) <= _SLIP_DEG:
            warnings.append(f"{setting}: the sheet's {word} differs between pulls of this setting; the median is taken")
            continue
        called = pull_words(pulls)
        said = ", ".join(f"{v:g}° for {called[p]}" for p, v in written.select("pull_id", name).iter_rows())
        chosen, why = _which(sorted(set(numbers.tolist())), setting, curve)
        taken = f"{chosen:g}° is taken, {why}" if chosen is not None else "the median is taken, for nothing tells"
        values[-1] = chosen if chosen is not None else values[-1]
        questions.append(f"{setting}: the sheet gives one label several totals ({said}): which row is wrong? {taken}")
    return SheetEntry(values[0], values[1]), questions, warnings


def _which(totals: list[float], setting: str, curve: LoggedCurve | None) -> tuple[float | None, str]:
    """The total that the label or the log confirms, and in what words; None where neither tells."""
    in_label = [abs(float(n.replace(",", "."))) for n in _NUMBER.findall(setting)]
    named = [t for t in totals if any(abs(t - n) <= _SAME_DEG for n in in_label)]
    if len(named) == 1:
        return named[0], "as the label says"
    if curve is None:
        return None, ""
    top = float(np.max(curve.advance_deg))
    near = sorted(totals, key=lambda t: abs(t - top))
    if abs(near[1] - top) - abs(near[0] - top) > _SLIP_DEG:
        return near[0], "as the log has it"
    return None, ""
