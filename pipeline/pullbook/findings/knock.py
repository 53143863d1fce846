"""Knock as noted and as counted, and the ceiling it puts over every advice, rpm by rpm.

A note caps and never lifts: only the lowest advance at which knock was noted counts, one tick of a counter is a note, and a
pull nobody listened to proves nothing above a note.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import polars as pl

from pullbook.arrays import Array, Mask
from pullbook.columns import CEILING, KNOCK, NOTED, ROW_RPM, conform
from pullbook.handover import AlignedDay

JOIN_RPM = 250  # ticks closer together than this are one stretch


@dataclass(frozen=True, slots=True)
class Ceiling:
    """``caps``: knock cap by rpm; ``table``: ``rpm, advance_deg, because`` over every row that was tested."""

    caps: dict[int, float]
    table: pl.DataFrame


def ticks(values: Array) -> tuple[Mask | None, str | None]:
    """Which samples of a knock channel hold a tick.

    A counter that only climbs ticks where it climbs (and where it restarts above zero); a channel of whole numbers that
    comes back to zero counts events sample by sample. Anything else is a level without a known threshold.

    Parameters
    ----------
    values
        The channel as logged, without unit, (n,), NaN where missing.

    Returns
    -------
    tuple
        Booleans (n,), or None where it cannot be told; and why not, where there are values.
    """
    known = values[np.isfinite(values)]
    if not len(known):
        return None, None
    if np.abs(known - np.round(known)).max() > 1e-6 or known.min() < 0:
        return None, "a level, not a count: no threshold is known"
    filled = _held(values)
    step = np.diff(filled, prepend=filled[0])
    falls = int((step < 0).sum())
    if falls == 0 or falls <= len(known) // 200:
        return (step > 0) | ((step < 0) & (filled > 0)), None
    return filled > 0, None


def _held(values: Array) -> Array:
    """Blanks of a slower channel hold the last value before them (the first one before any)."""
    known = np.flatnonzero(np.isfinite(values))
    at = np.clip(np.searchsorted(known, np.arange(len(values)), side="right") - 1, 0, None)
    return np.asarray(values[known[at]])


def _since_last_reading(values: Array, found: Mask) -> Mask:
    """Samples in which the ticks may have happened: from the channel's reading before each tick up to the tick."""
    known = np.flatnonzero(np.isfinite(values))
    out = found.copy()
    for at in np.flatnonzero(found):
        before = known[known < at]
        out[before[-1] if len(before) else at : at] = True
    return out


def _stretches(rpm: Array) -> list[tuple[float, float]]:
    """Rpm of ticks joined to stretches."""
    order = np.sort(rpm)
    breaks = np.flatnonzero(np.diff(order) > JOIN_RPM) + 1
    return [(float(part[0]), float(part[-1])) for part in np.split(order, breaks) if len(part)]


def knock_table(aligned: AlignedDay, samples: pl.DataFrame) -> tuple[pl.DataFrame, list[str]]:
    """Knock as the sheet says it and as a channel counted it.

    Parameters
    ----------
    aligned
        All pulls, those left out too.
    samples
        SAMPLES of the day, untrimmed: knock is looked for outside the used rpm too.

    Returns
    -------
    tuple
        KNOCK: the sheet's word on every pull and a row for every stretch, rpm, that a channel counted; and questions about
        channels that hold a level.
    """
    rows: list[dict[str, object]] = []
    for pull in aligned.pulls.sort("order").iter_rows(named=True):
        lo, hi = pull["knock_lo_rpm"], pull["knock_hi_rpm"]
        whole = lo is None or hi is None
        rows.append({
            "pull_id": pull["pull_id"], "setting": pull["setting"], "rpm_lo": pull["rpm_min"] if whole else min(lo, hi),
            "rpm_hi": pull["rpm_max"] if whole else max(lo, hi), "word": pull["knock"] or "not listened", "source": "sheet",
        })  # fmt: skip
    unread: dict[str, list[str]] = {}
    if "knock" in samples.columns and samples["knock"].is_not_null().any():
        settings = dict(zip(aligned.pulls["pull_id"], aligned.pulls["setting"], strict=True))
        for (pull_id,), part in samples.filter(pl.col("pull_id").is_in(list(settings))).group_by("pull_id", maintain_order=True):
            values = part["knock"].cast(pl.Float64).fill_null(float("nan")).to_numpy()
            found, why = ticks(values)
            if why:
                unread.setdefault(why, []).append(str(part["file"][0]))
            if found is None:
                continue
            rpm = part["rpm"].fill_null(float("nan")).to_numpy()[_since_last_reading(values, found)]
            stretches = _stretches(rpm[np.isfinite(rpm)])
            at = {"pull_id": pull_id, "setting": settings[str(pull_id)], "word": "counted", "source": "channel"}
            rows += [at | {"rpm_lo": lo, "rpm_hi": hi} for lo, hi in stretches]
    table = conform(pl.DataFrame(rows, infer_schema_length=None), KNOCK) if rows else pl.DataFrame(schema=KNOCK)
    return table, [_what_value(why, list(dict.fromkeys(files))) for why, files in unread.items()]


def _what_value(why: str, files: list[str]) -> str:
    others = "" if len(files) == 1 else f" (likewise {len(files) - 1} more)"
    return f"knock channel of {files[0]}{others}: {why}. What value means knock?"


def ceiling(
    knock: pl.DataFrame, advances: Mapping[str, Mapping[int, float]], tested: Mapping[int, Mapping[str, float]], *,
    margin_deg: float, limit_deg: float | None, limit_note: str | None, by_pull: Mapping[str, Mapping[int, float]] | None = None,
) -> Ceiling:  # fmt: skip
    """The contract's ceiling of every advice.

    Parameters
    ----------
    knock
        KNOCK of the day.
    advances
        Advance each setting ran, by rpm, whether its pulls were used or left out.
    tested
        For every tested rpm row: advance by setting, used pulls only.
    margin_deg
        Kept below the lowest noted advance.
    limit_deg, limit_note
        ``known_limits`` of the engine.
    by_pull
        Advance single pulls ran, by pull and rpm, where known: a pull that ran another curve than its setting's others knocked
        at its own.
    """
    own = by_pull or {}
    noted = knock.filter(pl.col("word").is_in(NOTED))
    half = ROW_RPM / 2
    caps: dict[int, float] = {}
    rows = []
    for rpm in sorted(tested):
        run = tested[rpm]
        top = max(run.values())
        bound, because = top, "the most advanced setting tested"
        heard = [
            (own.get(n["pull_id"], {}).get(rpm, advances.get(n["setting"], {}).get(rpm)), n)
            for n in noted.iter_rows(named=True)
            if _covers(n, rpm, half)
        ]
        known = [(a, n) for a, n in heard if a is not None]
        if known:
            lowest, note = min(known, key=lambda pair: pair[0])
            below = [a for a in run.values() if a < lowest - 1e-9]
            cap = min([lowest - margin_deg, *([max(below)] if below else [])])
            caps[rpm] = cap
            bound = min(cap, bound)
            because = f"knock {note['word']} at {lowest:.1f}° with {note['setting']}: {margin_deg:g}° below it" + (
                f", or the most advanced setting run below it ({max(below):.1f}°)" if below else ""
            )
        elif heard:
            because = (
                f"knock {heard[0][1]['word']} with {heard[0][1]['setting']}, whose advance here is not known; most advanced tested"
            )
        if limit_deg is not None and limit_deg < bound:
            bound, because = limit_deg, "known limit of this engine" + (f": {limit_note}" if limit_note else "")
        rows.append({"rpm": rpm, "advance_deg": round(bound, 2), "because": because})
    return Ceiling(caps, pl.DataFrame(rows, schema=CEILING))


def _covers(note: Mapping[str, object], rpm: int, half: float) -> bool:
    """Whether a note's stretch touches the row; a note without rpm counts everywhere."""
    lo, hi = note["rpm_lo"], note["rpm_hi"]
    if not isinstance(lo, int | float) or not isinstance(hi, int | float):
        return True
    return (lo < rpm + half and hi > rpm - half) or (lo == hi and abs(lo - rpm) <= half)
