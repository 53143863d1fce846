"""The order of pulls worth running on a day, before anything is known: wide, retard-heavy, with returns, never a big step up.

Why this shape: a peak shared by all rpm is known to about σ/(2k·√Σ(a − ā)²), so width buys more than number; the retarded side
is the careful side; without returns to the baseline drift and timing cannot be told apart; and a fixed ascending order would
put all the drift on the timing.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np


def _room(baseline_total: float | None, max_advance: float | None) -> float:
    """How far above the baseline the known limit lies, degrees; without end where one of the two is not known."""
    return np.inf if max_advance is None or baseline_total is None else max(0.0, max_advance - baseline_total)


_SHUFFLES = 60
"""Orders tried; the one least like drift is taken."""


@dataclass(frozen=True, slots=True)
class PlannedPull:
    """One line of a plan; ``order`` counts from 1. ``offset_deg``: crank degrees from the baseline; ``total_deg`` is null where no
    total was given."""

    order: int
    setting: str
    offset_deg: float
    total_deg: float | None
    baseline: bool
    why: str


def _levels(others: int, step: float, width: float, headroom: float) -> list[float]:
    """Offsets of the pulls that are no baseline: far back twice, up in single steps, then between."""
    ups = [step * i for i in (1, 2) if step * i <= headroom + 1e-9]
    top_missing = headroom < step - 1e-9
    back, half = -width, -round(width / 2 * 2) / 2
    wish = [back, *(ups[:1]), half, back, *(ups[1:2]), half]
    if top_missing:
        wish = [back, half, back, half]
    if ups:
        wish += [ups[-1], back / 4 * 3, ups[0]]
    while len(wish) < others:
        wish += [back, half, *(ups[-1:])]
    return wish[:others]


def propose(
    n: int,
    baseline_total: float | None,
    tested_clean_max: float | None = None,
    max_step: float = 2.0,
    width: float = 8.0,
    *,
    max_advance: float | None = None,
    shuffle: int = 0,
    wanted: tuple[float, ...] = (),
) -> list[PlannedPull]:
    """Pulls in the order to run them.

    Parameters
    ----------
    n
        How many pulls, at least 1.
    baseline_total
        Total advance of the baseline, ° BTDC crank; None plans offsets alone.
    tested_clean_max
        The most total advance that has already run clean today; None: nothing has, and the first baseline pull sets it.
    max_step
        Largest step above what has run clean, degrees, above zero.
    width
        How far back from the baseline the plan reaches, degrees.
    max_advance
        A known limit that is never passed, ° BTDC.
    shuffle
        Any whole number: the same number gives the same order.
    wanted
        Degrees from the baseline that are to be among the pulls, the most wanted first: they take up to half of the places that are
        no baseline. Those above ``max_advance`` are left out.

    Returns
    -------
    list of PlannedPull
        First, last and about every third pull are the baseline (from three pulls on). No pull goes more than ``max_step`` above
        the highest before it; steps back and returns are free.

    Raises
    ------
    ValueError
        ``n`` is below 1 or ``max_step`` is not above zero.
    """
    if n < 1 or not max_step > 0:
        raise ValueError("a plan needs at least one pull and a step above zero")
    headroom = min(2.0 * max_step, _room(baseline_total, max_advance))
    baselines = 1 if n < 3 else 2 if n < 7 else 3 + (n - 7) // 4
    first = [w for w in dict.fromkeys(wanted) if w != 0.0 and (w < 0.0 or w <= _room(baseline_total, max_advance))]
    first = first[: (n - baselines + 1) // 2]
    rest = _levels(n, max_step, max(width, 0.0), headroom)
    for level in first:
        if level in rest:
            rest.remove(level)
    others = [*first, *rest][: n - baselines]
    places = {round(i * (n - 1) / (baselines - 1)) for i in range(baselines)} if baselines > 1 else {0}
    top = 0.0 if tested_clean_max is None or baseline_total is None else max(0.0, tested_clean_max - baseline_total)
    random = np.random.default_rng(shuffle)
    ways = [_walk(n, places, [others[i] for i in random.permutation(len(others))], top, max_step) for _ in range(_SHUFFLES)]
    offsets = min(ways, key=_likeness_to_drift)
    return [_planned(i + 1, level, offsets[:i], baseline_total) for i, level in enumerate(offsets)]


def _walk(n: int, places: set[int], waiting: list[float], top: float, max_step: float) -> list[float]:
    """Offsets in order: the baseline at ``places``, the others as they wait, each once it is no more than a step up."""
    offsets: list[float] = []
    for place in range(n):
        if place in places or not waiting:
            offsets.append(0.0)
            continue
        allowed = next((i for i, level in enumerate(waiting) if level <= top + max_step + 1e-9), None)
        # only steps too far up may be left: go as far as is allowed instead
        level = min(waiting.pop(0), top + max_step) if allowed is None else waiting.pop(allowed)
        top = max(top, level)
        offsets.append(level)
    return offsets


def _likeness_to_drift(offsets: list[float]) -> float:
    """How far an order could be taken for drift: its correlation with the pull number, and one for every pull run twice on end."""
    twice = sum(a == b for a, b in pairwise(offsets))
    if len(offsets) < 3 or np.ptp(offsets) < 1e-6:
        return float(twice)
    return twice + abs(float(np.corrcoef(np.arange(len(offsets)), offsets)[0, 1]))


def _planned(order: int, offset: float, before: list[float], baseline_total: float | None) -> PlannedPull:
    total = None if baseline_total is None else baseline_total + offset
    name = f"{total:g}" if total is not None else "base" if offset == 0 else f"base{offset:+g}"
    if offset == 0:
        why = "the baseline, to start from" if order == 1 else "return to the baseline: shows drift"
    elif offset < 0:
        why = (
            "well back: tells most about where the best lies" if offset not in before else "back again: a repeat far from the rest"
        )
    else:
        why = "up in one step, with somebody listening" if offset > max(before, default=0.0) else "repeat on the advanced side"
    return PlannedPull(order, name, offset, total, offset == 0, why)
