"""Days that nobody would run: alignment and delivered advance answer or leave blank, and never break."""

from typing import Any

import numpy as np
import polars as pl
from hypothesis import given, settings
from hypothesis import strategies as st

from pullbook.columns import FOUND_PULLS, SAMPLES, STROBE, conform
from pullbook.facts import Air, DayFacts, EngineFacts, Ignition, ZeroMark
from pullbook.handover import DayReading
from pullbook.stages.align import align_day
from pullbook.stages.delivered import delivered_advance

CHANNELS = ("torque_nm", "power_kw", "advance_deg", "advance_commanded_deg", "throttle_pct", "roller_rpm", "map_kpa", "baro_kpa")


def course(rng: np.random.Generator, n: int) -> np.ndarray:
    """A channel's values, sane or not."""
    up = np.linspace(2000.0, 6000.0, n)
    half = n // 2
    gaps, stray = np.where(rng.random(n) < 0.5, np.nan, up), np.where(rng.random(n) < 0.02, np.inf, up)
    shapes = [up, up[::-1], np.full(n, 3000.0), rng.normal(3000, 1000, n), np.full(n, np.nan), gaps, np.zeros(n), up * 1e6, -up,
              stray, np.r_[up[:half], up[: n - half]], np.round(up, -3)]  # fmt: skip
    return shapes[int(rng.integers(len(shapes)))]


def maybe(rng: np.random.Generator, share: float, value: Any) -> Any:
    """``value`` in ``share`` of all cases, else None."""
    return value if rng.random() < share else None


def rough_day(rng: np.random.Generator) -> DayReading:
    """Pulls, coast-downs, light readings and facts without rhyme or reason."""
    pulls, samples, coasts = [], [], []
    for i in range(int(rng.integers(0, 5))):
        n, kind = int(rng.choice([0, 1, 2, 3, 5, 8, 30, 150])), str(rng.choice(["pull", "pull", "aborted", "hold"]))
        table = {"rpm": course(rng, n), "time_s": course(rng, n) / 400 if rng.random() < 0.2 else np.arange(n) * 0.05}
        table |= {c: course(rng, n) / rng.choice([1, 10, 100]) for c in CHANNELS if rng.random() < 0.6}
        frame = pl.DataFrame(table).with_columns(
            pl.lit(f"p{i}").alias("pull_id"), pl.lit("f.csv").alias("file"), pl.lit(1).alias("segment"), pl.lit(kind).alias("kind")
        )
        samples.append(frame)
        if rng.random() < 0.5:
            coasts.append(frame.with_columns(kind=pl.lit("coast_down"), segment=pl.lit(2)))
        pulls.append(
            {"pull_id": f"p{i}", "file": "f.csv", "segment": 1, "kind": kind, "order": i, "knock": "not listened",
             "setting": maybe(rng, 0.9, str(rng.choice(["a", "b", "c"]))), "initial_deg": maybe(rng, 0.4, float(rng.normal(12, 5))),
             "total_deg": maybe(rng, 0.5, float(rng.normal(30, 5))), "baseline": bool(rng.random() < 0.3),
             "pressure_kpa": maybe(rng, 0.3, float(rng.normal(99, 2))), "temperature_c": maybe(rng, 0.3, float(rng.normal(20, 20))),
             "humidity_pct": maybe(rng, 0.2, float(rng.uniform(0, 100))), "usable": bool(rng.random() < 0.9),
             "exclude": maybe(rng, 0.1, "a reason"), "corrected": maybe(rng, 0.15, "SAE J1349")}
        )  # fmt: skip
    strobe = [
        {"setting": maybe(rng, 0.9, str(rng.choice(["a", "b", "z"]))), "rpm": float(rng.uniform(500, 6000)),
         "advance_deg": float(rng.normal(25, 10)), "direction": maybe(rng, 0.5, str(rng.choice(["up", "down"]))),
         "source": maybe(rng, 0.8, str(rng.choice(["light", "bench"]))),
         "scale": maybe(rng, 0.8, str(rng.choice(["crank", "distributor"])))}
        for _ in range(int(rng.integers(0, 12)))
    ]  # fmt: skip
    kind, scale = rng.choice([None, "mechanical", "locked", "mapped"]), rng.choice([None, "crank", "distributor"])
    air = Air(
        pressure_kpa=maybe(rng, 0.6, float(rng.normal(99, 2))),
        temperature_c=maybe(rng, 0.7, 20.0),
        humidity_pct=maybe(rng, 0.7, 50.0),
    )
    engine = EngineFacts(
        rotating_inertia_kg_m2=maybe(rng, 0.5, 0.1), altitude_m=float(rng.uniform(-100, 3000)), ignition=Ignition(kind, scale)
    )
    facts = DayFacts(air=air, zero_mark=maybe(rng, 0.4, ZeroMark(30.0, 28.0)) or ZeroMark())
    return DayReading(
        engine="e", day="2031-01-01", engine_facts=engine, facts=facts, logs=(),
        pulls=conform(pl.DataFrame(pulls, infer_schema_length=None), FOUND_PULLS),
        samples=conform(pl.concat(samples, how="diagonal") if samples else pl.DataFrame(), SAMPLES),
        coast_downs=conform(pl.concat(coasts, how="diagonal") if coasts else pl.DataFrame(), SAMPLES),
        strobe=conform(pl.DataFrame(strobe, infer_schema_length=None), STROBE),
    )  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(number=st.integers(0, 2**31))
def test_rough_days_are_answered_or_left_blank(number: int) -> None:
    """No exception, no warning, no NaN, intervals that hold their estimate, modes that fit their rows."""
    reading = rough_day(np.random.default_rng(number))
    aligned = align_day(reading)
    got = delivered_advance(reading, aligned)
    assert aligned.pulls["pull_id"].to_list() == reading.pulls.sort("order")["pull_id"].to_list()
    assert got.modes.shape[0] == len(got.pull_advance)
    assert np.isfinite(got.modes).all()
    for table in (aligned.rows, aligned.pulls, got.delivered, got.shapes, got.pull_advance):
        for name, dtype in table.schema.items():
            if dtype == pl.Float64:
                assert table[name].drop_nulls().is_finite().all(), name
    known = got.delivered.drop_nulls(["advance_deg", "lo_deg", "hi_deg"])
    assert (known["lo_deg"] <= known["advance_deg"] + 1e-6).all()
    assert (known["advance_deg"] <= known["hi_deg"] + 1e-6).all()
