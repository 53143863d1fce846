"""What the contract says of day.json holds for whole days of many kinds, from simulated pulls to the record."""

import json
import math
import re
from functools import cache
from typing import Any

import pytest

from pullbook.advice.settings_run import END_ROWS
from pullbook.columns import ROW_RPM
from pullbook.handover import DayReading
from pullbook.hill.prior import default
from pullbook.provenance import Provenance
from pullbook.running.conforms import check_record
from pullbook.stages.advise import advise
from pullbook.stages.align import align_day
from pullbook.stages.best import best_advance
from pullbook.stages.delivered import delivered_advance
from pullbook.stages.record import day_record
from tests.simulator import designs
from tests.simulator.day import simulate
from tests.simulator.design import Design

Record = dict[str, Any]

DESIGNS: dict[str, Design] = {d.name: d for d in (designs.WIDE, designs.MAPPED)} | designs.STUDY
DAYS = [("mapped", 1), ("knock_limited", 1), ("delay_offset", 2), ("few_pulls", 1), ("unbracketed", 3), ("locked", 1)]
NOTED = ("heard", "faint", "counted")


@cache
def solved(name: str, number: int) -> tuple[Record, DayReading]:
    """The record of a simulated day, and the day as read."""
    reading = simulate(DESIGNS[name], number).reading
    aligned = align_day(reading)
    delivered = delivered_advance(reading, aligned)
    best = best_advance(reading, aligned, delivered, default(reading.facts))
    record = day_record(
        reading, aligned, delivered, best, advise(reading, aligned, delivered, best), changes=[],
        made=Provenance([], "2031-04-05T18:00:00", "0", 1),
    )  # fmt: skip
    return record, reading


every_day = pytest.mark.parametrize("which", DAYS, ids=lambda w: f"{w[0]} {w[1]}")


@every_day
def test_it_follows_the_published_schema_and_holds_plain_numbers(which: tuple[str, int]) -> None:
    record, _ = solved(*which)
    assert check_record(record) == []
    text = json.dumps(record, allow_nan=False, ensure_ascii=False)
    assert not re.search(r"\bsafe(ly)?\b", text, re.IGNORECASE)
    assert "no knock" not in text.lower()


@every_day
def test_best_is_null_wherever_its_state_says_so(which: tuple[str, int]) -> None:
    record, _ = solved(*which)
    filled = {
        "inside": {"best_deg", "lo_deg", "hi_deg", "band_lo_deg", "band_hi_deg", "least_deg", "best_torque_nm"},
        "above_tested": {"lo_deg"},
        "below_tested": {"hi_deg"},
        "flat": set(),
        "untested": set(),
    }
    for row in record["best"]:
        assert row["rpm"] % ROW_RPM == 0
        answer = {k for k in filled["inside"] - {"least_deg"} if row[k] is not None}
        assert answer == filled[row["state"]] - {"least_deg"}, row
        if row["state"] == "untested":
            assert row["tested_lo_deg"] is None
            assert row["least_deg"] is None
        if row["state"] == "inside":
            assert row["lo_deg"] <= row["hi_deg"]
            assert row["band_lo_deg"] - 0.5 <= row["least_deg"] <= row["band_hi_deg"] + 0.5


@every_day
def test_a_verdict_is_the_first_that_fits(which: tuple[str, int]) -> None:
    record, reading = solved(*which)
    tolerance = reading.facts.limits.tolerance_pct
    for effect in record["effects"]:
        lo, hi = effect["lo_pct"], effect["hi_pct"]
        assert lo <= effect["change_pct"] <= hi
        inside = -tolerance <= lo and hi <= tolerance
        fits = "same" if inside else "gain" if lo > 0 else "loss" if hi < 0 else "cannot_tell"
        assert effect["verdict"] == fits, effect


def delivered_by_row(record: Record) -> dict[str, dict[int, float]]:
    found: dict[str, dict[int, float]] = {}
    for row in record["delivered"]:
        if row["direction"] in ("up", "both") and row["advance_deg"] is not None:
            found.setdefault(row["setting"], {})[row["rpm"]] = row["advance_deg"]
    return found


@every_day
def test_the_ceiling_is_the_contracts(which: tuple[str, int]) -> None:
    """Recomputed from what was tested, delivered and noted; at the ends a pull may have stopped a row or two before another."""
    record, reading = solved(*which)
    margin, known_limit = reading.facts.limits.margin_below_knock_deg, reading.engine_facts.max_advance_deg
    ran = delivered_by_row(record)
    used = {p["setting"] for p in record["pulls"] if p["status"] != "left_out"}
    tested = {r["rpm"]: r["tested_hi_deg"] for r in record["best"] if r["tested_hi_deg"] is not None}
    rows = sorted(tested)
    ends = {*rows[:END_ROWS], *rows[-END_ROWS:]}
    for row in record["advice"]["ceiling"]:
        rpm = row["rpm"]
        noted = [
            ran[note["setting"]][rpm]
            for note in record["knock"]
            if note["word"] in NOTED
            and rpm in ran.get(note["setting"], {})
            and (note["rpm_lo"] is None or (note["rpm_lo"] < rpm + 50 and note["rpm_hi"] > rpm - 50))
        ]
        near = [tested[n] for n in rows if abs(n - rpm) <= (END_ROWS * ROW_RPM if rpm in ends and not noted else 0)]
        limit = max(near)
        if noted:
            below = [ran[s][rpm] for s in used if rpm in ran.get(s, {}) and ran[s][rpm] < min(noted) - 1e-6]
            limit = min([limit, min(noted) - margin, *([max(below)] if below else [])])
        if known_limit is not None:
            limit = min(limit, known_limit)
        assert row["advance_deg"] <= limit + 0.06, row


@every_day
def test_no_advice_passes_the_ceiling(which: tuple[str, int]) -> None:
    record, reading = solved(*which)
    advice, known_limit = record["advice"], reading.engine_facts.max_advance_deg
    ceiling = {r["rpm"]: r["advance_deg"] for r in advice["ceiling"]}
    for row in [*advice["least_curve"], *advice["mechanical"]["curve"]]:
        assert row["advance_deg"] <= ceiling[row["rpm"]] + 0.02, row
    total = advice["mechanical"]["total_deg"]
    assert known_limit is None or total is None or total <= known_limit + 1e-6
    most = reading.pulls["total_deg"].max()
    for pull in advice["next_pulls"]:
        assert known_limit is None or pull["total_deg"] is None or pull["total_deg"] <= known_limit + 1e-6
        assert most is None or pull["total_deg"] is None or pull["total_deg"] <= most + reading.facts.limits.max_step_deg + 0.6


@every_day
def test_sums_of_the_advice_are_right(which: tuple[str, int]) -> None:
    record, _ = solved(*which)
    scale, advice = record["timing_scale"], record["advice"]
    for row in advice["table"]:
        if row["enter_deg"] is not None:
            told = row["delivered_deg"] + scale["log_minus_true_deg"] + 6e-6 * row["rpm"] * scale["delay_us"]
            assert row["enter_deg"] == pytest.approx(told, abs=0.001)
    curve = advice["mechanical"]
    if curve["initial_deg"] is not None:
        assert curve["initial_deg"] + curve["stop_deg"] == pytest.approx(curve["total_deg"], abs=0.06)


@every_day
def test_what_was_delivered_lies_in_its_own_interval(which: tuple[str, int]) -> None:
    record, _ = solved(*which)
    for row in record["delivered"]:
        assert row["rpm"] % ROW_RPM == 0
        if row["advance_deg"] is not None:
            assert row["lo_deg"] - 1e-6 <= row["advance_deg"] <= row["hi_deg"] + 1e-6
            assert row["evidence"]
    for shape in record["shapes"]:
        for name in ("initial_deg", "total_deg", "start_rpm", "knee_rpm", "knee_deg", "all_in_rpm"):
            lo, value, hi = (shape[f"{side}{name}"] for side in ("lo_", "", "hi_"))
            if value is not None:
                assert (lo if lo is not None else -math.inf) - 1e-6 <= value <= (hi if hi is not None else math.inf) + 1e-6
