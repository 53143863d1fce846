"""A day's own figures for the archive: plain numbers from which later days' priors are pooled."""

from math import log
from typing import Any

import numpy as np

from pullbook.arrays import Array
from pullbook.belief import Prior
from pullbook.handover import DayReading
from pullbook.hill.fit import HillFit
from pullbook.hill.form import HillBasis
from pullbook.hill.prior import own_figure
from pullbook.hill.told import Told, believed, kept_of, read_off, told_by
from pullbook.measure.lines import lines_at

WORTH_KEEPING_DEG = 4.0  # a best advance known worse than this says nothing to later days


def own_figures(fit: HillFit | None, prior: Prior, reading: DayReading) -> dict[str, Any]:
    """Figures with the prior they were estimated under divided out; without a fit only who and how many.

    ``ln_pull_sd`` is ln of a fraction, ``ln_pull_sd_sd`` the SD of what the day alone says; ``hill`` what it says of best advance,
    curvature and skew together, as in :class:`pullbook.belief.EarlierHill`.
    """
    facts = reading.facts
    out: dict[str, Any] = {
        "engine": reading.engine, "day": reading.day, "dyno": facts.dyno.name, "dyno_kind": facts.dyno.kind, "pulls": 0,
        "prior_source": prior.source,
    }  # fmt: skip
    if fit is None:
        return out
    out["pulls"] = len(fit.table.pull_id)
    out |= own_figure("ln_pull_sd", np.log(fit.sd), log(prior.sd_median), prior.sd_log_sd)
    out["wander"] = fit.within.wander
    if fit.basis is None or fit.best is None or fit.k is None or fit.skew is None:
        return out
    out |= {"fuel": facts.fuel, "plugs": facts.plugs, "mixture": facts.mixture}
    out = {name: value if not isinstance(value, float) else round(value, 10) for name, value in out.items()}
    return out | {"hill": kept_of(hill_told(fit, fit.basis, fit.best, fit.k, fit.skew))}


def hill_told(fit: HillFit, basis: HillBasis, best: Array, k: Array, skew: Array) -> Told:
    """What the day says of its engine's hill; best advance in true degrees at whole thousands of rpm, or mid-span of a short one.

    Parameters
    ----------
    fit, basis
        The day's model and the prior it was drawn under.
    best, k, skew
        Draws: (D, R) ° and 1/°², (D,) 1/°.
    """
    rpm = fit.table.rpm.astype(float)
    anchors = np.array([float(n) for n in range(1000 * int(-(-rpm.min() // 1000)), int(rpm.max()) + 1, 1000)])
    anchors = anchors if len(anchors) else np.array([float(round((rpm.min() + rpm.max()) / 200) * 100)])
    middle = float(rpm.min() + rpm.max()) / 2
    lines = lines_at(anchors, rpm)
    known = (best @ lines.T).std(axis=0) < WORTH_KEEPING_DEG
    anchors, lines = anchors[known], lines[known]
    off = read_off(lines, lines_at([middle], rpm)[0], rpm)
    theta = off.theta(best, np.log(k), skew)
    said = told_by(anchors, middle, believed(basis, off), (theta.mean(axis=0), np.cov(theta.T)))
    scale = np.zeros((len(theta), len(said.towards)))
    scale[:, : len(anchors)] = fit.scale @ lines.T
    return said.moved(scale.mean(axis=0)).scattered(np.cov(scale.T))
