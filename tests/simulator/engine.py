"""The engine as drawn: geometry, breathing, burn, friction. Three families of chamber, each engine a draw of its own.

Spans are common knowledge of engine handbooks, from memory; no particular engine is meant.
"""

from dataclasses import dataclass
from math import pi
from typing import Literal

import numpy as np

from pullbook.arrays import Array

Chamber = Literal["two_valve", "mid", "four_valve", "air_cooled"]
CHAMBERS: tuple[Chamber, ...] = ("two_valve", "mid", "four_valve", "air_cooled")


@dataclass(frozen=True, slots=True)
class Engine:
    """One engine. Lengths in m, angles in crank degrees (0 = firing top dead centre), pressures as their names say."""

    chamber: Chamber
    cylinders: int
    bore_m: float
    stroke_m: float
    rod_m: float
    compression_ratio: float
    intake_closes_deg: float  # before TDC, negative
    exhaust_opens_deg: float
    wall_k: float
    heat_factor: float  # on Hohenberg's coefficient
    rpm_lo: float
    rpm_hi: float
    # breathing: filling over rpm, two tuning humps on a broad hill
    filling_peak: float
    filling_rpm: float
    filling_fall: float  # share lost a span away from filling_rpm
    humps: tuple[tuple[float, float, float], ...]  # (rpm, half-width rpm, share)
    charge_heating_k: float
    filling_exponent: float  # air mass ~ 1 / (inlet temperature)**this
    residual: float
    # burn: at burn_rpm, a spark 30° before TDC and the standard air
    delay_deg: float
    burn_deg: float
    burn_rpm: float
    speed_exponent: float
    motion_gain: float  # burn angles ~ tuning**-this: where it fills well it burns fast
    wiebe_m: float
    lambda_lean: float  # at the low end of the span
    lambda_rich: float  # at the high end
    flame_exponent: float  # flame speed ~ (temperature of the unburned charge)**this
    humidity_slows: float  # share of flame speed lost per kPa of vapour
    # friction (mean effective pressure, bar)
    friction_bar: tuple[float, float, float, float]
    pumping_bar: float  # at a mean piston speed of 15 m/s
    blow_by_mm2: float
    octane: float = 98.0

    @property
    def swept_m3(self) -> float:
        """Swept volume of one cylinder."""
        return pi / 4 * self.bore_m**2 * self.stroke_m

    @property
    def displacement_l(self) -> float:
        """Swept volume of all cylinders in litres."""
        return self.swept_m3 * self.cylinders * 1000

    def filling(self, rpm: Array) -> Array:
        """Volumetric efficiency, shape of ``rpm``, at the standard air."""
        x = (rpm - self.filling_rpm) / (self.rpm_hi - self.rpm_lo)
        return np.asarray(self.filling_peak * (1 - self.filling_fall * x**2) * self.tuning(rpm))

    def tuning(self, rpm: Array) -> Array:
        """What the pipes' tuning adds to filling and, with it, to charge motion: humps around 1."""
        shape = np.ones_like(np.asarray(rpm, float))
        for at, width, share in self.humps:
            shape = shape + share * np.exp(-0.5 * ((rpm - at) / width) ** 2)
        return np.asarray(shape)

    def residual_share(self, rpm: Array) -> Array:
        """Burned gas left from the cycle before: more at low speed and where the engine fills badly."""
        return np.asarray(self.residual * (1 + 0.6 * np.exp(-(rpm - 1000) / 1500)) * (self.filling_peak / self.filling(rpm)))

    def mixture(self, rpm: Array) -> Array:
        """Lambda over the span."""
        share = np.clip((rpm - self.rpm_lo) / (self.rpm_hi - self.rpm_lo), -0.3, 1.3)
        return np.asarray(self.lambda_lean + (self.lambda_rich - self.lambda_lean) * share)

    def piston_speed(self, rpm: Array) -> Array:
        """Mean piston speed, m/s."""
        return np.asarray(2 * self.stroke_m * rpm / 60)


@dataclass(frozen=True, slots=True)
class _Family:
    """Spans a family's engines are drawn from."""

    cylinders: tuple[int, ...]
    bore_mm: tuple[float, float]
    stroke_mm: tuple[float, float]
    ratio: tuple[float, float]
    wall_k: tuple[float, float]
    rpm: tuple[float, float]
    spark_to_half_deg: tuple[float, float]
    speed_exponent: tuple[float, float]
    filling: tuple[float, float]
    residual: tuple[float, float]


_FAMILIES: dict[Chamber, _Family] = {
    "two_valve": _Family(
        (6, 8), (95, 106), (78, 96), (8.2, 10.0), (430, 460), (2400, 5600),
        (38, 46), (0.00, 0.20), (0.78, 0.90), (0.06, 0.09),
    ),
    "mid": _Family(
        (4, 6, 8), (86, 98), (78, 94), (9.2, 10.8), (430, 460), (2500, 6000),
        (31, 40), (0.00, 0.24), (0.84, 0.95), (0.05, 0.08),
    ),
    "four_valve": _Family(
        (4,), (78, 90), (70, 92), (10.0, 12.0), (430, 460), (3000, 7000),
        (24, 32), (0.00, 0.28), (0.90, 1.03), (0.04, 0.06),
    ),
    "air_cooled": _Family(
        (1, 2, 4), (82, 98), (68, 100), (7.8, 9.6), (480, 530), (2300, 5500),
        (33, 43), (0.00, 0.22), (0.75, 0.90), (0.06, 0.09),
    ),
}  # fmt: skip


def draw_engine(rng: np.random.Generator, chamber: Chamber) -> Engine:
    """Draw one engine of a family.

    Parameters
    ----------
    rng
        Source of chance; the same state gives the same engine.
    chamber
        Which family.
    """
    f = _FAMILIES[chamber]

    def between(span: tuple[float, float]) -> float:
        return float(rng.uniform(*span))

    lo, hi = f.rpm
    half = between(f.spark_to_half_deg)
    delay_share = between((0.42, 0.50))
    wiebe_m = between((1.3, 2.6))
    half_point = (np.log(2) / 6.908) ** (1 / (wiebe_m + 1))
    stroke = between(f.stroke_mm) / 1000
    humps = tuple((between((lo, hi)), between((350, 700)), between((-0.035, 0.05))) for _ in range(2))
    motion_gain = between((0.5, 1.8))
    return Engine(
        chamber=chamber, cylinders=int(rng.choice(f.cylinders)), bore_m=between(f.bore_mm) / 1000, stroke_m=stroke,
        rod_m=stroke * between((1.55, 1.85)), compression_ratio=between(f.ratio),
        intake_closes_deg=-between((118, 140)), exhaust_opens_deg=between((112, 135)), wall_k=between(f.wall_k),
        heat_factor=between((0.9, 1.7)),
        rpm_lo=lo, rpm_hi=hi, filling_peak=between(f.filling), filling_rpm=lo + (hi - lo) * between((0.35, 0.7)),
        filling_fall=between((0.2, 0.5)), humps=humps, charge_heating_k=between((15, 35)), filling_exponent=between((0.4, 0.6)),
        residual=between(f.residual), delay_deg=half * delay_share, burn_deg=half * (1 - delay_share) / half_point,
        burn_rpm=(lo + hi) / 2, speed_exponent=between(f.speed_exponent), motion_gain=motion_gain,
        wiebe_m=wiebe_m, lambda_lean=between((0.86, 0.93)),
        lambda_rich=between((0.84, 0.9)), flame_exponent=between((1.7, 3.3)), humidity_slows=between((0.02, 0.04)),
        friction_bar=(between((0.3, 0.5)), 0.005, between((0.07, 0.11)), 0.0009), pumping_bar=between((0.25, 0.5)),
        blow_by_mm2=between((0.2, 0.6)),
    )  # fmt: skip
