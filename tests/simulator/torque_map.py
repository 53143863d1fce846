"""An engine's torque tabulated once over rpm × advance (and three departures of the air), then read off by cubic splines."""

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
from scipy.interpolate import RectBivariateSpline, make_interp_spline

from pullbook.arrays import Array
from tests.simulator.air import STANDARD, STANDARD_K, Air
from tests.simulator.cycle import run_cycles
from tests.simulator.engine import Engine

ADVANCE_LO, ADVANCE_HI, ADVANCE_STEP = -6.0, 66.0, 3.0
RPM_STEP = 250.0
LEAST_KNOCK_GROWTH = 0.01  # of the knock integral a degree
WARMER_K = 15.0
_DEPARTURES = (
    Air(94.0, STANDARD.inlet_k, STANDARD.vapour_kpa),
    Air(STANDARD.pressure_kpa, STANDARD.inlet_k + WARMER_K, STANDARD.vapour_kpa),
    Air(STANDARD.pressure_kpa, STANDARD.inlet_k - WARMER_K, STANDARD.vapour_kpa),
    Air(STANDARD.pressure_kpa + 1.5, STANDARD.inlet_k, STANDARD.vapour_kpa + 1.5),
)


@dataclass(frozen=True, slots=True)
class TorqueMap:
    """Brake torque, best advance and knock of one engine as smooth functions; rpm within the table's span."""

    engine: Engine
    rpm_lo: float
    rpm_hi: float
    standard: Any
    departures: tuple[Any, ...]  # change of ln(torque + drag) per unit of ln p, K, K², kPa
    knock_log: Any  # ln of the knock integral
    knock_hot: Any  # its change per K of inlet temperature
    motored_nm: Any
    knock_shift: float = 0.0  # ln; a fuel of other octane

    def torque_nm(self, rpm: Array, advance_deg: Array, air: Air = STANDARD) -> Array:
        """Brake torque at wide-open throttle; ``rpm`` and ``advance_deg`` broadcast, ``air`` is one state."""
        rpm, advance = np.broadcast_arrays(rpm, advance_deg)
        x = np.ravel(np.clip(rpm, self.rpm_lo, self.rpm_hi)).astype(float)
        y = np.ravel(np.clip(advance, ADVANCE_LO, ADVANCE_HI)).astype(float)
        warmer = air.inlet_k - STANDARD.inlet_k
        steps = (np.log(air.dry_kpa / STANDARD.dry_kpa), warmer, warmer**2, air.vapour_kpa - STANDARD.vapour_kpa)
        whole, drag, log = self.standard.ev(x, y), -self.motored_nm(x), np.zeros(x.size)
        for step, spline in zip(steps, self.departures, strict=True):
            if step:
                log = log + step * spline.ev(x, y)
        return np.reshape((whole + drag) * np.exp(log) - drag, rpm.shape)

    def best_deg(self, rpm: Array, air: Air = STANDARD) -> Array:
        """Advance of most torque at each rpm."""
        rpm = np.asarray(rpm, float)
        grid = np.arange(ADVANCE_LO + 4, ADVANCE_HI - 4, 0.5)
        torque = self.torque_nm(rpm[:, None], grid[None, :], air)
        at = np.clip(np.argmax(torque, axis=1), 1, len(grid) - 2)
        row = np.arange(len(rpm))
        a, b, c = torque[row, at - 1], torque[row, at], torque[row, at + 1]
        return np.asarray(grid[at] + 0.25 * (a - c) / (a - 2 * b + c))

    def loss(self, advance_deg: Array, rpm: Array, air: Air = STANDARD) -> Array:
        """Share of the best torque given away at ``advance_deg``."""
        most = self.torque_nm(rpm, self.best_deg(rpm, air), air)
        return np.asarray(1 - self.torque_nm(rpm, advance_deg, air) / most)

    def curvature(self, rpm: Array, *, reach_deg: float = 8.0) -> Array:
        """k of loss = k·d² within ``reach_deg`` of the best, 1/deg²."""
        best = self.best_deg(rpm)
        d = np.linspace(-reach_deg, reach_deg, 9)
        loss = self.loss(best[None, :] + d[:, None], rpm)
        return np.asarray((loss * d[:, None] ** 2).sum(axis=0) / (d**4).sum())

    def with_knock_from(self, degrees_from_best: float, rpm: Array) -> "TorqueMap":
        """The same engine on the fuel that just knocks at the worst of ``rpm`` when run this far from the best."""
        worst = float(np.max(self.knock_index(rpm, self.best_deg(rpm) + degrees_from_best)))
        return replace(self, knock_shift=self.knock_shift - float(np.log(worst)))

    def knock_index(self, rpm: Array, advance_deg: Array, inlet_k: float = STANDARD_K) -> Array:
        """Knock integral at the engine's own octane; above 1 the end gas goes off by itself."""
        rpm, advance = np.broadcast_arrays(rpm, advance_deg)
        x, y = np.ravel(np.clip(rpm, self.rpm_lo, self.rpm_hi)), np.ravel(np.clip(advance, ADVANCE_LO, ADVANCE_HI))
        log = self.knock_log.ev(x, y) + (inlet_k - STANDARD_K) * self.knock_hot.ev(x, y)
        return np.exp(np.reshape(log, rpm.shape) + self.knock_shift)


@lru_cache(maxsize=64)
def torque_map(engine: Engine) -> TorqueMap:
    """Tabulate an engine (0.2 s); the same engine is tabulated once."""
    lo, hi = max(engine.rpm_lo - 900, 900.0), engine.rpm_hi + 500
    rpm = np.linspace(lo, hi, max(round((hi - lo) / RPM_STEP) + 1, 8))
    advance = np.arange(ADVANCE_LO, ADVANCE_HI + 0.1, ADVANCE_STEP)
    states = (STANDARD, *_DEPARTURES)
    every = Air(
        *(np.array([getattr(s, name) for s in states])[:, None, None] for name in ("pressure_kpa", "inlet_k", "vapour_kpa"))
    )
    runs = run_cycles(engine, rpm[None, :, None], advance[None, None, :], every)
    knock = np.log(np.maximum(runs.knock_integral, 1e-9))
    for i in range(1, advance.size):  # far beyond the best the burn ends too early for the integral; real engines only get worse
        knock[..., i] = np.maximum(knock[..., i], knock[..., i - 1] + LEAST_KNOCK_GROWTH * ADVANCE_STEP)
    a, b, c, d = engine.friction_bar
    speed = engine.piston_speed(rpm)
    drag = ((a + 15 * b + c * speed + d * speed**2 + 0.7) * 1e5 * engine.swept_m3 * engine.cylinders / (4 * np.pi))[:, None]
    thin, warm, cold, damp = (np.log((t + drag) / (runs.torque_nm[0] + drag)) for t in runs.torque_nm[1:])
    changes = (thin / np.log(_DEPARTURES[0].dry_kpa / STANDARD.dry_kpa), (warm - cold) / (2 * WARMER_K),
               (warm + cold) / (2 * WARMER_K**2), damp / (_DEPARTURES[3].vapour_kpa - STANDARD.vapour_kpa))  # fmt: skip
    return TorqueMap(
        engine, lo, hi, RectBivariateSpline(rpm, advance, runs.torque_nm[0]),
        tuple(RectBivariateSpline(rpm, advance, c) for c in changes), RectBivariateSpline(rpm, advance, knock[0]),
        RectBivariateSpline(rpm, advance, (knock[2] - knock[0]) / WARMER_K), make_interp_spline(rpm, -drag[:, 0]),
    )  # fmt: skip
