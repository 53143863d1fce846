"""Interval honesty on a published torque regression (outside check M1e): 86–94 % of the 90 % intervals must hold the true best.

Five settings 18, 23, 28, 32 and 35°, torque from the regression at 1000, 3000 and 5000 rpm, one independent normal draw of 0.5 % of
peak torque a pull common to all its rows. Source: Crossley and Cook, IEE Control '91, as carried by the Modelica Standard Library.
"""

from typing import Any

import numpy as np
import numpy.typing as npt

from pullbook.arrays import Array
from pullbook.belief import Prior
from pullbook.findings.answers import state_of
from pullbook.hill.day_table import DayTable
from pullbook.hill.fit import fit_hill
from pullbook.hill.own_effects import OwnEffects

SETTINGS = (18.0, 23.0, 28.0, 32.0, 35.0)
LIMITS = (0.861, 0.939)


def torque_nm(rpm: npt.ArrayLike, spark_deg: npt.ArrayLike, charge_g: float = 0.5, air_fuel: float = 14.6) -> Array:
    """Brake torque of the regression, N·m."""
    n = np.asarray(rpm, float) * np.pi / 30
    s, m, a = np.asarray(spark_deg, float), charge_g, air_fuel
    return np.asarray(
        -181.3 + 379.36 * m + 21.91 * a - 0.85 * a**2 + 0.26 * s - 0.0028 * s**2 + 0.027 * n - 0.000107 * n**2
        + 0.00048 * n * s + 2.55 * s * m - 0.05 * s**2 * m
    )  # fmt: skip


def best_deg(rpm: npt.ArrayLike, charge_g: float = 0.5) -> Array:
    """Where its derivative in spark is nought, degrees."""
    n = np.asarray(rpm, float) * np.pi / 30
    return np.asarray((0.26 + 0.00048 * n + 2.55 * charge_g) / (2 * (0.0028 + 0.05 * charge_g)))


def regression_day(number: int, *, repeats: int = 2, noise: float = 0.005) -> DayTable:
    """One day on the regression: every setting ``repeats`` times in mixed order."""
    rng = np.random.default_rng([number, 91])
    rpm = np.arange(1000, 5001, 200)
    run = rng.permutation(np.repeat(np.arange(len(SETTINGS)), repeats))
    advance = np.array([np.full(len(rpm), SETTINGS[i]) for i in run])
    clean = torque_nm(rpm, advance)
    torque = clean + noise * clean.max() * rng.standard_normal((len(run), 1))
    sampling = 0.0003
    return DayTable(
        tuple(f"p{i}" for i in range(len(run))), tuple(f"{SETTINGS[i]:g}" for i in run), np.arange(len(run), dtype=float), rpm,
        np.log(torque) + sampling * rng.standard_normal(torque.shape), np.full(torque.shape, sampling**2), advance,
        np.zeros((*torque.shape, 0)), np.ones(torque.shape, bool),
    )  # fmt: skip


def covers(number: int, rpm: int = 3000) -> bool:
    """Whether the tool's interval (or one-sided or unbounded set) at ``rpm`` holds the regression's own best."""
    table = regression_day(number)
    fit = fit_hill(
        table, Prior(0.006, float(np.log(2)), 3e-4, float(np.log(1.45))), np.random.default_rng([number, 4]), OwnEffects((), ())
    )
    assert fit.best is not None
    draws = fit.best[:, int(np.searchsorted(table.rpm, rpm))]
    state = state_of(draws, min(SETTINGS), max(SETTINGS))
    lo, hi = np.quantile(draws, [0.05, 0.95])
    lo = -np.inf if state in ("flat", "below_tested") else lo
    hi = np.inf if state in ("flat", "above_tested") else hi
    return bool(lo <= best_deg(rpm) <= hi)


def coverage(days: int) -> dict[str, Any]:
    """Share of ``days`` days whose interval holds the truth."""
    held = sum(covers(i) for i in range(days))
    return {"days": days, "covered": held / days, "limits": LIMITS}
