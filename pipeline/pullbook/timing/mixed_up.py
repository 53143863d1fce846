"""Labels on the wrong pulls: two exchanged, or the sheet's rows one too high or too low. Found from the logs, never moved."""

from collections.abc import Mapping, Sequence
from itertools import combinations

import numpy as np
import polars as pl

from pullbook.arrays import Array

APART_DEG = 0.75
"""A pull that ran this far from its setting's other pulls, on average, was not that setting."""

_SHEET_DEG = 2.0  # a log's top further off its sheet than the others' are: another setting ran
_TOP_ROWS = 5
_LEAST = 2  # pulls of one label that fit one another once the labels are put right: one pair is no evidence of an order


def mixed_up(table: pl.DataFrame, totals: Mapping[str, float | None], called: Mapping[str, str]) -> tuple[str, set[str]] | None:
    """The question whether labels stand on the wrong pulls, and the pulls it speaks of; None where no one exchange explains it.

    Parameters
    ----------
    table
        Logged advance: ``pull_id, setting, rpm, a`` (degrees), pulls in the order run.
    totals
        What the sheet says of each setting at the top, degrees; None where it does not.
    called
        A pull's name in words.

    Notes
    -----
    An order of labels fits where all pulls of one label ran alike and every label's top stands off its sheet as the others' do.
    One exchange of two labels, or all of them moved by one row, is looked for; anything else is asked pull by pull.
    """
    pulls = table["pull_id"].unique(maintain_order=True).to_list()
    labels = [table.filter(pl.col("pull_id") == p)["setting"][0] for p in pulls]
    if len(pulls) < 4 or len(set(labels)) < 2:
        return None
    curves = table.pivot(on="pull_id", index="rpm", values="a", aggregate_function="mean").sort("rpm")
    logged = np.stack([curves[p].to_numpy().astype(float) for p in pulls])
    told = {s: t for s, t in totals.items() if t is not None}
    ran = _Ran(logged, told)
    if ran.misfits(labels) == 0:
        return None
    swaps = [(i, j) for i, j in combinations(range(len(pulls)), 2) if labels[i] != labels[j]]
    fitting = [(i, j) for i, j in swaps if ran.fits(_swapped(labels, i, j))]
    if len(fitting) == 1:
        i, j = fitting[0]
        one, other = called[pulls[i]], called[pulls[j]]
        return (
            f"{one} logged what {labels[j]!r} runs, and {other} what {labels[i]!r} runs: were their labels exchanged (pull sheet, "
            "column `setting`)? Until then each counts with its own log.",
            {pulls[i], pulls[j]},
        )
    for step, where in ((1, "low"), (-1, "high")):  # labels of pull i stand in the row of pull i + step
        moved: list[str | None] = [labels[i + step] if 0 <= i + step < len(labels) else None for i in range(len(labels))]
        if not fitting and ran.fits(moved):
            wrong = {p for p, a, b in zip(pulls, labels, moved, strict=True) if a != b}
            return (
                f"The logs fit the sheet if its labels stand one row too {where}: was a row slipped or left out (pull sheet, "
                f"column `setting`)? As written {len(wrong)} of {len(pulls)} pulls did not run what they are called; until then "
                "each counts with its own log.",
                wrong,
            )
    return None


def _swapped(labels: Sequence[str], i: int, j: int) -> list[str | None]:
    out: list[str | None] = list(labels)
    out[i], out[j] = labels[j], labels[i]
    return out


class _Ran:
    """What the pulls ran: how far their logs (P, R), NaN where not run, lie from one another, and where their tops are."""

    def __init__(self, logged: Array, totals: Mapping[str, float]) -> None:
        count = len(logged)
        self.totals = totals
        self.apart = np.full((count, count), np.nan)
        for i, j in combinations(range(count), 2):
            gap = logged[i] - logged[j]
            if np.isfinite(gap).sum() >= _TOP_ROWS:
                self.apart[i, j] = self.apart[j, i] = abs(float(np.nanmean(gap)))
        self.top = np.array(
            [float(np.mean(one[np.isfinite(one)][-_TOP_ROWS:])) if np.isfinite(one).any() else np.nan for one in logged]
        )

    def _pairs(self, labels: Sequence[str | None]) -> Array:
        """How far the two pulls of every pair of one label ran apart."""
        same = [(i, j) for i, j in combinations(range(len(labels)), 2) if labels[i] is not None and labels[i] == labels[j]]
        return np.array([self.apart[i, j] for i, j in same])

    def misfits(self, labels: Sequence[str | None]) -> int:
        """Pairs of one label that ran apart, and pulls whose top stands off the sheet as most others' do not."""
        told = [(self.totals[s], t) for s, t in zip(labels, self.top, strict=True) if s is not None and s in self.totals]
        off = np.array([total - top for total, top in told])
        away = np.abs(off - np.median(off)) > _SHEET_DEG if len(off) else np.zeros(0, bool)
        return int(np.sum(self._pairs(labels) > APART_DEG)) + int(away.sum())

    def fits(self, labels: Sequence[str | None]) -> bool:
        """Whether nothing is at odds any more, and enough of the pulls say so."""
        known = int(np.isfinite(self._pairs(labels)).sum()) + sum(s in self.totals for s in labels)
        return known >= _LEAST and self.misfits(labels) == 0
