"""What the draws of the hill say, row by row: where the best lies, how sure, and the least advance that costs nothing to speak of.

Every answer is a decision by expected loss or by a share of the draws; none is read off the mean hill.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl

from pullbook.arrays import Array
from pullbook.columns import BEST, conform
from pullbook.handover import Posterior
from pullbook.loss import loss

EDGE_DEG = 0.5  # the best may lie this far outside what was tested and still be called inside
INSIDE, BEYOND = 0.75, 0.85
FAR_DEG, FAR_CHANCE, BESIDE_FAR_CHANCE = 3.0, 0.005, 0.02  # and never where it may well lie this far outside
BESIDE_RPM = 200
STRETCH = 1.5  # … were the draws half as wide again: no engine is quite of the form the hill has, and tails show it first
WIDEST_DEG = 15.0  # a range wider than this, most of it doubt about what the settings delivered, places nothing
APART_DEG = 1.0  # settings closer than this cannot say which way the best lies
GRID_DEG = 0.1
LIKELIEST_SHARE = 0.55  # of the best said: draws spread outwards, where the hill is known least; its top leans inwards


@dataclass(frozen=True, slots=True)
class RowAnswer:
    """One row of BEST without its torque, cap and tested edges; true crank degrees BTDC, None where the day does not tell.

    ``best`` with its 90 % interval ``lo`` to ``hi``; ``band_lo`` to ``band_hi``: within tolerance; ``least``: least advance inside.
    """

    state: str
    best: float | None = None
    lo: float | None = None
    hi: float | None = None
    band_lo: float | None = None
    band_hi: float | None = None
    least: float | None = None


def state_of(best: Array, tested_lo: float, tested_hi: float, beside: float = 0.0) -> str:
    """Where the best advance lies against what was tested.

    Parameters
    ----------
    best
        Draws of best advance at one row, degrees on the delivered scale, (D,).
    tested_lo, tested_hi
        Least and most advance run at the row, degrees on the same scale; NaN where nothing was.
    beside
        Greatest :func:`far_chance` of the rows next to it.

    Returns
    -------
    str
        ``inside``, ``above_tested``, ``below_tested``, ``flat`` (it cannot be placed) or ``untested``.
    """
    if not np.isfinite(tested_lo):
        return "untested"
    if tested_hi - tested_lo < APART_DEG:
        return "flat"
    below = float(np.mean(best <= tested_lo - EDGE_DEG))
    above = float(np.mean(best >= tested_hi + EDGE_DEG))
    within_reach = far_chance(best, tested_lo, tested_hi) < FAR_CHANCE and beside < BESIDE_FAR_CHANCE
    if 1.0 - below - above >= INSIDE and within_reach:
        return "inside"
    if above >= BEYOND:
        return "above_tested"
    if below >= BEYOND:
        return "below_tested"
    return "flat"


def far_chance(best: Array, tested_lo: float, tested_hi: float) -> float:
    """Chance that the best, draws (D,) in degrees, stretched, lies over :data:`FAR_DEG` outside what was tested; 0 untested."""
    middle = float(np.median(best))
    stretched = middle + STRETCH * (best - middle)
    return float(np.mean((stretched < tested_lo - FAR_DEG) | (stretched > tested_hi + FAR_DEG)))


def _far_beside(posterior: Posterior, row: int) -> float:
    """The greatest such chance within :data:`BESIDE_RPM`: a best on its way out has mostly left sooner than the draws say."""
    near = np.flatnonzero(np.abs(posterior.rpm - posterior.rpm[row]) <= BESIDE_RPM)
    return max(far_chance(posterior.best_deg[:, i], posterior.tested_lo_deg[i], posterior.tested_hi_deg[i]) for i in near)


def _number(value: float) -> float:
    return round(float(value), 2)


def answer_row(posterior: Posterior, row: int, tolerance: float) -> RowAnswer:
    """Answer one rpm row.

    Parameters
    ----------
    posterior
        Draws of the day.
    row
        Index of the rpm row.
    tolerance
        Loss (fraction) that is not worth an argument.
    """
    best, k = posterior.best_deg[:, row], posterior.k[:, row]
    tested_lo, tested_hi = float(posterior.tested_lo_deg[row]), float(posterior.tested_hi_deg[row])
    state = state_of(best, tested_lo, tested_hi, _far_beside(posterior, row))
    if state == "untested":
        return RowAnswer(state)
    true = best if posterior.scale_deg is None else best + posterior.scale_deg[:, row]
    lo, hi = np.quantile(true, [0.05, 0.95])
    if state == "inside" and hi - lo > WIDEST_DEG:
        state = "flat"
    inside = state == "inside"
    edge = EDGE_DEG if inside else 0.0
    grid = np.arange(tested_lo - edge, tested_hi + edge + GRID_DEG / 2, GRID_DEG)
    lost = loss(grid[:, None] - best, k, posterior.skew)
    expected = lost.mean(axis=1)
    at = int(np.argmin(expected))
    qualifies = np.flatnonzero(np.count_nonzero(lost > tolerance, axis=1) < 0.10 * len(best))
    least = grid[qualifies[0]] if len(qualifies) else (grid[at] if state != "flat" else None)
    least = None if least is None else _number(least)
    if inside:
        lower, upper = _band(best, k, posterior.skew, tolerance)
        said = _cheapest(grid, expected, at)
        if posterior.likeliest_deg is not None:
            said += LIKELIEST_SHARE * (float(posterior.likeliest_deg[row]) - said)
        said = float(np.clip(said, max(lo, grid[0]), min(hi, grid[-1])))
        return RowAnswer(state, _number(said), _number(lo), _number(hi), _number(lower), _number(upper), least)
    if state == "above_tested":
        doubt = float(np.mean(best <= tested_hi))
        return RowAnswer(state, lo=_number(np.quantile(true, _tail(doubt))), least=least)
    if state == "below_tested":
        doubt = float(np.mean(best >= tested_lo))
        return RowAnswer(state, hi=_number(np.quantile(true, 1 - _tail(doubt))), least=least)
    return RowAnswer(state, least=least)


def _tail(doubt: float) -> float:
    """Share of the draws left beyond a one-sided bound: half a tenth, less where the label itself is in doubt.

    A day that does bracket the best says "above what was tested" of a row exactly where chance has put its estimate high.
    """
    return max(0.05 - 0.3 * doubt, 0.02)


def _cheapest(grid: Array, expected: Array, at: int) -> float:
    """Least expected loss between grid points, by the parabola through three of them."""
    if not 0 < at < len(grid) - 1:
        return float(grid[at])
    a, b, c = expected[at - 1 : at + 2]
    bend = a - 2 * b + c
    return float(grid[at] + (0.5 * (a - c) / bend * GRID_DEG if bend > 0 else 0.0))


def _band(best: Array, k: Array, skew: Array, tolerance: float) -> tuple[float, float]:
    """Edges of the advances within ``tolerance`` of the best: medians over the draws of each draw's own edges.

    The skewed hill is inverted by a few Newton-like steps from the parabola's own edges.
    """
    half = np.sqrt(tolerance / k)
    edges = []
    for side in (-1.0, 1.0):
        d = side * half
        for _ in range(8):
            d = side * half * np.exp(np.clip(-0.5 * skew * d, -1.0, 1.0))
        edges.append(float(np.median(best + d)))
    return edges[0], edges[1]


def best_table(
    posterior: Posterior | None, rpm: list[int], caps: dict[int, float], tolerance: float, tested: dict[int, tuple[float, float]]
) -> pl.DataFrame:
    """BEST, one row for each of ``rpm``.

    Parameters
    ----------
    posterior
        None where no hill could be drawn: every row is then ``flat`` where something was run, else ``untested``.
    caps
        Knock cap by rpm, degrees.
    tested
        Least and most advance run, by rpm.
    """
    place = {} if posterior is None else {int(n): i for i, n in enumerate(posterior.rpm)}
    rows = []
    for n in rpm:
        lo, hi = tested.get(n, (None, None))
        if posterior is not None and n in place:
            answer = answer_row(posterior, place[n], tolerance)
            if answer.state == "untested" and lo is not None:  # one pull alone reached this row: run, but nothing to compare
                answer = RowAnswer("flat")
        else:
            answer = RowAnswer("untested" if lo is None else "flat")
        torque = None
        if posterior is not None and answer.state == "inside":
            torque = round(float(np.exp(np.median(posterior.log_torque[:, place[n]]))), 2)
        rows.append({
            "rpm": n, "best_deg": answer.best, "lo_deg": answer.lo, "hi_deg": answer.hi, "state": answer.state,
            "tested_lo_deg": None if lo is None else _number(lo), "tested_hi_deg": None if hi is None else _number(hi),
            "band_lo_deg": answer.band_lo, "band_hi_deg": answer.band_hi, "best_torque_nm": torque, "least_deg": answer.least,
            "knock_cap_deg": None if n not in caps else _number(caps[n]),
        })  # fmt: skip
    return conform(pl.DataFrame(rows, infer_schema_length=None), BEST) if rows else pl.DataFrame(schema=BEST)
