"""Which pull to run next: of those that may be run, the ones worth most."""

from dataclasses import dataclass, replace

import numpy as np

from pullbook.advice.candidates import Bounds, Candidate, NextPull, candidates, round_the_knock
from pullbook.advice.ground import Ground
from pullbook.advice.pull_worth import Worth, weigh
from pullbook.advice.settings_run import Setting
from pullbook.arrays import Array, Mask

ENOUGH = 0.003
"""Further pulls stop being worth it when the setting is within this of the best that could be found (fraction)."""

_WORTHLESS = 0.0001  # savings below 0.01 % are not worth a pull's fuel
_FREE_BELOW_DEG = 0.5  # mean degrees under the least tested that may be set without having been run
_REACH_DEG = 8.0  # how far above the ceiling the best is looked for


@dataclass(frozen=True, slots=True)
class NextPulls:
    """Next pulls, best first; ``enough``: within 0.3 % of what could be found; ``regret``: mean and 95 % point, fraction.

    ``worth``: expected saving (fraction) of every pull that was weighed, by setting.
    """

    pulls: tuple[NextPull, ...]
    enough: bool
    regret: tuple[float, float]
    worth: dict[str, float]


def plan(
    ground: Ground,
    settings: list[Setting],
    bounds: Bounds,
    *,
    bases: list[Array],
    mapped: bool,
    advised: Candidate,
    orders: tuple[float, int],
) -> NextPulls:
    """Rank the pulls worth running next.

    Parameters
    ----------
    ground
        Rows, draws and ceiling of the day.
    settings
        What was run (curves on the rows of ``ground``).
    bounds
        What no pull passes.
    bases
        Curves that can be turned up and down as a whole, each (R,): what was run and what is advised.
    mapped
        Whether the advance may be changed at some rpm alone, so that a step up can go round noted knock.
    advised
        The curve of least expected loss that can be set, and how it would stand on the sheet.
    orders
        Mean order of the used pulls, and the last order run.

    Returns
    -------
    NextPulls
        One to three pulls, or none where enough is known. Never beyond ``max_step_deg`` over what ran clean, never above the
        ceiling where knock was noted, never above the known limit.
    """
    actions = _actions(ground, bases, bounds.over(ground, _REACH_DEG), advised.curve, tilt=mapped)
    depth = float(ground.beyond_tested(advised.curve)) + _FREE_BELOW_DEG
    allowed = np.all(actions <= ground.ceiling + 1e-6, axis=1) & (ground.beyond_tested(actions) <= depth)
    mean_order, last = orders
    worth = weigh(ground, actions, allowed, last + 1 - mean_order)
    chosen = ground.losses(advised.curve)
    regret = np.maximum(chosen - np.min(worth.loss, axis=0), 0.0)
    enough = bool(np.mean(regret > ENOUGH) < 0.10)
    spread = (float(np.mean(regret)), float(np.quantile(regret, 0.95)))
    may_run = candidates(ground, settings, bounds, advised, mapped=mapped)
    if mapped:
        may_run += round_the_knock(ground, bounds)
    if enough or not may_run:
        return NextPulls((), enough, spread, {})
    opens = [_opened(ground, worth, c, depth) for c in may_run]
    alone = [worth.saving([c.curve], [o]) for c, o in zip(may_run, opens, strict=True)]
    by_name = {c.pull.setting: gain for c, gain in zip(may_run, alone, strict=True)}
    return NextPulls(_best_three(worth, may_run, opens, alone), enough, spread, by_name)


def _actions(ground: Ground, bases: list[Array], reach: Array, advised: Array, *, tilt: bool) -> Array:
    """Every base turned from far back to as far up as could ever be tested, (M, R); the advised curve is the first."""
    shifts = np.arange(-14.0, _REACH_DEG + 2.1, 0.5)[:, None]
    lean = np.linspace(-0.5, 0.5, len(ground.rpm)) if len(ground.rpm) > 1 else np.zeros(1)
    tilts = (-6.0, -3.0, 0.0, 3.0, 6.0) if tilt else (0.0,)
    stack = [base + t * lean + shifts for base in bases for t in tilts]
    every = np.concatenate([advised[None], *stack])
    keep = np.all(every <= reach + 1e-6, axis=1) & np.all(every >= ground.grid[0], axis=1)
    keep[0] = True
    kept: Array = every[keep]
    return kept


def _best_three(worth: Worth, may_run: list[Candidate], opens: list[Mask], alone: list[float]) -> tuple[NextPull, ...]:
    """Up to three pulls that together save most, the one worth most by itself first."""
    picked: list[int] = []
    reached = 0.0
    while len(picked) < min(3, len(may_run)):
        left = [i for i in range(len(may_run)) if i not in picked]
        sets = {i: (*picked, i) for i in left}
        gains = {i: worth.saving([may_run[j].curve for j in s], [opens[j] for j in s]) - reached for i, s in sets.items()}
        # equal worth: the more retarded one is the careful one
        best = max(left, key=lambda i: (round(gains[i], 6), -float(np.mean(may_run[i].curve))))
        if picked and gains[best] < _WORTHLESS:
            break
        picked.append(best)
        reached += gains[best]
    picked.sort(key=lambda i: -alone[i])
    return tuple(_finished(may_run[i], alone[i]) for i in picked)


def _opened(ground: Ground, worth: Worth, candidate: Candidate, depth: float) -> Mask:
    """Settings that may be advised once ``candidate`` has run clean: up to it, and down to it."""
    up = np.all(worth.actions <= np.maximum(ground.ceiling, candidate.curve) + 1e-6, axis=1)
    floor = np.minimum(ground.tested_lo, candidate.curve)
    down: Mask = np.mean(np.maximum(floor - worth.actions, 0.0), axis=1) <= depth
    both: Mask = up & down
    return both


def _finished(candidate: Candidate, saving: float) -> NextPull:
    pull = candidate.pull
    why = pull.why or "once more: its level is not known well enough from the pulls so far"
    return replace(pull, why=why, saving=saving)
