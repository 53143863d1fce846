"""A day made of known draws: what advice stands on, without logs, models or sampling."""

from dataclasses import dataclass, field

import numpy as np
import polars as pl

from pullbook.advice.ground import Ground, survey_ground
from pullbook.belief import Prior
from pullbook.columns import ALIGNED_PULLS, BEST, DELIVERED, EFFECTS, KNOCK, PULL_ADVANCE, ROWS, SAMPLES, SHAPES, STROBE, conform
from pullbook.facts import DayFacts, EngineFacts
from pullbook.handover import AlignedDay, BestDay, DayReading, DeliveredDay, Posterior

RPM = np.arange(2000, 5601, 100)


@dataclass
class Pull:
    """One pull of a day: what the sheet says of it, and ``curve``, degrees at each of the day's rpm (else ``total`` throughout)."""

    setting: str
    total: float | None
    initial: float | None = None
    curve: np.ndarray | None = None
    baseline: bool = False
    knock: str = "not heard"
    knock_rpm: tuple[float, float] | None = None
    oil_c: float | None = None
    status: str = "used"


@dataclass
class Day:
    """Hill and pulls of one day; ``parts()`` gives what ``advise`` takes."""

    pulls: list[Pull]
    best: np.ndarray = field(default_factory=lambda: np.full(len(RPM), 33.0))
    best_sd: float = 0.8
    k: float = 3e-4
    pull_sd: float = 0.004
    engine: EngineFacts = field(default_factory=EngineFacts)
    facts: DayFacts = field(default_factory=DayFacts)
    state: str = "inside"
    timing: dict[str, float | bool | None] = field(default_factory=dict)
    evidence: tuple[str, ...] = ()
    shapes: list[dict[str, object]] = field(default_factory=list)
    repeatability: dict[str, object] = field(default_factory=dict)
    rough: bool = False
    draws: int = 400
    rpm: np.ndarray = field(default_factory=lambda: RPM)

    def curve(self, pull: Pull) -> np.ndarray:
        return np.full(len(self.rpm), float(pull.total or 0.0)) if pull.curve is None else pull.curve

    def posterior(self) -> Posterior:
        random = np.random.default_rng(4)
        n, r = self.draws, len(self.rpm)
        shift = random.normal(0.0, self.best_sd, (n, 1)) + random.normal(0.0, self.best_sd / 2, (n, 1)) * np.linspace(-1, 1, r)
        best = self.best + shift
        k = self.k * np.exp(random.normal(0.0, 0.15, (n, 1))) * np.ones(r)
        curves = {p.setting: self.curve(p) for p in self.pulls if p.status != "left_out"}
        level = np.log(400.0 - ((self.rpm - 4000.0) / 1000.0) ** 2 * 8.0) + random.normal(0.0, 0.002, (n, 1))
        every = np.array(list(curves.values()))
        skew = random.normal(0.0, 0.002, n)
        means = {
            s: level
            + np.log1p(-np.minimum(k * (c - best) ** 2 * np.exp(skew[:, None] * (c - best)), 0.9))
            + random.normal(0.0, 0.001, (n, 1))
            for s, c in curves.items()
        }
        return Posterior(
            rpm=self.rpm.astype(np.int64),
            best_deg=best,
            k=k,
            skew=skew,
            pull_sd=self.pull_sd * np.exp(random.normal(0.0, 0.2, n)),
            drift=random.normal(0.0, 0.0005, n),
            log_torque=level,
            tested_lo_deg=every.min(axis=0),
            tested_hi_deg=every.max(axis=0),
            setting_means=means,
        )

    def noted(self) -> pl.DataFrame:
        rows = [
            {
                "pull_id": f"p{i}",
                "setting": p.setting,
                "rpm_lo": p.knock_rpm[0] if p.knock_rpm else None,
                "rpm_hi": p.knock_rpm[1] if p.knock_rpm else None,
                "word": p.knock,
                "source": "sheet",
            }
            for i, p in enumerate(self.pulls, 1)
        ]
        return conform(pl.DataFrame(rows, schema_overrides={"rpm_lo": pl.Float64, "rpm_hi": pl.Float64}), KNOCK)

    def ceiling(self) -> pl.DataFrame:
        """The contract's ceiling, by its own words."""
        margin = self.facts.limits.margin_below_knock_deg
        rows = []
        for i, n in enumerate(self.rpm):
            run = sorted({float(self.curve(p)[i]) for p in self.pulls})
            bad = [
                float(self.curve(p)[i])
                for p in self.pulls
                if p.knock in ("heard", "faint", "counted")
                and (p.knock_rpm is None or p.knock_rpm[0] - 50 <= n <= p.knock_rpm[1] + 50)
            ]
            cap, why = run[-1], "most advanced setting tested"
            if bad:
                below = [a for a in run if a < min(bad) - 1e-9]
                cap, why = min([min(bad) - margin, *below[-1:]]), "knock noted"
            if self.engine.max_advance_deg is not None:
                cap = min(cap, self.engine.max_advance_deg)
            rows.append({"rpm": int(n), "advance_deg": cap, "because": why})
        return pl.DataFrame(rows)

    def parts(self, *, with_posterior: bool = True) -> tuple[DayReading, AlignedDay, DeliveredDay, BestDay]:
        reading = DayReading(
            "engine", "2031-04-05", self.engine, self.facts, (), pl.DataFrame(), pl.DataFrame(schema=SAMPLES),
            pl.DataFrame(schema=SAMPLES), pl.DataFrame(schema=STROBE),
        )  # fmt: skip
        posterior = self.posterior()
        pulls = [
            {
                "pull_id": f"p{i}", "order": i, "setting": p.setting, "initial_deg": p.initial, "total_deg": p.total,
                "baseline": p.baseline, "status": p.status, "knock": p.knock, "oil_c": p.oil_c,
            }
            for i, p in enumerate(self.pulls, 1)
        ]  # fmt: skip
        random = np.random.default_rng(7)
        rows = []
        for i, p in enumerate(self.pulls, 1):
            level = random.normal(0.0, self.pull_sd)
            loss = np.minimum(self.k * (self.curve(p) - self.best) ** 2, 0.9)
            torque = np.exp(posterior.log_torque.mean(axis=0) + np.log1p(-loss) + level)
            rows += [{"pull_id": f"p{i}", "rpm": int(n), "torque_nm": float(t)} for n, t in zip(self.rpm, torque, strict=True)]
        aligned = AlignedDay(conform(pl.DataFrame(pulls), ALIGNED_PULLS), conform(pl.DataFrame(rows), ROWS), None, 0.1, {})
        curves = {p.setting: self.curve(p) for p in self.pulls if p.total is not None or p.curve is not None}
        delivered_rows = [
            {
                "setting": s,
                "direction": "both",
                "rpm": int(n),
                "advance_deg": float(a),
                "lo_deg": float(a) - 0.3,
                "hi_deg": float(a) + 0.3,
            }
            for s, c in curves.items()
            for n, a in zip(self.rpm, c, strict=True)
        ]
        empty = pl.DataFrame(schema=PULL_ADVANCE)
        delivered = DeliveredDay(
            conform(pl.DataFrame(delivered_rows), DELIVERED) if delivered_rows else pl.DataFrame(schema=DELIVERED),
            conform(pl.DataFrame(self.shapes), SHAPES) if self.shapes else pl.DataFrame(schema=SHAPES),
            {
                "log_minus_true_deg": None,
                "delay_us": None,
                "zero_mark_error_deg": None,
                "mark_uncertainty_deg": 3.0,
                "verified": False,
            }
            | self.timing,
            empty,
            np.zeros((0, 0)),
            pl.DataFrame({"source": self.evidence}, schema={"source": pl.String}),
        )
        best_rows = [
            {"rpm": int(n), "state": self.state, "tested_lo_deg": lo, "tested_hi_deg": hi}
            for n, lo, hi in zip(self.rpm, posterior.tested_lo_deg, posterior.tested_hi_deg, strict=True)
        ]
        best = BestDay(
            best=conform(pl.DataFrame(best_rows), BEST),
            effects=pl.DataFrame(schema=EFFECTS),
            knock=self.noted(),
            ceiling=self.ceiling()
            if with_posterior
            else pl.DataFrame(schema={"rpm": pl.Int64, "advance_deg": pl.Float64, "because": pl.String}),
            repeatability={"pull_sd_pct": 0.4, "drift_lo": -0.1, "drift_hi": 0.1, "drift_pct_per_pull": 0.0} | self.repeatability,
            posterior=posterior if with_posterior else None,
            prior=Prior(0.006, 0.7, 3e-4, 0.47),
            own={},
            residuals=pl.DataFrame(),
            offsets=pl.DataFrame(),
            setting_curves=pl.DataFrame(),
            abnormal=pl.DataFrame(),
            rough=self.rough,
        )
        return reading, aligned, delivered, best


def locked(*totals: float, baseline: float | None = None, **more: object) -> list[Pull]:
    """Pulls at locked totals in order; the first total (or ``baseline``) is the baseline."""
    home = totals[0] if baseline is None else baseline
    return [Pull(f"{t:g}", t, t, baseline=t == home, **more) for t in totals]  # type: ignore[arg-type]


def sprung(total: float, stop: float = 20.0, start: float = 1200.0, all_in: float = 3200.0, **more: object) -> Pull:
    """One pull on springs."""
    curve = total - stop + stop * np.clip((RPM - start) / (all_in - start), 0.0, 1.0)
    return Pull(f"{total:g}", total, total - stop, curve=curve, **more)  # type: ignore[arg-type]


def ground_of(day: Day, ceiling: np.ndarray | None = None, tolerance_pct: float = 0.5) -> Ground:
    """What advice stands on: the day's draws under ``ceiling`` (degrees a row of ``RPM``; else the day's own)."""
    table = day.ceiling() if ceiling is None else pl.DataFrame({"rpm": RPM, "advance_deg": ceiling})
    found = survey_ground(day.posterior(), table, used_rpm=None, max_advance_deg=None, tolerance_pct=tolerance_pct)
    assert found is not None
    return found
