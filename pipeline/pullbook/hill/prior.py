"""What is known before a day's pulls are looked at: trade defaults, or what the archive's earlier days agree on.

Each day leaves its own figures in the archive: ln of the pull SD and ln of the curvature, each with the SD of the day's
likelihood alone (the prior it was estimated under divided out again, so that nothing is counted twice). Pooling is random-effects
meta-analysis with the default as one more study: days scatter around the dyno's or the engine's own value.

Source: DerSimonian and Laird, Controlled Clinical Trials 7 (1986), 177–188; the between-day SDs are stated, not estimated,
because a shop has few days.
"""

from collections.abc import Sequence
from dataclasses import replace
from math import exp, isfinite, log, sqrt
from typing import Any

import numpy as np

from pullbook.arrays import Array
from pullbook.facts import DayFacts
from pullbook.handover import Prior

USUAL_SD = {"engine": 0.006, "roller": 0.015, "hub": 0.010}
SD_UNSTATED = 0.008
FACTOR_TWO = log(2.0)
K_USUAL, K_LOG_SD = 3e-4, log(1.45)
BETWEEN_DAYS = {"sd": 0.20, "k": 0.10, "k_slope": 0.03, "skew": 0.0015}
"""How much a dyno's pull SD (ln), an engine's curvature (ln), its slope and the skew differ from day to day."""
DAY_LEVEL, DAY_SLOPE, DAY_OWN = 0.45, 0.1, 0.08  # °, ° per 1000 rpm, °: the best of one engine from day to day, weather mostly
CHANGED_LEVEL = 2.5  # ° where fuel, plugs or mixture differ
Matrix = tuple[tuple[float, ...], ...]


def default(facts: DayFacts) -> Prior:
    """The stated default: 0.6 % of pull SD on an engine dyno, 1.5 % on rollers, or what day.yaml says."""
    stated = facts.dyno.repeatability_pct
    if stated is not None and isfinite(stated) and stated > 0:
        return Prior(min(max(stated / 100, 5e-4), 0.1), 0.35, K_USUAL, K_LOG_SD)
    return Prior(USUAL_SD.get(facts.dyno.kind or "", SD_UNSTATED), FACTOR_TWO, K_USUAL, K_LOG_SD)


def own_figure(name: str, values: Array, mean: float, sd: float) -> dict[str, float]:
    """A day's own figure for the archive: the prior it was estimated under divided out.

    Parameters
    ----------
    name
        Key of the figure.
    values
        Posterior draws, (D,).
    mean, sd
        Of the normal prior they were made under, same unit.

    Returns
    -------
    dict
        ``name`` and ``name_sd``. Where the day says next to nothing the SD comes out very wide, never infinite.
    """
    middle, spread = float(np.mean(values)), max(float(np.std(values)), 1e-6)
    told = 1.0 / spread**2 - 1.0 / sd**2
    least = 0.02 / sd**2
    weight = max(told, least)
    own = (middle / spread**2 - mean / sd**2) / weight if told > least else middle
    return {name: own, f"{name}_sd": 1.0 / sqrt(weight)}


def _pooled(history: Sequence[dict[str, Any]], name: str, mean: float, sd: float, between: float) -> tuple[float, float, int]:
    """Normal for a new day's value of a figure: mean, SD, days used."""
    weight, total, days = 1.0 / sd**2, mean / sd**2, 0
    for day in history:
        value, error = day.get(name), day.get(f"{name}_sd")
        if not isinstance(value, int | float) or not isinstance(error, int | float) or not (isfinite(value) and error > 0):
            continue
        told = 1.0 / (error**2 + between**2)
        weight, total, days = weight + told, total + told * value, days + 1
    return total / weight, sqrt(1.0 / weight + between**2 * (days > 0)), days


def pool(reading_facts: DayFacts, engine: str, history: list[dict[str, Any]]) -> Prior:
    """The prior that earlier days leave for a new one.

    Parameters
    ----------
    reading_facts
        Facts of the new day; its dyno's name says which days' repeatability counts.
    engine
        Folder name of the engine, whose curvature is pooled whatever the dyno.
    history
        ``own`` figures of earlier days, each with ``engine``, ``day`` and ``dyno``; the new day itself must not be in it.
    """
    base = default(reading_facts)
    same_engine = [h for h in history if h.get("engine") == engine]
    name = reading_facts.dyno.name
    same_dyno = [h for h in history if (h.get("dyno") == name if name else h.get("dyno") is None and h in same_engine)]
    if not same_engine and not same_dyno:
        return base
    ln_sd, ln_sd_sd, sd_days = _pooled(same_dyno, "ln_pull_sd", log(base.sd_median), base.sd_log_sd, BETWEEN_DAYS["sd"])
    moved = _at_one_rpm(same_engine)
    ln_k, ln_k_sd, k_days = _pooled(moved, "ln_k", log(base.k_median), base.k_log_sd, BETWEEN_DAYS["k"])
    slope, slope_sd, _ = _pooled(same_engine, "k_slope", base.k_slope, base.k_slope_sd, BETWEEN_DAYS["k_slope"])
    skew, skew_sd, _ = _pooled(same_engine, "skew", base.skew_mean, base.skew_sd, BETWEEN_DAYS["skew"])
    if not sd_days and not k_days:
        return base
    placed = pooled_best(same_engine, reading_facts)
    used = {f"{h.get('engine')}/{h.get('day')}" for h in same_engine + same_dyno}
    pulls = sum(int(h.get("pulls") or 0) for h in same_dyno)
    at = moved[0].get("k_rpm") if moved and k_days else None
    return replace(
        base, sd_median=exp(ln_sd), sd_log_sd=ln_sd_sd, k_median=exp(ln_k), k_log_sd=ln_k_sd, k_rpm=at, k_slope=slope,
        k_slope_sd=slope_sd, skew_mean=skew, skew_sd=skew_sd, source="archive", pulls=pulls, frozen_from=tuple(sorted(used)),
        best_rpm=placed[0], best_deg=placed[1], best_cov=placed[2],
    )  # fmt: skip


def _at_one_rpm(history: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Curvatures moved to the last day's rpm along each day's own slope, the slope's doubt added."""
    told = [h for h in history if isinstance(h.get("k_rpm"), int | float) and isinstance(h.get("ln_k"), int | float)]
    if not told:
        return []
    at = float(told[-1]["k_rpm"])
    out = []
    for h in told:
        step = (at - float(h["k_rpm"])) / 1000.0
        error = sqrt(float(h["ln_k_sd"]) ** 2 + (float(h.get("k_slope_sd") or 0.12) * step) ** 2)
        out.append(h | {"ln_k": float(h["ln_k"]) + float(h.get("k_slope") or 0.0) * step, "ln_k_sd": error, "k_rpm": at})
    return out


def pooled_best(history: Sequence[dict[str, Any]], facts: DayFacts) -> tuple[tuple[float, ...], tuple[float, ...], Matrix]:
    """Best advance at anchors for a new day: mean and covariance from all earlier days of the engine, days scattering around it.

    Days run on other fuel, plugs or mixture than the new one count with a wider scatter.
    """
    told = [h for h in history if _is_list(h.get("best_rpm")) and _is_list(h.get("best_deg")) and _is_list(h.get("best_cov"))]
    anchors = sorted({float(n) for h in told for n in h["best_rpm"]})
    if not anchors:
        return (), (), ()
    x = (np.array(anchors) - np.mean(anchors)) / 1000.0
    precision, score = 1e-4 * np.eye(len(anchors)), np.zeros(len(anchors))
    for day in told:
        at = [anchors.index(float(n)) for n in day["best_rpm"]]
        mean, own = np.array(day["best_deg"], float), np.array(day["best_cov"], float)
        if own.shape != (len(at), len(at)) or mean.shape != (len(at),) or not (np.isfinite(own).all() and np.isfinite(mean).all()):
            continue
        changed = any(day.get(n) != getattr(facts, n) for n in ("fuel", "plugs", "mixture"))
        inverse = np.linalg.inv(own + _scatter(x[at], changed) + 1e-3 * np.eye(len(at)))
        precision[np.ix_(at, at)] += inverse
        score[at] += inverse @ mean
    cov = np.linalg.inv(precision)
    ahead = cov + _scatter(x, False)
    return tuple(anchors), tuple((cov @ score).tolist()), tuple(tuple(row) for row in ahead.tolist())


def _scatter(x: Array, changed: bool) -> Array:
    """How the best moves from day to day, covariance over anchors x (thousands of rpm from their middle)."""
    level = CHANGED_LEVEL if changed else DAY_LEVEL
    return np.asarray(level**2 + DAY_SLOPE**2 * np.outer(x, x) + DAY_OWN**2 * np.eye(len(x)))


def _is_list(value: object) -> bool:
    return isinstance(value, list) and len(value) > 0
