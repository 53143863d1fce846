"""Days whose truth is not the simulator's: other hills, other courses over rpm, other chance. Rows of torque, no dyno.

What must hold on any engine cannot be shown on one simulator alone. Here each kind of day breaks one thing the model of the
day takes for granted (or all at once), and the answers are held against the truth as in the study.
"""

from dataclasses import dataclass, field
from types import SimpleNamespace
from typing import Any

import numpy as np

from pullbook.arrays import Array

LIKE_RPM = 300.0
WIDE = (-10.0, -5.0, 0.0, 5.0)


@dataclass(frozen=True, slots=True)
class Kind:
    """One way in which a day differs from what the model expects. Shares of torque are fractions."""

    name: str
    hill: str = "parabola"
    course: str = "smooth"
    offsets_deg: tuple[float, ...] = WIDE
    order: tuple[int, ...] = (2, 0, 3, 1, 2, 0, 3, 1, 2)
    shuffle: bool = True
    pull_sd: tuple[float, float] = (0.003, 0.006)
    odd_pulls: float = 0.0  # chance that a pull is 0.8 to 2 % low: plugs wetted, clutch, a gust
    warms: tuple[float, float] = (0.0, 0.0)  # gained over the first pulls, 1 − exp(−i/3)
    walk: float = 0.0  # SD of a step of the level from pull to pull
    drift: tuple[float, float] = (-0.0004, 0.0004)
    wander: tuple[float, float] = (0.0015, 0.003)
    alike_rpm: float = LIKE_RPM
    smooth_wander: bool = False  # squared exponential instead of exponential
    tilt: float = 0.0  # SD of a pull's gain at the ends of the span against its middle
    sharp: tuple[float, float] = (1.5e-4, 4e-4)


KINDS: dict[str, Kind] = {
    k.name: k
    for k in (
        Kind("parabola"),
        Kind("cubic", hill="cubic"),
        Kind("flat_top", hill="flat_top"),
        Kind("bell", hill="bell"),
        Kind("tent", hill="tent"),
        Kind("step", course="step"),
        Kind("bend", course="bend"),
        Kind("dip", course="dip"),
        Kind("long_wander", alike_rpm=1000.0),
        Kind("smooth_wander", alike_rpm=500.0, smooth_wander=True),
        Kind("gain_over_rpm", tilt=0.003),
        Kind("odd_pulls", odd_pulls=0.12),
        Kind("warming", warms=(0.005, 0.02)),
        Kind("walking", walk=0.0025),
        Kind("ascending", order=(0, 0, 1, 1, 2, 2, 3, 3, 0), shuffle=False, drift=(-0.003, 0.003)),
        Kind("few", offsets_deg=(-6.0, 0.0, 6.0), order=(1, 0, 2, 1, 2)),
        Kind("no_repeats", offsets_deg=(-10.0, -6.0, -2.0, 2.0, 6.0), order=(0, 1, 2, 3, 4)),
        Kind("gentle", sharp=(6e-5, 1.5e-4)),
        Kind("sharp", sharp=(5e-4, 1e-3)),
        Kind("many", order=(2, 0, 3, 1) * 4),
        Kind("edge", offsets_deg=(-12.0, -8.0, -5.0, -1.0)),
        Kind("all_at_once", hill="any", course="any", odd_pulls=0.05, warms=(0.0, 0.008), walk=0.001, alike_rpm=600.0, tilt=0.0015),
    )
}  # fmt: skip
STRESS: dict[str, Kind] = {
    k.name: k
    for k in (
        Kind("one_pull_each_ascending", offsets_deg=(-10.0, -6.0, -2.0, 2.0, 6.0), order=(0, 1, 2, 3, 4), shuffle=False,
             drift=(-0.004, 0.004)),
        Kind("strong_drift_no_return", order=(0, 0, 1, 1, 2, 2, 3, 3), shuffle=False, drift=(-0.008, -0.004)),
        Kind("two_settings", offsets_deg=(-6.0, 0.0), order=(1, 0, 1, 0, 1, 0)),
        Kind("one_percent", pull_sd=(0.01, 0.01)),
        Kind("flat", sharp=(1.5e-5, 4e-5)),
    )
}  # fmt: skip
HILLS = ("parabola", "cubic", "flat_top", "bell", "tent")
COURSES = ("smooth", "step", "bend", "dip")


@dataclass(slots=True)
class OtherTruth:
    """Truth of one day in closed form; the same questions as the simulator's answer to."""

    hill: str
    k: float
    lean: float
    course: Any
    baseline: str
    curves: dict[str, Any]
    span_rpm: tuple[float, float]
    rows: Array = field(default_factory=lambda: np.zeros(0))

    def best(self, rpm: Array) -> Array:
        """Advance of most torque."""
        return np.asarray(self.course(np.asarray(rpm, float)))

    def loss(self, advance_deg: Array, rpm: Array) -> Array:
        """Share of the best torque given away."""
        d = np.asarray(advance_deg, float) - self.best(rpm)
        square = self.k * d**2
        if self.hill == "cubic":  # asymmetric: leans by up to 3 % a degree, held from turning over
            return np.asarray(square * np.clip(1 + self.lean * d, 0.3, 3.0))
        if self.hill == "flat_top":  # quartic near the top, a parabola far out
            return np.asarray(1.4 * square * d**2 / (d**2 + 36.0))
        if self.hill == "bell":  # falls slower and slower
            return np.asarray(0.06 * -np.expm1(-square / 0.06))
        if self.hill == "tent":  # sharp top, nearly straight sides
            return np.asarray(0.012 * (np.sqrt(1 + 2.6 * square / 0.012) - 1))
        return np.asarray(square)

    def delivered(self, setting: str, rpm: Array, *, down: bool = False) -> Array:
        """Advance the spark really had."""
        return np.asarray(self.curves[setting](np.asarray(rpm, float)))

    def effect_pct(self, setting: str, versus: str | None = None, rpm: Array | None = None) -> float:
        """Mean change of torque in % against ``versus`` (the baseline) over ``rpm``."""
        at = self.rows if rpm is None else np.asarray(rpm, float)
        own, other = (np.log1p(-self.loss(self.delivered(s, at), at)) for s in (setting, versus or self.baseline))
        return float(100 * np.expm1(np.mean(own - other)))


def _course(rng: np.random.Generator, kind: str, rpm: Array) -> Any:
    """Best advance over rpm: a gentle rise, and what the kind adds to it."""
    middle, level, slope = float(rpm.mean()), rng.uniform(22, 36), rng.uniform(0, 3) / 1000
    at, sign = rng.uniform(rpm[0] + 800, rpm[-1] - 800), rng.choice([-1.0, 1.0])
    wave, phase = rng.uniform(0, 1.0), rng.uniform(0, 2 * np.pi)

    def course(n: Array) -> Array:
        out = level + slope * (n - middle) + wave * np.sin((n - middle) / 900 + phase)
        if kind == "step":  # 6° within 500 rpm
            out = out + sign * 3.0 * np.tanh((n - at) / 230)
        elif kind == "bend":  # flat, then 5° per 1000 rpm
            out = out - slope * (n - middle) + sign * 0.005 * np.maximum(n - at, 0.0)
        elif kind == "dip":  # at the torque peak it burns faster
            out = out - 4.0 * np.exp(-0.5 * ((n - at) / 400) ** 2)
        return np.asarray(out)

    return course


def other_day(kind: Kind, number: int) -> tuple[Any, Any, Any]:
    """A day of ``kind``: what the scorer asks of a day (``truth``), aligned pulls and delivered advance."""
    from zlib import crc32

    rng = np.random.default_rng([number, crc32(kind.name.encode())])
    lo = 100.0 * rng.integers(20, 30)
    rpm = np.arange(lo, lo + 100.0 * rng.integers(25, 36) + 1, 100.0)
    hill = str(rng.choice(HILLS)) if kind.hill == "any" else kind.hill
    shape = str(rng.choice(COURSES)) if kind.course == "any" else kind.course
    course = _course(rng, shape, rpm)
    guess = float(course(rpm.mean())) + rng.normal(0, 1.5)
    order = list(kind.order)
    if kind.shuffle:
        order = [int(i) for i in rng.permutation(order)]
    knee = lo + rng.uniform(-400, 600)
    slope = rng.uniform(0.004, 0.009)
    curves = {}
    for i, step in enumerate(kind.offsets_deg):
        total = guess + step + rng.normal(0, 0.4)
        curves[f"s{i}"] = lambda n, total=total: total - slope * np.maximum(knee - n, 0.0)
    lean = rng.uniform(-0.03, 0.03)
    truth = OtherTruth(hill, float(rng.uniform(*kind.sharp)), lean, course, f"s{order[0]}", curves, (rpm[0], rpm[-1]), rpm)
    torque = _torque(rng, kind, truth, [f"s{i}" for i in order], rpm)
    return SimpleNamespace(truth=truth, number=number), *_as_handed_on(rng, truth, [f"s{i}" for i in order], rpm, torque)


def _torque(rng: np.random.Generator, kind: Kind, truth: OtherTruth, ran: list[str], rpm: Array) -> Array:
    """Torque (P, R) as rows would hold it."""
    n, x = len(ran), (rpm - rpm.mean()) / (np.ptp(rpm) / 2)
    i = np.arange(n)
    sd, drift, warms = (rng.uniform(*span) for span in (kind.pull_sd, kind.drift, kind.warms))
    level = rng.normal(0, sd, n) + drift * i + warms * -np.expm1(-i / 3) + np.cumsum(rng.normal(0, kind.walk, n))
    level -= np.where(rng.random(n) < kind.odd_pulls, rng.uniform(0.008, 0.02, n), 0.0)
    apart = np.abs(rpm[:, None] - rpm) / kind.alike_rpm
    like = np.exp(-0.5 * apart**2) if kind.smooth_wander else np.exp(-apart)
    root = np.linalg.cholesky(like + 1e-8 * np.eye(len(rpm)))
    wander = rng.uniform(*kind.wander) * rng.standard_normal((n, len(rpm))) @ root.T
    shape = np.log(200.0) - 0.25 * (x - rng.uniform(-0.3, 0.3)) ** 2 + 0.02 * np.sin(3 * x + rng.uniform(0, 6))
    clean = np.array([np.log1p(-truth.loss(truth.delivered(s, rpm), rpm)) for s in ran])
    gain = rng.normal(0, kind.tilt, (n, 1)) * x
    return np.asarray(np.exp(shape + clean + level[:, None] + wander + gain + rng.normal(0, 0.0008, clean.shape)))


def _as_handed_on(rng: np.random.Generator, truth: OtherTruth, ran: list[str], rpm: Array, torque: Array) -> tuple[Any, Any]:
    """The stages' own tables of these pulls; the advance is known to a few hundredths of a degree."""
    import polars as pl

    from pullbook.columns import ALIGNED_PULLS, DELIVERED, PULL_ADVANCE, ROWS, SHAPES, conform
    from pullbook.handover import AlignedDay, DeliveredDay

    ids = [f"p{i + 1:02d}" for i in range(len(ran))]
    pulls = [
        {"pull_id": p, "order": i + 1, "setting": s, "baseline": s == truth.baseline, "status": "used", "rpm_min": rpm[0],
         "rpm_max": rpm[-1]} for i, (p, s) in enumerate(zip(ids, ran, strict=True))
    ]  # fmt: skip
    at = {"pull_id": np.repeat(ids, len(rpm)), "rpm": np.tile(rpm.astype(int), len(ids))}
    rows = pl.DataFrame(at | {"torque_nm": torque.ravel(), "se_nm": 0.0008 * torque.ravel()})
    seen = {s: truth.delivered(s, rpm) + rng.normal(0, 0.03, len(rpm)) for s in truth.curves}
    advance = pl.DataFrame(at | {"advance_deg": np.concatenate([seen[s] for s in ran])})
    aligned = AlignedDay(conform(pl.DataFrame(pulls), ALIGNED_PULLS), conform(rows, ROWS), None, 0.1, {})
    empty = pl.DataFrame(schema=DELIVERED)
    return aligned, DeliveredDay(
        empty, pl.DataFrame(schema=SHAPES), {}, conform(advance, PULL_ADVANCE), np.zeros((len(advance), 0)), pl.DataFrame()
    )  # fmt: skip


def run_other(kind: Kind, number: int) -> dict[str, Any]:
    """Estimate one day of ``kind`` and hold it against its truth."""
    import polars as pl

    from pullbook.facts import DayFacts, EngineFacts
    from pullbook.handover import DayReading
    from pullbook.hill.prior import default
    from pullbook.stages.best import best_advance
    from tests.study.score import score_best, score_effects

    day, aligned, delivered = other_day(kind, number)
    facts = DayFacts()
    nothing = pl.DataFrame()
    reading = DayReading("engine", "day", EngineFacts(), facts, (), nothing, nothing, nothing, nothing, seed=number)
    found = best_advance(reading, aligned, delivered, default(facts))
    return {
        "number": number, "best": score_best(day, found.best), "effects": score_effects(day.truth, found.effects),
        "abnormal": found.abnormal.height, "pull_sd": found.repeatability["pull_sd_pct"],
    }  # fmt: skip
