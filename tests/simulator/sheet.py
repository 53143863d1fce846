"""What the shop writes down by hand: the pull sheet, light readings, the piston stop and who heard what."""

from dataclasses import dataclass

import numpy as np

from tests.simulator.air import Air
from tests.simulator.design import Design
from tests.simulator.ignition import Curve, Setting
from tests.simulator.torque_map import TorqueMap

KnockNote = tuple[str, float | None, float | None]  # word, from rpm, to rpm


@dataclass(frozen=True, slots=True)
class SheetRow:
    """One row of the pull sheet. ``minutes``: time of day."""

    file: str
    setting: Setting
    baseline: bool
    minutes: int
    pressure_kpa: float
    temperature_c: float
    humidity_pct: float
    oil_c: float
    knock: KnockNote
    exclude: str | None = None
    notes: str | None = None

    @property
    def time(self) -> str:
        """Clock time, HH:MM."""
        return f"{self.minutes // 60:02d}:{self.minutes % 60:02d}"


@dataclass(frozen=True, slots=True)
class LightReading:
    """One reading of the light on the damper's scale."""

    setting: str
    rpm: float
    advance_deg: float
    direction: str


def light_readings(
    rng: np.random.Generator, design: Design, engine: TorqueMap, curves: dict[str, Curve], mark_error_deg: float
) -> list[LightReading]:
    """Readings spread over the settings and, in turn, over rpm; rounded to half degrees."""
    e = engine.engine
    span = np.array([-600.0, e.rpm_hi - e.rpm_lo]) if design.ignition == "mechanical" else np.array([0.0, e.rpm_hi - e.rpm_lo])
    out = []
    labels = list(curves)
    for i in range(design.light_readings if labels else 0):
        label = labels[i % len(labels)]
        share = ((i * 0.618) % 1.0 + rng.uniform(-0.05, 0.05)) % 1.0
        rpm = float(np.round((e.rpm_lo + span[0] + share * (span[1] - span[0])) / 50) * 50)
        down = design.ignition == "mechanical" and i % 4 == 3
        value = float(curves[label].advance_deg(np.array(rpm), down=down)) + mark_error_deg + rng.normal(0, design.light_sd_deg)
        out.append(LightReading(label, rpm, float(np.round(value * 2) / 2), "down" if down else "up"))
    return out


def stop_readings(rng: np.random.Generator, design: Design, mark_error_deg: float) -> tuple[float, float]:
    """Damper readings at a positive stop before and after TDC, to quarter degrees; (before − after)/2 is the mark's error."""
    stop = rng.uniform(22, 38)
    before, after = stop + mark_error_deg, stop - mark_error_deg
    read = [float(np.round((x + rng.normal(0, design.stop_reading_sd_deg)) * 4) / 4) for x in (before, after)]
    return read[0], read[1]


def knock_note(rng: np.random.Generator, engine: TorqueMap, curve: Curve, air: Air) -> KnockNote:
    """What a listener writes down: word and rpm span."""
    e = engine.engine
    rpm = np.arange(e.rpm_lo, e.rpm_hi + 1, 50.0)
    index = engine.knock_index(rpm, curve.advance_deg(rpm), float(air.inlet_k)) * np.exp(rng.normal(0, 0.02))
    loud = rpm[index > 1.0]
    if not loud.size:
        return "not heard", None, None
    word = "heard" if float(index.max()) > 1.08 else "faint"
    return word, float(np.floor(loud[0] / 100) * 100), float(np.ceil(loud[-1] / 100) * 100)
