"""The day's record: every stage's answer put together as the object of day.json (docs/contract.md, section 4)."""

import dataclasses
import math
from typing import Any

import polars as pl

from pullbook.columns import BEST, DELIVERED, EFFECTS, KNOCK, SHAPES
from pullbook.comparison.conditions import conditions
from pullbook.facts import DayFacts, EngineFacts
from pullbook.handover import Advice, AlignedDay, BestDay, DayReading, DeliveredDay
from pullbook.provenance import Provenance
from pullbook.questions import fact_of

_PULL_KEYS = (
    "pull_id", "file", "logger_file", "clock", "segment", "order", "setting", "baseline", "status", "reasons", "rpm_min",
    "rpm_max", "seconds", "rpm_per_s", "air_factor", "mean_torque_nm", "started", "kind", "notes", "oil_c", "coolant_c",
    "temperature_c", "pressure_kpa",
)  # fmt: skip


def outline(reading: DayReading, aligned: AlignedDay, delivered: DeliveredDay) -> dict[str, Any]:
    """The part of the record that is known before best advance: what was run, on what, in which air.

    What changed since an earlier day is told from two outlines, so it does not wait for that day's answers.

    Parameters
    ----------
    reading, aligned, delivered
        What the stages handed on, all of the same day.
    """
    known: dict[str, Any] = _plain(
        {
            "engine": reading.engine,
            "day": reading.day,
            "correction": aligned.correction,
            "pulls": [
                {key: _clock(row) if key == "clock" else row.get(key) for key in _PULL_KEYS}
                for row in aligned.pulls.iter_rows(named=True)
            ],
            "delivered": rows(delivered.delivered, DELIVERED),
            "shapes": rows(delivered.shapes, SHAPES),
            "timing_scale": delivered.timing_scale,
            "conditions": conditions(reading.engine_facts, reading.facts),
            "facts": {"engine": _plain_facts(reading.engine_facts), "day": _plain_facts(reading.facts)},
        }
    )
    return known


def day_record(
    reading: DayReading,
    aligned: AlignedDay,
    delivered: DeliveredDay,
    best: BestDay,
    advice: Advice,
    *,
    changes: list[str],
    made: Provenance,
) -> dict[str, Any]:
    """The object of day.json: plain values only, no NaN (unsupported numbers are null).

    Parameters
    ----------
    reading, aligned, delivered, best, advice
        What the stages handed on, all of the same day.
    changes
        What changed since this engine's last day, in words.
    made
        From which files, when, by which version of the tool and of the method.
    """
    answer: dict[str, Any] = {
        "schema": 1,
        "tool_version": made.tool_version,
        "made_at": made.made_at,
        "method": made.method,
        "best": rows(best.best, BEST),
        "effects": rows(best.effects, EFFECTS),
        "repeatability": best.repeatability,
        "knock": rows(best.knock, KNOCK),
        "advice": advice.advice,
        "card": advice.card,
        "pictures": list(reading.pictures),
        "changes": changes,
        "not_tested": list(advice.not_tested),
        "questions": _asked(reading.questions, aligned.questions, delivered.questions, best.questions, advice.questions),
        "warnings": _once(reading.warnings, aligned.warnings, delivered.warnings, best.warnings, advice.warnings),
        "cautions": list(advice.cautions),
        "not_established": _once(aligned.not_established, delivered.not_established, best.not_established),
        "errors": [dataclasses.asdict(fault) for fault in reading.errors],
        "sums": [dict(s) for s in advice.sums],
        "tested_limit": advice.tested_limit,
        "prior": dataclasses.asdict(best.prior),
        "lag": {"lag_s": aligned.lag_s, "bound_s": aligned.lag_bound_s},
        "own": best.own,
        "inputs": made.inputs,
    }
    plain: dict[str, Any] = outline(reading, aligned, delivered) | _plain(answer)
    return plain


def rows(table: pl.DataFrame, keys: Any) -> list[dict[str, Any]]:
    """The rows of ``table`` as dicts with ``keys`` in order; a key the table lacks is null."""
    return [{key: row.get(key) for key in keys} for row in table.iter_rows(named=True)]


def _clock(pull: dict[str, Any]) -> dict[str, Any] | None:
    """How the second recorder's clock lies on the first, as `check` shows it; None where there is no second recorder."""
    if pull.get("clock_rate") is None:
        return None
    return {"other_file": pull["logger_file"]} | {name: pull[f"clock_{name}"] for name in ("offset_s", "rate", "residual_rpm")}


def _asked(read: tuple[str, ...], *by_stages: tuple[str, ...]) -> list[str]:
    """Every question once, and every fact once: what a stage asks of the day goes before what a log's reader asked of the log."""
    asked: dict[str, str] = {}
    for question in (q for group in by_stages for q in group):
        if (fact := fact_of(question)) is not None:
            asked.setdefault(fact, question)
    of_logs = tuple(q for q in read if fact_of(q) not in asked)
    return _once(of_logs, *(tuple(q for q in group if asked.get(fact_of(q) or "", q) == q) for group in by_stages))


def _once(*groups: tuple[str, ...]) -> list[str]:
    return list(dict.fromkeys(text for group in groups for text in group))


def _plain_facts(facts: EngineFacts | DayFacts) -> dict[str, Any]:
    return {key: value for key, value in dataclasses.asdict(facts).items() if value not in (None, (), {})}


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(v) for v in value]
    if hasattr(value, "item") and not isinstance(value, str | bytes):
        value = value.item()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
