"""Advance as parts make it: weights and springs, locked, or a table. Crank degrees before TDC against crank rpm."""

from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from pullbook.arrays import Array

Kind = Literal["mechanical", "locked", "mapped"]


@dataclass(frozen=True, slots=True)
class Curve:
    """What a setting delivers: flat, rise, (knee), rise, flat for weights and springs; a constant; or a table."""

    kind: Kind
    initial_deg: float
    total_deg: float
    start_rpm: float = 0.0
    all_in_rpm: float = 0.0
    knee: tuple[float, float] | None = None  # (rpm, degrees)
    hysteresis_deg: float = 0.0  # the weights lag on the way down
    points: tuple[tuple[float, float], ...] = field(default=())

    def advance_deg(self, rpm: Array, *, down: bool = False) -> Array:
        """Delivered advance going up (or down) through ``rpm``."""
        rpm = np.asarray(rpm, float)
        if self.kind == "locked":
            return np.full(rpm.shape, float(self.total_deg))
        if self.kind == "mapped":
            x, y = zip(*self.points, strict=True)
            return np.asarray(np.interp(rpm, x, y))
        corners = [(self.start_rpm, self.initial_deg), *([self.knee] if self.knee else []), (self.all_in_rpm, self.total_deg)]
        x, y = zip(*corners, strict=True)
        up = np.interp(rpm, x, y)
        if not down or not self.hysteresis_deg:
            return np.asarray(up)
        rising = (rpm > self.start_rpm) & (rpm < self.all_in_rpm)
        return np.asarray(np.minimum(up + self.hysteresis_deg * rising, self.total_deg))

    def moved(self, degrees: float) -> "Curve":
        """The same parts turned by ``degrees``."""
        return Curve(
            self.kind, self.initial_deg + degrees, self.total_deg + degrees, self.start_rpm, self.all_in_rpm,
            (self.knee[0], self.knee[1] + degrees) if self.knee else None, self.hysteresis_deg,
            tuple((x, y + degrees) for x, y in self.points),
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Setting:
    """A label of the pull sheet: what the operator believes was set."""

    label: str
    curve: Curve
