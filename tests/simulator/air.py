"""Inlet air: what the engine breathes, and what the shop's gauges say of it."""

from dataclasses import dataclass

import numpy as np

from pullbook.arrays import Array

STANDARD_DRY_KPA = 99.0
STANDARD_K = 298.15


@dataclass(frozen=True, slots=True)
class Air:
    """Station pressure (kPa), vapour pressure (kPa) and inlet temperature (K); numbers or arrays that broadcast."""

    pressure_kpa: float | Array
    inlet_k: float | Array
    vapour_kpa: float | Array

    @property
    def dry_kpa(self) -> float | Array:
        """Pressure of the part that burns."""
        return self.pressure_kpa - self.vapour_kpa

    @property
    def humidity_pct(self) -> float:
        """Relative humidity."""
        return float(100 * self.vapour_kpa / saturation_kpa(self.inlet_k))


def saturation_kpa(kelvin: float | Array) -> float | Array:
    """Saturation pressure of water by the Magnus form, good to 0.4 % between 0 and 50 °C (constants from memory)."""
    c = np.asarray(kelvin) - 273.15
    return np.asarray(0.6112 * np.exp(17.62 * c / (243.12 + c)))


STANDARD = Air(STANDARD_DRY_KPA + 1.0, STANDARD_K, 1.0)
