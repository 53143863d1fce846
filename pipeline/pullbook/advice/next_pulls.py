"""Which pull to run next: what may be run, what each is worth, and why, in one line."""

from dataclasses import dataclass

import numpy as np
import polars as pl

from pullbook.advice.ground import Ground
from pullbook.advice.pull_worth import Worth, weigh
from pullbook.advice.settings_run import Setting
from pullbook.arrays import Array, Mask
from pullbook.columns import NOTED
from pullbook.facts import Limits
from pullbook.wording import plain

ENOUGH = 0.003
"""Further pulls stop being worth it when the setting is within this of the best that could be found (fraction)."""

_WORTHLESS = 0.0001  # savings below 0.01 % are not worth a pull's fuel
_BACK_DEG = 4.0  # how far below the least tested a next pull may go in one day
_FREE_BELOW_DEG = 0.5  # mean degrees under the least tested that may be set without having been run
_REACH_DEG = 8.0  # how far above the ceiling the best is looked for


@dataclass(frozen=True, slots=True)
class NextPull:
    """One pull to run. Degrees on the sheet's own scale (what the operator sets); ``saving``: fraction, or None unknown."""

    setting: str
    initial_deg: float | None
    total_deg: float | None
    why: str
    saving: float | None
    steps_up: bool = False
    steps_down: bool = False


@dataclass(frozen=True, slots=True)
class Plan:
    """Next pulls, best first; ``enough``: within 0.3 % of what could be found; ``regret``: mean and 95 % point, fraction.

    ``worth``: expected saving (fraction) of every pull that was weighed, by setting.
    """

    pulls: tuple[NextPull, ...]
    enough: bool
    regret: tuple[float, float]
    worth: dict[str, float]


@dataclass(frozen=True, slots=True)
class _Candidate:
    pull: NextPull
    curve: Array
    repeat: bool


def noted_rows(knock: pl.DataFrame, rpm: Array) -> Mask:
    """Rows at which knock was noted on any pull; a note without rpm covers the whole pull, (R,)."""
    hit = np.zeros(len(rpm), bool)
    for lo, hi in knock.filter(pl.col("word").is_in(NOTED)).select("rpm_lo", "rpm_hi").iter_rows():
        hit |= (rpm >= (-np.inf if lo is None else lo - 50.0)) & (rpm <= (np.inf if hi is None else hi + 50.0))
    return hit


def plan(
    ground: Ground,
    settings: list[Setting],
    knock: pl.DataFrame,
    *,
    bases: list[Array],
    mapped: bool,
    advised: Array,
    advised_pull: NextPull,
    limits: Limits,
    max_advance_deg: float | None,
    orders: tuple[float, int],
) -> Plan:
    """Rank the pulls worth running next.

    Parameters
    ----------
    ground
        Rows, draws and ceiling of the day.
    settings
        What was run (curves on the rows of ``ground``).
    knock
        KNOCK table of the day.
    bases
        Curves that can be turned up and down as a whole, each (R,): what was run and what is advised.
    mapped
        Whether the advance may be changed at some rpm alone, so that a step up can go round noted knock.
    advised, advised_pull
        The curve of least expected loss that can be set, and how it would stand on the sheet.
    limits, max_advance_deg
        The operator's margins, and the engine's known limit.
    orders
        Mean order of the used pulls, and the last order run.

    Returns
    -------
    Plan
        One to three pulls, or none where enough is known. Never beyond ``max_step_deg`` over what ran clean, never above the
        ceiling where knock was noted, never above the known limit.
    """
    noted = noted_rows(knock, ground.rpm)
    reach = np.where(noted, ground.ceiling, ground.ceiling + _REACH_DEG)
    reach = reach if max_advance_deg is None else np.minimum(reach, max_advance_deg)
    actions = _actions(ground, bases, reach, advised, tilt=mapped)
    depth = float(ground.beyond_tested(advised)) + _FREE_BELOW_DEG
    allowed = np.all(actions <= ground.ceiling + 1e-6, axis=1) & (ground.beyond_tested(actions) <= depth)
    mean_order, last = orders
    worth = weigh(ground, actions, allowed, last + 1 - mean_order)
    chosen = ground.losses(advised)
    regret = np.maximum(chosen - np.min(worth.loss, axis=0), 0.0)
    enough = bool(np.mean(regret > ENOUGH) < 0.10)
    spread = (float(np.mean(regret)), float(np.quantile(regret, 0.95)))
    candidates = _candidates(ground, settings, noted, limits, max_advance_deg, advised, advised_pull)
    if mapped:
        candidates += _round_the_knock(ground, noted, limits, max_advance_deg)
    if enough or not candidates:
        return Plan((), enough, spread, {})
    opens = [_opened(ground, worth, c, depth) for c in candidates]
    alone = [worth.saving([c.curve], [o]) for c, o in zip(candidates, opens, strict=True)]
    by_name = {c.pull.setting: gain for c, gain in zip(candidates, alone, strict=True)}
    return Plan(_best_three(worth, candidates, opens, alone), enough, spread, by_name)


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


def _candidates(
    ground: Ground,
    settings: list[Setting],
    noted: Mask,
    limits: Limits,
    max_advance_deg: float | None,
    advised: Array,
    advised_pull: NextPull,
) -> list[_Candidate]:
    known = [s for s in settings if np.isfinite(s.curve).all()]
    if not known:
        return []
    home = next((s for s in known if s.baseline), known[0])
    clean = [s for s in known if not s.knocked]
    levels = {s.name: float(np.mean(s.curve)) for s in known}
    lowest, highest = (f(known, key=lambda s: levels[s.name]) for f in (min, max))
    top = max(clean, key=lambda s: levels[s.name]) if clean else None
    limit = np.where(noted, ground.ceiling, ground.ceiling + limits.max_step_deg) + 0.05
    found = [
        _Candidate(NextPull(s.name, s.initial_deg, s.total_deg, "", None), s.curve, repeat=True)
        for s in clean
        if np.all(s.curve <= limit) and not passes(max_advance_deg, s)
    ]
    moves = [(lowest, -move) for move in (_BACK_DEG, _BACK_DEG / 2)]
    moves += [
        (home, float(move)) for move in range(-12, 13) if levels[lowest.name] < levels[home.name] + move < levels[highest.name]
    ]
    ceiling_level = -np.inf if top is None else levels[top.name] + limits.max_step_deg + 1e-6
    if top is not None:
        moves += [(top, limits.max_step_deg), (top, limits.max_step_deg / 2)]
    for base, move in moves:
        curve, level = base.curve + move, levels[base.name] + move
        near = min(abs(level - other) for other in levels.values()) < 0.75 or level > ceiling_level
        if near or not np.all(curve <= limit) or passes(max_advance_deg, base, move):
            continue
        up, down = level > levels[highest.name] + 0.25, level < levels[lowest.name] - 0.25
        why = _why_new(move, up=up, down=down, listened=top is not None and top.listened)
        found.append(_Candidate(_moved(base, move, why, up=up, down=down), curve, repeat=False))
    gap = min(float(np.sqrt(np.mean((s.curve - advised) ** 2))) for s in known)
    if gap > 1.0 and np.all(advised <= limit) and not _steps_over(advised_pull, clean, limits.max_step_deg):
        found.append(_Candidate(advised_pull, advised, repeat=False))
    return found


def _steps_over(pull: NextPull, clean: list[Setting], step_deg: float) -> bool:
    """Whether a pull's total lies more than a step above every total that ran clean, whatever a ceiling row by row allows."""
    ran = [s.total_deg for s in clean if s.total_deg is not None]
    return pull.total_deg is not None and bool(ran) and pull.total_deg > max(ran) + step_deg + 1e-6


def passes(max_advance_deg: float | None, base: Setting, move: float = 0.0) -> bool:
    """Whether a setting moved by ``move`` passes the known limit, on the sheet or in truth."""
    if max_advance_deg is None:
        return False
    return max(float(np.max(base.curve)), base.total_deg or -np.inf) + move > max_advance_deg + 1e-6


def _moved(base: Setting, move: float, why: str, *, up: bool, down: bool) -> NextPull:
    """A setting turned by ``move`` degrees, on the sheet's own scale."""
    total = None if base.total_deg is None else round(base.total_deg + move, 1)
    initial = None if base.initial_deg is None else round(base.initial_deg + move, 1)
    name = plain(total) if total is not None else f"{base.name} {'+' if move >= 0 else '−'}{plain(abs(move))}°"
    return NextPull(name, initial, total, why, None, up, down)


def _why_new(move: float, *, up: bool, down: bool, listened: bool) -> str:
    if up:
        ear = "with somebody listening" if listened else "only with somebody listening: nobody was on the most advanced pulls"
        return f"the best may lie above what was run: {plain(move)}° up in one step, {ear}"
    if down:
        return f"{plain(-move)}° below the least tested: shows the slope there, on the careful side"
    return "fills the gap between settings that were run"


def _round_the_knock(ground: Ground, noted: Mask, limits: Limits, max_advance_deg: float | None) -> list[_Candidate]:
    """A table one step up everywhere but where knock was noted."""
    step = limits.max_step_deg
    top = np.where(noted, ground.ceiling, ground.ceiling + step)
    top = top if max_advance_deg is None else np.minimum(top, max_advance_deg)
    if not noted.any() or np.max(top - ground.ceiling) < step / 2:
        return []
    why = f"the best may lie above what was run: {plain(step)}° up where knock was not noted, with somebody listening"
    return [
        _Candidate(
            NextPull("the table up to the ceiling and one step more", None, None, why, None, steps_up=True), top, repeat=False
        )
    ]


def _best_three(worth: Worth, candidates: list[_Candidate], opens: list[Mask], alone: list[float]) -> tuple[NextPull, ...]:
    """Up to three pulls that together save most, the one worth most by itself first."""
    picked: list[int] = []
    reached = 0.0
    while len(picked) < min(3, len(candidates)):
        left = [i for i in range(len(candidates)) if i not in picked]
        sets = {i: (*picked, i) for i in left}
        gains = {i: worth.saving([candidates[j].curve for j in s], [opens[j] for j in s]) - reached for i, s in sets.items()}
        # equal worth: the more retarded one is the careful one
        best = max(left, key=lambda i: (round(gains[i], 6), -float(np.mean(candidates[i].curve))))
        if picked and gains[best] < _WORTHLESS:
            break
        picked.append(best)
        reached += gains[best]
    picked.sort(key=lambda i: -alone[i])
    return tuple(_finished(candidates[i], alone[i]) for i in picked)


def _opened(ground: Ground, worth: Worth, candidate: _Candidate, depth: float) -> Mask:
    """Settings that may be advised once ``candidate`` has run clean: up to it, and down to it."""
    up = np.all(worth.actions <= np.maximum(ground.ceiling, candidate.curve) + 1e-6, axis=1)
    floor = np.minimum(ground.tested_lo, candidate.curve)
    down: Mask = np.mean(np.maximum(floor - worth.actions, 0.0), axis=1) <= depth
    both: Mask = up & down
    return both


def _finished(candidate: _Candidate, saving: float) -> NextPull:
    pull = candidate.pull
    why = pull.why or "once more: its level is not known well enough from the pulls so far"
    return NextPull(pull.setting, pull.initial_deg, pull.total_deg, why, saving, pull.steps_up, pull.steps_down)
