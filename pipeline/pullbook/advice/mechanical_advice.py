"""From a mechanical curve found to what is said of it: the setting, the springs, its cost over rpm, and where it loses."""

from typing import Any

import numpy as np

from pullbook.advice.curve_shapes import Shapes, highest_total
from pullbook.advice.ground import Ground, interval
from pullbook.advice.parts import LOCKED, Part
from pullbook.advice.qualifying import Qualified
from pullbook.advice.sums import distributor_from_crank
from pullbook.arrays import Array, Mask
from pullbook.measure.runs import runs
from pullbook.wording import plain, to_fifty

LOCKED_NOTE = "locked: no springs, the same advance at every rpm"
FLAT_NOTE = "the same advance at every rpm tested: locked, or weights that are all in below it"
_HALF_DEGREE_WORTH = 6e-4  # of torque: below this nobody sets tenths of a degree


def rounded(shape: Shapes, ground: Ground, *, own: bool) -> Shapes:
    """A curve in numbers that can be set, still under the ceiling.

    Half degrees, as a light is read, unless half a degree costs something; 50 rpm where springs are to be found.

    Parameters
    ----------
    shape
        One curve, N = 1.
    ground
        The day's rows, ceiling and prices.
    own
        Made of parts that are there: only the total is free.
    """
    if own:
        neat = shape
    else:
        start = np.round(shape.start / 50.0) * 50.0
        all_in = np.maximum(np.round(shape.all_in / 50.0) * 50.0, start + 50.0)
        neat = Shapes(shape.total, np.round(shape.stop * 2.0) / 2.0, start, all_in, shape.knee_at, shape.knee_share)
    top = highest_total(neat, ground.limit_rpm, ground.limit_deg)
    tenth = neat.with_total(np.floor(np.minimum(np.round(neat.total, 1), top) * 10.0 + 1e-6) / 10.0)
    nearest_half = np.round(tenth.total * 2.0) / 2.0
    half = neat.with_total(np.where(nearest_half <= top + 1e-9, nearest_half, np.floor(top * 2.0) / 2.0))
    dearer = abs(float(ground.price(half.curves(ground.rpm))[0] - ground.price(tenth.curves(ground.rpm))[0]))
    return half if dearer < _HALF_DEGREE_WORTH else tenth


def springs_note(shape: Shapes, part: Part | None, *, stop_known: bool) -> str:
    """What the curve means in springs, crank rpm with the distributor's own beside it.

    Parameters
    ----------
    shape
        The curve as it is to be set, N = 1.
    part
        What makes it, None for springs still to be found.
    stop_known
        Whether a stop is owned or implied.
    """
    start, all_in, stop = (float(v[0]) for v in (shape.start, shape.all_in, shape.stop))
    if part is not None and part.words == LOCKED.words:
        return LOCKED_NOTE if stop_known else FLAT_NOTE
    seen = part is None or part.start_seen
    span = (f"start at {to_fifty(start)}, " if seen else "") + f"all in at {to_fifty(all_in)} rpm at the crank"
    if part is not None and part.spring is None:
        return f"{'use' if part.one_of_several else 'keep'} {part.words}" + (
            f": {span}" if part.rise_seen else ", taken to be all in below the rpm tested"
        )
    if part is not None:
        return f"{part.words}: {span}"
    if stop < 1.0:
        return "no spring gains anything measurable over one fixed advance in the rpm tested"
    halves = f"{distributor_from_crank(start):.0f} and {distributor_from_crank(all_in):.0f} at the distributor"
    rise = f"a {plain(stop)}° stop ({plain(distributor_from_crank(stop), 2)}° in the distributor)"
    if not stop_known:
        rise = f"a rise of {plain(stop)}° inside the tested rpm (the stop is not known)"
    note = f"springs that {span} ({halves}) on {rise}"
    if _has_knee(shape):
        at = start + float(shape.knee_at[0]) * (all_in - start)
        note += f"; two springs: the second takes up at about {to_fifty(at)} rpm"
    return note


def _has_knee(shape: Shapes) -> bool:
    return abs(float(shape.knee_at[0] - shape.knee_share[0])) > 0.02


def mechanical_object(
    ground: Ground, found: Qualified, versus: Array | None, noted: Mask, *, stop_known: bool
) -> tuple[dict[str, Any], Shapes]:
    """The contract's ``mechanical`` object and the rounded curve it describes.

    Parameters
    ----------
    ground, found
        The day's rows and the search's answer.
    versus
        ln torque at the baseline, (D, R), or None.
    noted
        Rows where knock was noted.
    stop_known
        Whether a stop is owned or implied; else the initial is not known and null.
    """
    shape = rounded(found.chosen, ground, own=found.part is not None)
    is_locked = found.part is not None and found.part.words == LOCKED.words
    is_flat = is_locked or (found.part is None and float(shape.stop[0]) < 1.0)
    shape = shape.flat() if is_flat and not is_locked else shape
    curve, ideal = shape.curves(ground.rpm)[0], ground.cheapest_free()
    strip = ground.posterior.loss(curve) - ground.posterior.loss(ideal)  # (D, R)
    cost, cost_lo, cost_hi = interval(np.mean(strip, axis=1))
    lo, hi = np.quantile(strip, [0.05, 0.95], axis=0)
    mean = np.mean(strip, axis=0)
    total, stop = float(shape.total[0]), float(shape.stop[0])
    start, all_in = float(shape.start[0]), float(shape.all_in[0])
    knee_rpm = start + float(shape.knee_at[0]) * (all_in - start)
    rise_seen = not is_flat and (found.part is None or found.part.rise_seen)
    has_knee = _has_knee(shape) and rise_seen
    start_seen = rise_seen and (found.part is None or found.part.start_seen)
    change = None if versus is None else interval(change_from(ground, curve, versus))
    answer = {
        "initial_deg": round(total - stop, 3) if stop_known else None,
        "total_deg": round(total, 1),
        "stop_deg": round(stop, 3) if stop_known else None,
        "start_rpm": round(start, 1) if start_seen else None,
        "knee_rpm": round(knee_rpm, 1) if has_knee else None,
        "knee_deg": round(total - stop * (1.0 - float(shape.knee_share[0])), 2) if has_knee else None,
        "all_in_rpm": round(all_in, 1) if rise_seen else None,
        "springs_note": springs_note(shape, found.part, stop_known=stop_known),
        "cost_pct": _pct(cost),
        "cost_lo_pct": _pct(cost_lo),
        "cost_hi_pct": _pct(cost_hi),
        "versus_baseline_pct": None if change is None else _pct(change[0]),
        "versus_lo_pct": None if change is None else _pct(change[1]),
        "versus_hi_pct": None if change is None else _pct(change[2]),
        "strip": [
            {"rpm": int(n), "cost_pct": _pct(mean[i]), "lo_pct": _pct(lo[i]), "hi_pct": _pct(hi[i])}
            for i, n in enumerate(ground.rpm)
        ],
        "curve": [{"rpm": int(n), "advance_deg": round(float(curve[i]), 2)} for i, n in enumerate(ground.rpm)],
        "most_torque": _most_torque(ground, found, versus, stop_known=stop_known),
        "notes": _notes(ground, found, ideal, noted),
    }
    return answer, shape


def _most_torque(ground: Ground, found: Qualified, versus: Array | None, *, stop_known: bool) -> dict[str, float | str | None]:
    """The curve of least expected loss, for who wants the last of it: what it takes and what it brings."""
    shape = rounded(found.cheapest, ground, own=found.cheapest_part is not None)
    total, stop = float(shape.total[0]), float(shape.stop[0])
    change = None if versus is None else interval(change_from(ground, shape.curves(ground.rpm)[0], versus))
    return {
        "initial_deg": round(total - stop, 3) if stop_known else None,
        "total_deg": round(total, 1),
        "stop_deg": round(stop, 3) if stop_known else None,
        "springs_note": springs_note(shape, found.cheapest_part, stop_known=stop_known),
        "versus_baseline_pct": None if change is None else _pct(change[0]),
        "versus_lo_pct": None if change is None else _pct(change[1]),
        "versus_hi_pct": None if change is None else _pct(change[2]),
    }


def change_from(ground: Ground, curve: Array, versus: Array) -> Array:
    """Change of torque of ``curve`` (R,) against ln torque ``versus`` (D, R): fraction, mean over the rows both have, (D,)."""
    ours = ground.posterior.log_torque + np.log1p(-np.minimum(ground.posterior.loss(curve), 0.9))
    gain = np.expm1(ours - versus)
    shared = np.isfinite(gain).all(axis=0)
    return np.asarray(np.mean(gain[:, shared], axis=1)) if shared.any() else np.full(len(gain), np.nan)


def _notes(ground: Ground, found: Qualified, ideal: Array, noted: Mask) -> list[str]:
    """Whether a programmable table would gain anything, and where a mechanical curve loses."""
    curve = found.cheapest.curves(ground.rpm)[0]
    strip = ground.posterior.loss(curve) - ground.posterior.loss(ideal)
    gain, lo, hi = (100.0 * v for v in interval(np.mean(strip, axis=1)))
    tolerance = 100.0 * ground.tolerance
    made = "one locked advance" if found.part is LOCKED else "the best mechanical curve"
    notes = []
    if hi < tolerance:
        most = max(0.1, hi)
        notes.append(f"a programmable table would gain nothing measurable over {made} (at most {plain(most)} %)")
    elif lo > 0:
        notes.append(f"a programmable table would gain {_span(gain, lo, hi)} over {made}")
    else:
        notes.append(f"cannot tell whether a programmable table would gain anything: {_span(gain, lo, hi)}")
    row_mean, row_lo = np.mean(strip, axis=0), np.quantile(strip, 0.05, axis=0)
    loses = (row_mean > ground.tolerance) & (row_lo > 0)
    for first, last in ((a, b - 1) for a, b in runs(loses)):
        why = _why_it_loses(ground, curve, ideal, noted, first, last)
        worst = 100.0 * float(np.max(row_mean[first : last + 1]))
        span = "–".join(dict.fromkeys(f"{n:.0f}" for n in (ground.rpm[first], ground.rpm[last])))
        notes.append(f"even {made} loses up to {worst:.1f} % at {span} rpm: {why}")
    return notes


def _why_it_loses(ground: Ground, curve: Array, ideal: Array, noted: Mask, first: int, last: int) -> str:
    here = slice(first, last + 1)
    held = noted & (ground.ceiling - curve < 0.4)
    above = bool(np.mean(curve[here] - ideal[here]) > 0)
    if above and np.max(ideal[: first + 1]) - np.min(ideal[here]) > 1.0:
        peak = ground.rpm[int(np.argmax(np.mean(ground.posterior.log_torque, axis=0)))]
        place = " near peak torque" if ground.rpm[first] - 500.0 <= peak <= ground.rpm[last] + 500.0 else ""
        return f"the best advance dips{place} and a curve of weights cannot come back down"
    if held.any() and not above:
        rows = ground.rpm[held]
        return f"the knock cap at {rows[0]:.0f}–{rows[-1]:.0f} rpm holds the whole curve down"
    if np.ptp(curve) < 0.5:
        return "one advance cannot be what every rpm wants"
    return "the stop and springs cannot follow the advance wanted there"


def _span(mean: float, lo: float, hi: float) -> str:
    return f"{plain(mean)} % ({plain(lo)} to {plain(hi)} %)"


def _pct(value: float) -> float | None:
    return round(100.0 * float(value), 3) if np.isfinite(value) else None
