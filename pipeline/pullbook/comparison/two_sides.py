"""Two days or settings side by side in numbers: torque, advance and best advance where both have them, B against A."""

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
import polars as pl

from pullbook.comparison.changes import what_changed
from pullbook.comparison.comparable import comparable
from pullbook.comparison.may_compare import REFUSED, limits, worst
from pullbook.comparison.same_day import WHOLE, own_effects
from pullbook.measure.normal import Z90
from pullbook.wording import noted

Plain = dict[str, Any]
Known = tuple[Any, Any, Any]
"""A value and the ends of its 90 % interval, None where they are not known."""


@dataclass(frozen=True, slots=True)
class Side:
    """One side of a comparison. ``setting`` None: the day's best advance and best torque; ``curves``: SETTING_CURVES of the day,
    without which the torque of a setting is not known."""

    record: Plain
    setting: str | None = None
    curves: pl.DataFrame | None = None

    @property
    def pulls(self) -> list[Plain]:
        """Pulls of the setting, or of the day."""
        every = self.record.get("pulls") or []
        return every if self.setting is None else [p for p in every if p.get("setting") == self.setting]

    def settings(self) -> list[str]:
        """Every setting of its day."""
        return list(dict.fromkeys(str(p["setting"]) for p in self.record.get("pulls") or [] if p.get("setting") is not None))

    def is_same_day_as(self, other: "Side") -> bool:
        """Whether both are of one engine's one day."""
        return all(self.record.get(key) == other.record.get(key) for key in ("engine", "day"))


def two_sides(a: Side, b: Side) -> Plain:
    """Compare two sides.

    Parameters
    ----------
    a, b
        Of two days, or of one day twice.

    Returns
    -------
    dict
        ``a, b``: what each side is; ``torque, advance``: allowed, qualified or refused; ``limits``: why, and what would be needed;
        ``torque_rows``: ``rpm, a_nm, b_nm, change_pct, lo_pct, hi_pct``; ``advance_rows``: ``rpm, a_deg, b_deg, change_deg,
        lo_deg, hi_deg``; ``best_rows``: the same of best advance; ``change_pct, lo_pct, hi_pct`` over the common rpm; ``changed``.

    Raises
    ------
    KeyError
        A setting was not run on its day.
    """
    for side in (a, b):
        if side.setting is not None and side.setting not in side.settings():
            ran = ", ".join(side.settings()) or "none"
            raise KeyError(f"{side.setting!r} was not run on {noted(side.record.get('day'))}; run were: {ran}")
    found = limits(a.record, b.record)
    torque, advance = worst(found, "torque"), worst(found, "advance")
    torque_rows = [] if torque == REFUSED else _torque(a, b)
    whole = _whole(torque_rows)
    if a.is_same_day_as(b):
        own = own_effects(a.record, a.setting, b.setting)
        torque_rows = [row | _told(own[row["rpm"]]) if row["rpm"] in own else row for row in torque_rows]
        whole = _told(own[WHOLE]) if WHOLE in own else whole
    return {
        "schema": 1,
        "a": _about(a),
        "b": _about(b),
        "torque": torque,
        "advance": advance,
        "limits": [asdict(limit) for limit in found],
        "torque_rows": torque_rows,
        "advance_rows": _pairs(_delivered(a), _delivered(b)),
        "best_rows": _pairs(_best(a), _best(b)),
        **whole,
        "changed": [] if a.is_same_day_as(b) else _changed(a, b),
    }


def _changed(a: Side, b: Side) -> list[str]:
    """What changed from A's day to B's; which settings came and went only where days as a whole are compared."""
    whole_days = a.setting is None and b.setting is None
    return what_changed(comparable(b.record), comparable(a.record), of_settings=whole_days)


def _about(side: Side) -> Plain:
    engine, day = side.record.get("engine"), side.record.get("day")
    return {
        "engine": engine,
        "day": day,
        "setting": side.setting,
        "pulls_used": _used(side.pulls),
        "name": f"{noted(engine)}, {noted(day)}" + (f", {side.setting}" if side.setting is not None else ""),
    }


def _used(pulls: list[Plain]) -> int:
    return sum(p.get("status") in ("used", "part") for p in pulls)


def _torque(a: Side, b: Side) -> list[Plain]:
    left, right = _curve(a), _curve(b)
    rows = []
    for rpm in sorted(left.keys() & right.keys()):
        (ta, la, ha), (tb, lb, hb) = left[rpm], right[rpm]
        change = 100 * (tb / ta - 1)
        row = {
            "rpm": rpm,
            "a_nm": round(ta, 2),
            "b_nm": round(tb, 2),
            "change_pct": round(change, 3),
            "lo_pct": None,
            "hi_pct": None,
        }
        if None not in (la, ha, lb, hb):  # two means that share nothing: their half-widths add as squares
            half = 100 * tb / ta * float(np.hypot((ha - la) / 2 / ta, (hb - lb) / 2 / tb))
            row |= {"lo_pct": round(change - half, 3), "hi_pct": round(change + half, 3)}
        rows.append(row)
    return rows


def _curve(side: Side) -> dict[int, Known]:
    """Torque by rpm, N·m: the setting's mean, or the day's best."""
    if side.setting is None:
        half = _level_pct(side.record)
        rows = [(r["rpm"], r["best_torque_nm"]) for r in side.record.get("best") or [] if r.get("best_torque_nm")]
        return {n: (t, None, None) if half is None else (t, t * (1 - half / 100), t * (1 + half / 100)) for n, t in rows}
    if side.curves is None:
        return {}
    mine = side.curves.filter((pl.col("setting") == side.setting) & pl.col("torque_nm").is_not_null() & (pl.col("torque_nm") > 0))
    return {r["rpm"]: (r["torque_nm"], r["lo_nm"], r["hi_nm"]) for r in mine.iter_rows(named=True)}


def _level_pct(record: Plain) -> float | None:
    """How well a day's level of torque is known, 90 %: the spread of one pull over the root of the pulls behind it."""
    sd = (record.get("repeatability") or {}).get("pull_sd_pct")
    used = _used(record.get("pulls") or [])
    return Z90 * sd / float(np.sqrt(used)) if sd is not None and used else None


def _delivered(side: Side) -> dict[int, Known]:
    if side.setting is None:
        return {}
    rows = [r for r in side.record.get("delivered") or [] if r.get("setting") == side.setting and r.get("direction") != "down"]
    return {r["rpm"]: (r["advance_deg"], r.get("lo_deg"), r.get("hi_deg")) for r in rows if r.get("advance_deg") is not None}


def _best(side: Side) -> dict[int, Known]:
    rows = [r for r in side.record.get("best") or [] if r.get("best_deg") is not None]
    return {r["rpm"]: (r["best_deg"], r.get("lo_deg"), r.get("hi_deg")) for r in rows}


def _pairs(left: dict[int, Known], right: dict[int, Known]) -> list[Plain]:
    rows = []
    for rpm in sorted(left.keys() & right.keys()):
        (va, la, ha), (vb, lb, hb) = left[rpm], right[rpm]
        change = vb - va
        row = {"rpm": rpm, "a_deg": va, "b_deg": vb, "change_deg": round(change, 2), "lo_deg": None, "hi_deg": None}
        if None not in (la, ha, lb, hb):
            half = float(np.hypot((ha - la) / 2, (hb - lb) / 2))
            row |= {"lo_deg": round(change - half, 2), "hi_deg": round(change + half, 2)}
        rows.append(row)
    return rows


def _told(change: tuple[float, float, float]) -> Plain:
    return dict(zip(("change_pct", "lo_pct", "hi_pct"), change, strict=True))


def _whole(rows: list[Plain]) -> Plain:
    """Change over all common rpm; rows of one pull move together, so their ranges are averaged, never shrunk."""
    if not rows:
        return {"change_pct": None, "lo_pct": None, "hi_pct": None}
    known = [r for r in rows if r["lo_pct"] is not None]
    mean = sum(r["change_pct"] for r in rows) / len(rows)
    half = sum(r["hi_pct"] - r["lo_pct"] for r in known) / (2 * len(known)) if len(known) == len(rows) else None
    return {
        "change_pct": round(mean, 3),
        "lo_pct": None if half is None else round(mean - half, 3),
        "hi_pct": None if half is None else round(mean + half, 3),
    }
