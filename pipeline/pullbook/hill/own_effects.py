"""Settings that differ from the others in more than advance: labels alike in timing, and settings whose timing nobody knows.

Each gets an effect of its own, smooth over rpm, beside the hill: wide where its advance is unknown, narrower where another
label ran the same advance (something else was changed, or it is a return under a new name: the pulls decide).
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from pullbook.arrays import Array
from pullbook.hill.day_table import DayTable

ALIKE_DEG = 0.3
KNOT_RPM = 1000.0
UNKNOWN_LEVEL, UNKNOWN_WIGGLE = 0.05, 0.02  # of torque, one SD
ALIKE_LEVEL, ALIKE_WIGGLE = 0.015, 0.007
BESIDE, BESIDE_SHARE = 0.0004, 0.25
"""What the hill's form, or a hand on the distributor, does to any setting beside its timing, of torque: small, and no repeat
reveals it; at most this share of what a pull is expected to repeat to."""
FORM_DOUBTS = (0.04, 0.08, 0.16, 0.32)
"""What the hill's form may be off by at a setting, as shares of what the setting loses: it errs most where most is lost (where the
burn knocks, or is late by half). Alike whenever the setting is run, so no repeat shows it."""
SMOOTH_RPM = 1200.0


@dataclass(frozen=True, slots=True)
class OwnEffects:
    """``alike``: (setting, the setting it is timed like); ``unknown``: settings without any known advance."""

    alike: tuple[tuple[str, str], ...]
    unknown: tuple[str, ...]

    @property
    def settings(self) -> tuple[str, ...]:
        """All settings that carry an effect of their own."""
        return tuple(s for s, _ in self.alike) + self.unknown


def find_own_effects(table: DayTable, baseline: str | None) -> OwnEffects:
    """Sort out the settings; of two alike the baseline, else the one run first, stays on the hill without an effect of its own.

    Where no advance is known at all the baseline is what the others are measured from.
    """
    advance = table.setting_advance()
    order = sorted(table.settings(), key=lambda s: s != baseline)
    unknown = tuple(s for s in order if not np.isfinite(advance[s]).any())
    if len(unknown) == len(order):
        unknown = tuple(s for s in unknown if s != baseline)
    placed: list[str] = []
    alike = []
    for setting in order:
        own = advance[setting]
        if not np.isfinite(own).any():
            continue
        like = next((p for p in placed if _alike(own, advance[p])), None)
        if like is None:
            placed.append(setting)
        else:
            alike.append((setting, like))
    return OwnEffects(tuple(alike), unknown)


def _alike(a: Array, b: Array) -> bool:
    both = np.isfinite(a) & np.isfinite(b)
    return bool(both.sum() >= 0.5 * min(np.isfinite(a).sum(), np.isfinite(b).sum()) and both.any()) and bool(
        np.abs(a - b)[both].mean() < ALIKE_DEG
    )


def effect_basis(rpm: Array, level: float, wiggle: float) -> Array:
    """Basis of a smooth effect over rpm for standard normal weights: a level and a departure from it.

    Parameters
    ----------
    rpm
        Rows, rpm, (R,).
    level, wiggle
        One SD of the level and of the departure, ln T.

    Returns
    -------
    Array
        (R, n), n knots some hundred rpm apart; basis @ weights is the effect.
    """
    lo, hi = float(rpm.min()), float(rpm.max())
    knots = np.linspace(lo, hi, max(2, round((hi - lo) / KNOT_RPM) + 1)) if hi > lo else np.array([lo])

    def kernel(x: Array, y: Array) -> Array:
        out: Array = level**2 + wiggle**2 * np.exp(-0.5 * ((x[:, None] - y[None, :]) / SMOOTH_RPM) ** 2)
        return out

    lower = np.linalg.cholesky(kernel(knots, knots) + 1e-4 * wiggle**2 * np.eye(len(knots)))
    return np.linalg.solve(lower, kernel(knots, rpm)).T


def effect_modes(
    table: DayTable, effects: OwnEffects, pull_sd: float, lost: Mapping[str, Array] | None = None, form_doubt: float = 0.0
) -> dict[str, Array]:
    """Basis of what each setting does beside the hill: little, unless it is in ``effects`` or runs far from the best.

    Parameters
    ----------
    table, effects
        The day, R rows, and its settings that differ in more than advance.
    pull_sd
        What a pull is expected to repeat to, fraction of torque.
    lost
        What each setting loses on the hill by running its advance, fraction of torque, (R,); None without a hill.
    form_doubt
        What the hill's form is off by, as a share of ``lost``.

    Returns
    -------
    dict
        Setting -> (R, n), for standard normal weights, in ln T.
    """
    alike = {s for s, _ in effects.alike}
    beside = min(BESIDE, BESIDE_SHARE * pull_sd)
    rpm = table.rpm.astype(float)

    def basis(setting: str) -> Array:
        if setting in effects.unknown:
            return effect_basis(rpm, UNKNOWN_LEVEL, UNKNOWN_WIGGLE)
        level, wiggle = (ALIKE_LEVEL, ALIKE_WIGGLE) if setting in alike else (beside, beside)
        more = 1.0 if lost is None or not form_doubt else 1.0 + form_doubt * lost[setting][:, None] / level
        return np.asarray(more * effect_basis(rpm, level, wiggle))

    return {s: basis(s) for s in table.settings()}
