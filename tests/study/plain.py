"""Three plain ways of reading the same pulls, for comparison: what a careful person does with a spreadsheet or a general library.

All three get what the model of the day gets: aligned, air-corrected rows and the same estimate of delivered advance. None knows of
pull offsets, drift or the shape of a hill over rpm.
"""

import warnings
from dataclasses import dataclass, field

import numpy as np

from pullbook.arrays import Array
from pullbook.hill.day_table import DayTable

METHODS = ("highest_bin", "parabola", "gaussian_process")
GRID_DEG = 0.25


@dataclass(frozen=True, slots=True)
class PlainAnswer:
    """Best advance per row with a 90 % interval (NaN: none given), and whole-span effects ``{setting: (change, lo, hi)}`` in %."""

    best: Array
    lo: Array
    hi: Array
    effects: dict[str, tuple[float, float, float]] = field(default_factory=dict)


def highest_bin(table: DayTable, baseline: str) -> PlainAnswer:
    """Average the pulls of each setting in 100-rpm bins; the setting that pulls most is the best advance.

    Effects are differences of the settings' mean pulls with Student's interval from the pooled scatter of repeats.
    """
    from scipy import stats

    torque = np.exp(table.ln_torque)
    names = table.settings()
    mean, advance = [], []
    for name in names:
        run = table.mask_of(name)
        count = run.sum(axis=0)
        mean.append(np.where(count > 0, np.where(run, torque, 0).sum(axis=0) / np.maximum(count, 1), -np.inf))
        advance.append(table.setting_advance()[name])
    top = np.argmax(mean, axis=0)
    best = np.array(advance)[top, np.arange(len(table.rpm))]
    level = np.array([np.mean(table.ln_torque[i][table.present[i]]) for i in range(len(table.pull_id))])
    of = np.array(table.setting)
    left = sum(int((of == n).sum()) - 1 for n in names)
    scatter = sum(float(((level[of == n] - level[of == n].mean()) ** 2).sum()) for n in names)
    effects = {}
    for name in names:
        if name == baseline or left < 1:
            continue
        change = level[of == name].mean() - level[of == baseline].mean()
        half = stats.t.ppf(0.95, left) * np.sqrt(scatter / left * (1 / (of == name).sum() + 1 / (of == baseline).sum()))
        effects[name] = (100 * np.expm1(change), 100 * np.expm1(change - half), 100 * np.expm1(change + half))
    none = np.full(len(best), np.nan)
    return PlainAnswer(best, none, none.copy(), effects)


def parabola(table: DayTable) -> PlainAnswer:
    """Least-squares parabola of torque over advance in each bin; its vertex with Fieller's 90 % set, where it is a top inside
    what was tested (half a degree of grace) and the set is an interval."""
    from tests.study.parabola import fit_parabola

    rows = len(table.rpm)
    best, lo, hi = np.full(rows, np.nan), np.full(rows, np.nan), np.full(rows, np.nan)
    for r in range(rows):
        run = table.present[:, r]
        advance, torque = table.advance[run, r], np.exp(table.ln_torque[run, r])
        if len(np.unique(advance.round(1))) < 3 or len(advance) < 4:
            continue
        fit = fit_parabola(advance, torque)
        if fit.bend >= 0 or not advance.min() - 0.5 <= fit.vertex <= advance.max() + 0.5:
            continue
        best[r] = fit.vertex
        ends = fit.fieller(0.90)
        if ends is not None:
            lo[r], hi[r] = ends
    return PlainAnswer(best, lo, hi)


def gaussian_process(table: DayTable, number: int) -> PlainAnswer:
    """A general Gaussian-process regression of torque over rpm and advance: squared-exponential, lengths and noise by maximum
    likelihood; the best is where drawn surfaces peak between the advances tested."""
    from sklearn.exceptions import ConvergenceWarning
    from sklearn.gaussian_process import GaussianProcessRegressor
    from sklearn.gaussian_process.kernels import RBF, ConstantKernel, WhiteKernel

    every = max(1, round(table.present.sum() / 120))
    pull, row = np.nonzero(table.present)
    keep = (row + pull) % every == 0
    pull, row = pull[keep], row[keep]
    torque = np.exp(table.ln_torque[pull, row])
    x = np.column_stack([table.rpm[row] / 1000.0, table.advance[pull, row] / 10.0])
    kernel = ConstantKernel(1.0, (1e-2, 1e3)) * RBF([1.0, 1.0], (0.1, 20.0)) + WhiteKernel(0.01, (1e-5, 1.0))
    fit = GaussianProcessRegressor(kernel, normalize_y=True, random_state=0)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ConvergenceWarning)
        fit.fit(x, torque)
    rows = len(table.rpm)
    best, lo, hi = np.full(rows, np.nan), np.full(rows, np.nan), np.full(rows, np.nan)
    for r in range(rows):
        run = table.present[:, r]
        if run.sum() < 2 or np.ptp(table.advance[run, r]) < 1.0:
            continue
        grid = np.arange(table.advance[run, r].min(), table.advance[run, r].max() + GRID_DEG / 2, GRID_DEG)
        at = np.column_stack([np.full(len(grid), table.rpm[r] / 1000.0), grid / 10.0])
        mean, cov = fit.predict(at, return_cov=True)
        draws = np.random.default_rng([number, r]).multivariate_normal(mean, cov, 200, check_valid="ignore", method="svd")
        tops = grid[draws.argmax(axis=1)]
        best[r] = grid[mean.argmax()]
        lo[r], hi[r] = np.quantile(tops, [0.05, 0.95])
    return PlainAnswer(best, lo, hi)
