"""What was really so on a simulated day: the yardstick of every study."""

from dataclasses import dataclass, field

import numpy as np

from pullbook.arrays import Array
from tests.simulator.air import Air
from tests.simulator.dyno import Dyno
from tests.simulator.ignition import Curve
from tests.simulator.torque_map import TorqueMap


@dataclass(slots=True)
class Truth:
    """Truth of a day. Fractions, not percent, unless the name says so; advance in true crank degrees BTDC."""

    engine: TorqueMap
    air: Air  # the day's mean
    span_rpm: tuple[float, float]
    curves: dict[str, Curve]  # setting -> delivered
    dyno: Dyno
    mark_error_deg: float  # light minus true
    baseline: str
    offsets: list[float] = field(default_factory=list)  # pull by pull, without the drift
    pull_settings: list[str] = field(default_factory=list)
    pull_airs: list[Air] = field(default_factory=list)

    @property
    def rows(self) -> Array:
        """Every 100 rpm inside the pulled span."""
        lo, hi = self.span_rpm
        return np.arange(np.ceil(lo / 100) * 100, hi + 1, 100.0)

    def best(self, rpm: Array) -> Array:
        """Advance of most torque in the day's air."""
        return self.engine.best_deg(np.asarray(rpm, float), self.air)

    def loss(self, advance_deg: Array, rpm: Array) -> Array:
        """Share of the best torque given away; shapes broadcast."""
        return self.engine.loss(np.asarray(advance_deg, float), np.asarray(rpm, float), self.air)

    def torque_nm(self, advance_deg: Array, rpm: Array) -> Array:
        """Torque in the day's mean air, without any pull's offset."""
        return self.engine.torque_nm(np.asarray(rpm, float), np.asarray(advance_deg, float), self.air)

    def delivered(self, setting: str, rpm: Array, *, down: bool = False) -> Array:
        """Advance the spark really had."""
        return self.curves[setting].advance_deg(np.asarray(rpm, float), down=down)

    def effect_pct(self, setting: str, versus: str | None = None, rpm: Array | None = None) -> float:
        """Mean change of torque in % of ``setting`` against ``versus`` (the baseline) over ``rpm`` (the span)."""
        at = self.rows if rpm is None else np.asarray(rpm, float)
        a, b = (self.torque_nm(self.delivered(s, at), at) for s in (setting, versus or self.baseline))
        return float(100 * (np.exp(np.mean(np.log(a / b))) - 1))

    def knocks(self, setting: str, rpm: Array) -> Array:
        """Where the setting knocks in the day's mean air (booleans)."""
        at = np.asarray(rpm, float)
        return np.asarray(self.engine.knock_index(at, self.delivered(setting, at), float(self.air.inlet_k)) > 1)

    def curvature(self) -> float:
        """k at the middle of the span, 1/deg²."""
        return float(self.engine.curvature(np.array([sum(self.span_rpm) / 2]))[0])
