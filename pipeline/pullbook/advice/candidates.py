"""What may be run next: settings that ran, turned up or down or run again, never far beyond what ran clean."""

from dataclasses import dataclass

import numpy as np
import polars as pl

from pullbook.advice.ground import Ground
from pullbook.advice.settings_run import Setting, home_of, placed
from pullbook.arrays import Array, Mask
from pullbook.columns import NOTED
from pullbook.facts import Limits
from pullbook.pulls.labels import with_total
from pullbook.wording import plain

_BACK_DEG = 4.0  # how far below the least tested a next pull may go in one day


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
class Candidate:
    """A pull that may be run, and the curve it would deliver, ° BTDC, (R,)."""

    pull: NextPull
    curve: Array


@dataclass(frozen=True, slots=True)
class Bounds:
    """What no next pull passes. ``noted``: rows where knock was noted, (R,); ``limits``: the operator's margins;
    ``max_advance_deg``: the engine's known limit."""

    noted: Mask
    limits: Limits
    max_advance_deg: float | None

    def over(self, ground: Ground, step_deg: float) -> Array:
        """The most advance per row, (R,): the ceiling where knock was noted, else so much above it; the known limit always.

        Parameters
        ----------
        ground
            Ceiling and known limit, degrees.
        step_deg
            How far above what was tested one pull may go.
        """
        most: Array = np.where(self.noted, ground.ceiling, ground.ceiling + step_deg)
        return most if self.max_advance_deg is None else np.minimum(most, self.max_advance_deg)

    def passed_by(self, base: Setting, move: float = 0.0) -> bool:
        """Whether a setting turned up by ``move`` degrees passes the known limit (:func:`passes`)."""
        return passes(self.max_advance_deg, base, move)


def noted_rows(knock: pl.DataFrame, rpm: Array) -> Mask:
    """Rows at which knock was noted on any pull; a note without rpm covers the whole pull, (R,)."""
    hit = np.zeros(len(rpm), bool)
    for lo, hi in knock.filter(pl.col("word").is_in(NOTED)).select("rpm_lo", "rpm_hi").iter_rows():
        hit |= (rpm >= (-np.inf if lo is None else lo - 50.0)) & (rpm <= (np.inf if hi is None else hi + 50.0))
    return hit


def candidates(ground: Ground, settings: list[Setting], bounds: Bounds, advised: Candidate, *, mapped: bool) -> list[Candidate]:
    """Pulls that may be run next; none where no setting's advance is known on every row.

    Parameters
    ----------
    ground
        The day's rows and ceiling.
    settings
        What was run (curves on the rows of ``ground``).
    bounds
        What none of them passes.
    advised
        The curve of least expected loss that can be set.
    mapped
        Whether a setting is a table, which is moved as a whole and has no one total to be called by.

    Returns
    -------
    list of Candidate
        Settings that ran clean once more, settings between and beside them, and the advised curve where nothing like it ran.
    """
    known, home = placed(settings), home_of(settings)
    if home is None:
        return []
    clean = [s for s in known if not s.knocked]
    levels = {s.name: float(np.mean(s.curve)) for s in known}
    lowest, highest = (f(known, key=lambda s: levels[s.name]) for f in (min, max))
    top = max(clean, key=lambda s: levels[s.name]) if clean else None
    step = bounds.limits.max_step_deg
    limit = np.where(bounds.noted, ground.ceiling, ground.ceiling + step) + 0.05
    found = [
        Candidate(NextPull(s.name, s.initial_deg, s.total_deg, "", None), s.curve)
        for s in clean
        if np.all(s.curve <= limit) and not bounds.passed_by(s)
    ]
    moves = [(lowest, -move) for move in (_BACK_DEG, _BACK_DEG / 2)]
    moves += [
        (home, float(move)) for move in range(-12, 13) if levels[lowest.name] < levels[home.name] + move < levels[highest.name]
    ]
    ceiling_level = -np.inf if top is None else levels[top.name] + step + 1e-6
    if top is not None:
        moves += [(top, step), (top, step / 2)]
    for base, move in moves:
        curve, level = base.curve + move, levels[base.name] + move
        near = min(abs(level - other) for other in levels.values()) < 0.75 or level > ceiling_level
        if near or not np.all(curve <= limit) or bounds.passed_by(base, move):
            continue
        up, down = level > levels[highest.name] + 0.25, level < levels[lowest.name] - 0.25
        why = _why_new(move, up=up, down=down, listened=top is not None and top.listened)
        found.append(Candidate(_moved(base, move, why, up=up, down=down, mapped=mapped), curve))
    gap = min(float(np.sqrt(np.mean((s.curve - advised.curve) ** 2))) for s in known)
    if gap > 1.0 and np.all(advised.curve <= limit) and not _steps_over(advised.pull, clean, step):
        found.append(advised)
    return found


def _steps_over(pull: NextPull, clean: list[Setting], step_deg: float) -> bool:
    """Whether a pull's total lies more than a step above every total that ran clean, whatever a ceiling row by row allows."""
    ran = [s.total_deg for s in clean if s.total_deg is not None]
    return pull.total_deg is not None and bool(ran) and pull.total_deg > max(ran) + step_deg + 1e-6


def passes(max_advance_deg: float | None, base: Setting, move: float = 0.0) -> bool:
    """Whether a setting moved by ``move`` passes the known limit, on the sheet or in truth.

    Parameters
    ----------
    max_advance_deg
        The known limit, ° BTDC, or None: nothing passes it.
    base, move
        The setting, and by how many degrees it is turned up.
    """
    if max_advance_deg is None:
        return False
    return max(float(np.max(base.curve)), base.total_deg or -np.inf) + move > max_advance_deg + 1e-6


def _moved(base: Setting, move: float, why: str, *, up: bool, down: bool, mapped: bool) -> NextPull:
    """A setting turned by ``move`` degrees, on the sheet's own scale."""
    total = None if base.total_deg is None else round(base.total_deg + move, 1)
    initial = None if base.initial_deg is None else round(base.initial_deg + move, 1)
    if mapped:
        name = f"{base.name}, {plain(abs(move))}° {'more' if move >= 0 else 'less'} throughout"
        return NextPull(name, initial, total, why, None, up, down)
    name = f"{base.name} {'+' if move >= 0 else '−'}{plain(abs(move))}°"
    if total is not None and base.total_deg is not None:  # written as the setting it is turned from is
        name = with_total(base.name, base.total_deg, total) or f"{plain(total)}° total"
    return NextPull(name, initial, total, why, None, up, down)


def _why_new(move: float, *, up: bool, down: bool, listened: bool) -> str:
    if up:
        ear = "with somebody listening" if listened else "only with somebody listening: nobody was on the most advanced pulls"
        return f"the best may lie above what was run: {plain(move)}° up in one step, {ear}"
    if down:
        return f"{plain(-move)}° below the least tested: shows the slope there, on the careful side"
    return "fills the gap between settings that were run"


def round_the_knock(ground: Ground, bounds: Bounds) -> list[Candidate]:
    """A table one step up everywhere but where knock was noted; none where that is no step, or knock was noted nowhere.

    Parameters
    ----------
    ground
        The day's rows and ceiling.
    bounds
        What no pull passes.
    """
    step = bounds.limits.max_step_deg
    top = bounds.over(ground, step)
    if not bounds.noted.any() or np.max(top - ground.ceiling) < step / 2:
        return []
    why = f"the best may lie above what was run: {plain(step)}° up where knock was not noted, with somebody listening"
    return [Candidate(NextPull("the table up to the ceiling and one step more", None, None, why, None, steps_up=True), top)]
