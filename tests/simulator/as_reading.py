"""A simulated day as the reader would hand it on, built in memory."""

from typing import Any

import numpy as np
import polars as pl

from pullbook.columns import FOUND_PULLS, SAMPLES, STROBE, conform
from pullbook.facts import Air, DayFacts, Dyno, EngineFacts, Ignition, Spring, ZeroMark
from pullbook.handover import ColumnRead, DayReading, LogReading, Segment
from tests.simulator.air import saturation_kpa
from tests.simulator.day import SimulatedDay
from tests.simulator.dyno import Trace
from tests.simulator.sheet import SheetRow

_UNITS = {
    "time_s": "s",
    "rpm": "rpm",
    "torque_nm": "N·m",
    "power_kw": "kW",
    "advance_deg": "°BTDC",
    "throttle_pct": "%",
    "knock": None,
    "roller_rpm": "rpm",
}


def as_reading(day: SimulatedDay) -> DayReading:
    """Build the reading of ``day``; the recorder's rows before the throttle opens are idle and left out."""
    pulls: list[dict[str, Any]] = []
    samples: list[pl.DataFrame] = []
    coasts: list[pl.DataFrame] = []
    logs: list[LogReading] = []
    for order, (trace, row) in enumerate(zip(day.traces, day.sheet, strict=True), start=1):
        pull_id = f"p{order:02d}"
        kind = "aborted" if order - 1 in day.design.aborted else "pull"
        table = columns_of(day, trace).with_columns(pl.lit(pull_id).alias("pull_id"), pl.lit(row.file).alias("file"))
        first, stop = (int(np.searchsorted(trace.phase, p)) for p in (1, 2))
        segments = tuple(
            _segment(trace, i, k, a, b)
            for i, (k, a, b) in enumerate(((kind, first, stop), ("coast_down", stop, trace.rpm.size)), 1)
        )
        for piece, into in zip(segments, (samples, coasts), strict=True):
            into.append(
                table[piece.first : piece.stop].with_columns(
                    pl.lit(piece.segment).alias("segment"), pl.lit(piece.kind).alias("kind")
                )
            )
        pulls.append(_pull(day, row, pull_id, kind, order))
        logs.append(_log(row.file, table.drop("pull_id", "file"), segments))
    light = [
        {"setting": x.setting, "rpm": x.rpm, "advance_deg": x.advance_deg, "direction": x.direction, "source": "light",
         "scale": "crank", "vacuum": "off"} for x in day.light
    ]  # fmt: skip
    return DayReading(
        engine=day.engine_name, day=day.day, engine_facts=engine_facts(day), facts=day_facts(day), logs=tuple(logs),
        pulls=conform(pl.DataFrame(pulls, infer_schema_length=None), FOUND_PULLS), samples=conform(pl.concat(samples), SAMPLES),
        coast_downs=conform(pl.concat(coasts), SAMPLES),
        strobe=conform(pl.DataFrame(light), STROBE) if light else pl.DataFrame(schema=STROBE), seed=day.number * 7919 + len(pulls),
    )  # fmt: skip


def columns_of(day: SimulatedDay, trace: Trace) -> pl.DataFrame:
    """A trace as channels; advance and knock only where the recorder has them."""
    table = {"time_s": trace.time_s, "rpm": trace.rpm, "torque_nm": trace.torque_nm,
             "power_kw": np.round(trace.torque_nm * trace.rpm * np.pi / 30_000, 2)}  # fmt: skip
    if day.design.log_has_advance:
        table["advance_deg"] = trace.advance_deg
    table["throttle_pct"] = trace.throttle_pct
    if day.design.dyno_kind == "roller":
        table["roller_rpm"] = trace.roller_rpm
    if day.design.knock_channel:
        table["knock"] = trace.knock
    return pl.DataFrame(table)


def engine_facts(day: SimulatedDay) -> EngineFacts:
    """engine.yaml of the day as values."""
    e = day.truth.engine.engine
    curves = [s.curve for s in day.settings.values()]
    stops = (
        tuple(sorted({c.total_deg - c.initial_deg for c in curves} | set(day.design.owned_stops_deg)))
        if day.design.ignition == "mechanical"
        else ()
    )
    lo, hi = day.truth.span_rpm
    box = (
        ("soft pair", lo - 1100, lo + 300),
        ("one soft one stiff", lo - 900, lo + 1100),
        ("stiff pair", lo - 500, min(lo + 2000, hi)),
    )
    springs = tuple(Spring(n, round(a), round(b), 20.0) for n, a, b in box) if day.design.ignition == "mechanical" else ()
    points = tuple(x for x, _ in curves[0].points) if day.design.ignition == "mapped" else ()
    inertia = round(day.truth.dyno.inertia_kg_m2, 3) if day.design.dyno_kind == "engine" else None
    return EngineFacts(
        name=day.engine_name, cylinders=e.cylinders, displacement_l=round(e.displacement_l, 2),
        compression_ratio=round(e.compression_ratio, 1), used_rpm=day.truth.span_rpm, rotating_inertia_kg_m2=inertia,
        ignition=Ignition(day.design.ignition, "crank", "single", stops, springs, points),
    )  # fmt: skip


def day_facts(day: SimulatedDay) -> DayFacts:
    """day.yaml of the day as values."""
    kpa, c, rh = day.day_air
    mark = ZeroMark(day.stop[0], day.stop[1], day.day) if day.stop else ZeroMark()
    return DayFacts(
        air=Air(kpa, c, rh, None, _vapour(c, rh)), zero_mark=mark, dyno=Dyno(f"bench {day.number}", day.design.dyno_kind),
        light="plain", listening=day.design.listening, vacuum_advance="off",
    )  # fmt: skip


def _pull(day: SimulatedDay, row: SheetRow, pull_id: str, kind: str, order: int) -> dict[str, Any]:
    """One row of FOUND_PULLS."""
    own = day.design.air_each_pull
    kpa, c, rh = (row.pressure_kpa, row.temperature_c, row.humidity_pct) if own else day.day_air
    curve = row.setting.curve
    return {
        "pull_id": pull_id, "file": row.file, "segment": 1, "kind": kind, "order": order, "setting": row.setting.label,
        "initial_deg": None if curve.kind == "mapped" else curve.initial_deg,
        "total_deg": None if curve.kind == "mapped" else curve.total_deg, "baseline": row.baseline, "time": row.time,
        "pressure_kpa": kpa, "temperature_c": c, "humidity_pct": rh, "vapour_pressure_kpa": _vapour(c, rh), "oil_c": row.oil_c,
        "knock": row.knock[0], "knock_lo_rpm": row.knock[1], "knock_hi_rpm": row.knock[2], "exclude": row.exclude,
        "notes": row.notes, "usable": True,
    }  # fmt: skip


def _vapour(celsius: float, humidity_pct: float) -> float:
    return float(humidity_pct / 100 * saturation_kpa(celsius + 273.15))


def _segment(trace: Trace, number: int, kind: Any, first: int, stop: int) -> Segment:
    rpm, time = trace.rpm[first:stop], trace.time_s[first:stop]
    return Segment(number, kind, float(time[0]), float(time[-1]), float(rpm.min()), float(rpm.max()), first, stop)


def _log(file: str, table: pl.DataFrame, segments: tuple[Segment, ...]) -> LogReading:
    columns = tuple(ColumnRead(c, c, _UNITS[c], "header", False, 0.0) for c in table.columns)
    lines = pl.int_range(2, len(table) + 2, dtype=pl.Int64, eager=True).alias("line")
    own = table.with_columns(lines, pl.lit(0, dtype=pl.Int64).alias("recording"))
    return LogReading(file, "utf-8", ",", ".", 1, len(table), 0, columns, own, segments)
