"""A day's model on its own rows: the draws of its hill, pull levels, torque curve and timing doubts, setting by setting."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pullbook.arrays import Array
from pullbook.belief import Prior
from pullbook.hill.day_table import DayTable, common_shape, split_modes
from pullbook.hill.draws import HillDraws, draw_hills, draw_linear
from pullbook.hill.form import HillBasis, ln_torque_lost, slopes
from pullbook.hill.own_effects import OwnEffects
from pullbook.hill.wander import Within
from pullbook.measure.lines import lines_at


@dataclass(frozen=True, slots=True)
class HillFit:
    """Everything the day's model says, D draws, on the R rows of ``table`` (P pulls).

    ``best``, ``k`` (D, R) and ``skew`` (D,) are None where no hill could be learned, and so are ``likeliest`` (R,), the best
    advance of the posterior's top, and ``basis``, the prior they were drawn under. ``scale`` (D, R): what the delivered scale as
    a whole is off by. ``level`` (D, P): each pull's ln T against the model, drift included. ``means``: ln torque (D, R) that each
    setting would repeat to, NaN on rows it was not run at. ``fitted`` (P, R): ln T without the pull's level; ``top`` (D, R): ln T
    at the best advance; ``sd``, ``drift`` (D,): pull SD and drift a pull, fractions of torque.
    """

    table: DayTable
    best: Array | None
    k: Array | None
    skew: Array | None
    scale: Array
    sd: Array
    drift: Array
    level: Array
    top: Array
    means: dict[str, Array]
    fitted: Array
    within: Within
    likeliest: Array | None = None
    basis: HillBasis | None = None


def fit_hill(table: DayTable, prior: Prior, rng: np.random.Generator, own: OwnEffects, *, hill: bool = True) -> HillFit:
    """Draw from the posterior of a day.

    Parameters
    ----------
    table
        Data the model may learn from, 100-rpm rows; ``advance`` finite wherever ``present``.
    prior
        What is known beforehand.
    rng
        Seeded from the content of the inputs.
    own
        Settings with an effect beside the hill.
    hill
        False: settings are compared as they stand, advance plays no part.
    """
    return _on_rows(table, draw_hills(table, prior, rng, own, hill=hill), rng)


def _on_rows(table: DayTable, drawn: HillDraws, rng: np.random.Generator) -> HillFit:
    linear = draw_linear(drawn.closed, drawn.remainder, rng)
    shape, _ = common_shape(table)
    has = drawn.coarse.present.any(axis=0)
    to_fine = lines_at(table.rpm, drawn.coarse.rpm[has])
    top = shape + linear.column[:, has] @ to_fine.T
    common, own_doubt = split_modes(table)
    doubts = common.shape[1]
    advance = np.where(table.present, table.advance, 0.0)
    fitted = np.broadcast_to(top.mean(axis=0), advance.shape)
    basis = best = k = skew = likeliest = None
    if drawn.target is not None:
        basis = on_rows(drawn.target.basis, table.rpm, drawn.coarse.rpm)
        best, k, skew = basis.hill(drawn.xi)
        likeliest = basis.hill(drawn.top)[0][0]
        fitted = fitted + ln_torque_lost(advance, best[::8], k[::8], skew[::8]).mean(axis=0)
    means = {}
    for name, ran in table.setting_advance().items():
        run = table.mask_of(name)
        mean = top.copy()
        if basis is not None and best is not None and k is not None and skew is not None:
            mean += ln_torque_lost(np.nan_to_num(ran)[None], best, k, skew)[:, 0]
            if doubts:
                doubt = np.where(run[:, :, None], own_doubt, 0.0).sum(axis=0) / np.maximum(run.sum(axis=0), 1)[:, None]
                # The slopes the likelihood had: only with them do hill and doubt together say what the pulls read.
                _, per_deg, _ = slopes(basis, np.nan_to_num(ran)[None], drawn.linear_at)
                mean += (linear.z[:, :doubts] @ doubt.T) * per_deg[0, 0]
        if name in drawn.effects:
            columns, place = drawn.effects[name]
            mean += linear.z[:, place] @ columns.T
            fitted = fitted + (np.array(table.setting) == name)[:, None] * (linear.z[:, place].mean(axis=0) @ columns.T)
        mean[:, ~run.any(axis=0)] = np.nan
        means[name] = mean
    return HillFit(
        table, best, k, skew, linear.z[:, :doubts] @ common.T, linear.sd, linear.drift, linear.level, top, means, fitted,
        drawn.within, likeliest, basis,
    )  # fmt: skip


def on_rows(basis: HillBasis, rpm: npt.NDArray[np.int64], at: npt.NDArray[np.int64]) -> HillBasis:
    """The same parameters read on other rows.

    Parameters
    ----------
    basis
        On the rows ``at``.
    rpm, at
        Rows wanted, (R,), and rows of the basis, (A,), rpm; carried over by straight lines along rpm.
    """
    lines = lines_at(rpm, at)
    return HillBasis(
        np.asarray(rpm, float), lines @ basis.best_mean, lines @ basis.best_basis, lines @ basis.ln_k_mean, lines @ basis.k_basis,
        basis.skew_sd, basis.k_far,
    )  # fmt: skip
