"""One simulated day, estimated and held against its truth: plain numbers, one JSON line."""

import time
from typing import Any

import numpy as np
import numpy.typing as npt
import polars as pl

from pullbook.arrays import Array
from pullbook.belief import Prior
from pullbook.handover import Advice, AlignedDay, BestDay, DeliveredDay
from pullbook.hill.day_table import DayTable, day_table, usable
from pullbook.hill.prior import default
from pullbook.stages.advise import advise
from pullbook.stages.align import align_day
from pullbook.stages.best import best_advance
from pullbook.stages.delivered import delivered_advance
from tests.simulator.day import SimulatedDay
from tests.simulator.truth import Truth
from tests.study.plain import PlainAnswer, gaussian_process, highest_bin, parabola

FAR_DEG = 3.0


def _list(values: npt.ArrayLike, digits: int = 4) -> list[Any]:
    array = np.asarray(values)
    return array.tolist() if array.dtype == bool else np.round(array.astype(float), digits).tolist()


def tested_truth(day: SimulatedDay, rpm: Array) -> tuple[Array, Array]:
    """Least and most advance the spark really had over the settings run, per row."""
    run = np.array([day.truth.delivered(s, rpm) for s in day.truth.curves])
    return run.min(axis=0), run.max(axis=0)


def score_best(day: SimulatedDay, best: pl.DataFrame) -> dict[str, Any]:
    """States, errors and coverage of best advance; torque given away at it, %."""
    truth = day.truth
    table = best.filter(pl.col("state") != "untested")
    rpm = table["rpm"].to_numpy().astype(float)
    real = truth.best(rpm)
    lo, hi = tested_truth(day, rpm)
    states = table["state"].to_list()
    inside = np.array([s == "inside" for s in states], bool)
    low, high = table["lo_deg"].to_numpy(), table["hi_deg"].to_numpy()
    said = table["best_deg"].to_numpy()[inside].astype(float)
    covered = [bool(a <= m <= b) for a, m, b in zip(low[inside], real[inside], high[inside], strict=True)]
    sides: list[bool] = []
    right_side: list[bool] = []
    for state, m, a, b, edge_lo, edge_hi in zip(states, real, low, high, lo, hi, strict=True):
        if state == "above_tested":
            sides.append(bool(m >= a))
            right_side.append(bool(m > edge_hi))
        elif state == "below_tested":
            sides.append(bool(m <= b))
            right_side.append(bool(m < edge_lo))
    far = (real > hi + FAR_DEG) | (real < lo - FAR_DEG)
    return {
        "rows": len(states), "states": {s: states.count(s) for s in sorted(set(states))}, "rpm": _list(rpm[inside], 0),
        "error": _list(said - real[inside]), "width": _list((high[inside] - low[inside]).astype(float)), "covered": covered,
        "away": _list(100 * truth.loss(said, rpm[inside])), "one_sided": sides, "right_side": right_side,
        "false_inside": int((inside & far).sum()),
    }  # fmt: skip


def score_delivered(truth: Truth, delivered: DeliveredDay) -> dict[str, Any]:
    """Errors and coverage of delivered advance, pulls' direction (up), where anything is claimed."""
    table = delivered.delivered.filter(pl.col("advance_deg").is_not_null() & (pl.col("direction") != "down"))
    error, covered = [], []
    for (setting,), part in table.group_by("setting", maintain_order=True):
        rpm = part["rpm"].to_numpy().astype(float)
        keep = (rpm >= truth.span_rpm[0]) & (rpm <= truth.span_rpm[1])
        real = truth.delivered(str(setting), rpm)
        error += _list((part["advance_deg"].to_numpy() - real)[keep])
        covered += _list(((part["lo_deg"].to_numpy() <= real) & (real <= part["hi_deg"].to_numpy()))[keep])
    return {"error": error, "covered": covered}


def score_effects(truth: Truth, effects: pl.DataFrame) -> dict[str, Any]:
    """Coverage, wrong signs and found differences, whole span and row by row apart."""
    out: dict[str, Any] = {}
    for kind, part in (
        ("span", effects.filter(pl.col("rpm_lo") != pl.col("rpm_hi"))),
        ("row", effects.filter(pl.col("rpm_lo") == pl.col("rpm_hi"))),
    ):
        rows = list(part.iter_rows(named=True))
        real = [truth.effect_pct(e["setting"], e["versus"], np.arange(e["rpm_lo"], e["rpm_hi"] + 1, 100.0)) for e in rows]
        called = [e["verdict"] in ("gain", "loss") for e in rows]
        out[kind] = {
            "error": _list([e["change_pct"] - r for e, r in zip(rows, real, strict=True)]),
            "covered": [bool(e["lo_pct"] <= r <= e["hi_pct"]) for e, r in zip(rows, real, strict=True)],
            "called": sum(called),
            "wrong": sum(c and (e["verdict"] == "gain") != (r > 0) for c, e, r in zip(called, rows, real, strict=True)),
            "differ": sum(abs(r) > 1 for r in real),
            "found": sum(c and abs(r) > 1 for c, r in zip(called, real, strict=True)),
        }  # fmt: skip
    return out


def _against_least(truth: Truth, rpm: Array, curve: Array, lo: Array, ceiling: Array) -> Array:
    """Torque given away beyond what limits force, %: against the best advance between the least tested and the ceiling."""
    allowed = np.clip(truth.best(rpm), np.minimum(lo, ceiling), ceiling)
    return np.asarray(100 * (truth.loss(curve, rpm) - truth.loss(allowed, rpm)))


def score_advice(day: SimulatedDay, best: BestDay, advice: Advice) -> dict[str, Any]:
    """Torque given away by the free and by the mechanical curve, % per row, beyond what the ceiling forces."""
    roof = {int(r): a for r, a in best.ceiling.select("rpm", "advance_deg").iter_rows()}
    least = {int(r): a for r, a in best.best.select("rpm", "tested_lo_deg").iter_rows() if a is not None}
    out: dict[str, Any] = {"tolerance": 0.5}
    rows = [r for r in advice.advice.get("least_curve") or [] if r["rpm"] in roof and r["rpm"] in least]
    if rows:
        rpm = np.array([r["rpm"] for r in rows], float)
        curve = np.array([r["advance_deg"] for r in rows], float)
        lo, hi = (np.array([d[int(n)] for n in rpm]) for d in (least, roof))
        out["least_curve"] = _list(_against_least(day.truth, rpm, curve, lo, hi))
    shape = advice.advice.get("mechanical")
    if shape and shape.get("strip"):
        rpm = np.array([s["rpm"] for s in shape["strip"] if s["rpm"] in roof and s["rpm"] in least], float)
        turned = shape["start_rpm"] is not None and shape["all_in_rpm"] is not None
        points = [(0.0, shape["total_deg"])]  # locked: one advance all the way
        if turned:
            points = [
                (shape["start_rpm"], shape["total_deg"] - (shape["stop_deg"] or 0.0)),
                (shape["all_in_rpm"], shape["total_deg"]),
            ]
        if turned and shape.get("knee_rpm") is not None:
            points.insert(1, (shape["knee_rpm"], shape["knee_deg"]))
        if len(rpm) and all(p is not None for pair in points for p in pair):
            curve = np.interp(rpm, [p[0] for p in points], [p[1] for p in points])
            lo, hi = (np.array([d[int(n)] for n in rpm]) for d in (least, roof))
            out["mechanical"] = _list(_against_least(day.truth, rpm, curve, lo, hi))
    return out


def _plain_scores(day: SimulatedDay, answer: PlainAnswer, rpm: Array, ours: dict[int, float]) -> dict[str, Any]:
    """A plain method on all rows it answers, and paired with ours on the rows both answer."""
    truth = day.truth
    said = np.isfinite(answer.best)
    real = truth.best(rpm)
    error, away = np.abs(answer.best - real), np.full(len(rpm), np.nan)
    away[said] = 100 * truth.loss(answer.best[said], rpm[said])
    both = np.array([s and int(n) in ours for s, n in zip(said, rpm, strict=True)], bool)
    our = np.array([ours[int(n)] for n in rpm[both]], float)
    bounded = np.isfinite(answer.lo)
    covered = ((answer.lo <= real) & (real <= answer.hi))[bounded]
    effects = {}
    if answer.effects:
        pairs = [(truth.effect_pct(s), *e) for s, e in answer.effects.items()]
        effects = {
            "error": _list([e - r for r, e, _, _ in pairs]), "covered": [bool(a <= r <= b) for r, _, a, b in pairs],
            "called": sum(a > 0 or b < 0 for _, _, a, b in pairs),
            "wrong": sum((a > 0 and r < 0) or (b < 0 and r > 0) for r, _, a, b in pairs),
            "differ": sum(abs(r) > 1 for r, *_ in pairs), "found": sum(abs(r) > 1 and (a > 0 or b < 0) for r, _, a, b in pairs),
        }  # fmt: skip
    return {
        "error": _list(error[said]), "away": _list(away[said]), "covered": _list(covered), "paired_error": _list(error[both]),
        "paired_away": _list(away[both]), "our_error": _list(np.abs(our - real[both])),
        "our_away": _list(100 * truth.loss(our, rpm[both])), "effects": effects,
    }  # fmt: skip


def score_plain(day: SimulatedDay, aligned: AlignedDay, delivered: DeliveredDay, best: BestDay) -> dict[str, Any]:
    """The three plain methods on the same day."""
    table: DayTable = day_table(aligned, delivered)
    table = table.where(usable(table))
    if not table.present.any():
        return {}
    rpm = table.rpm.astype(float)
    ours = {int(n): float(b) for n, b in best.best.select("rpm", "best_deg").iter_rows() if b is not None}
    answers = {
        "highest_bin": highest_bin(table, day.truth.baseline), "parabola": parabola(table),
        "gaussian_process": gaussian_process(table, day.number),
    }  # fmt: skip
    return {name: _plain_scores(day, answer, rpm, ours) for name, answer in answers.items()}


def run_day(day: SimulatedDay, prior: Prior | None = None, *, plain: bool = True, advice: bool = True) -> dict[str, Any]:
    """Through the whole of the estimation and back to the truth."""
    reading = day.reading
    began = time.process_time()
    aligned = align_day(reading)
    delivered = delivered_advance(reading, aligned)
    before = time.process_time()
    best = best_advance(reading, aligned, delivered, prior or default(reading.facts))
    done = time.process_time()
    out = {
        "best": score_best(day, best.best), "delivered": score_delivered(day.truth, delivered),
        "effects": score_effects(day.truth, best.effects), "abnormal": best.abnormal.height,
        "seconds": {"align_and_delivered": round(before - began, 3), "best": round(done - before, 3)},
        "pull_sd": best.repeatability["pull_sd_pct"], "own": best.own,
    }  # fmt: skip
    if advice:
        out["advice"] = score_advice(day, best, advise(reading, aligned, delivered, best))
    if plain:
        out["plain"] = score_plain(day, aligned, delivered, best)
    return out
