"""Every knob of a simulated day."""

from dataclasses import dataclass
from typing import Literal

from tests.simulator.engine import Chamber
from tests.simulator.ignition import Kind

Span = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Design:
    """How a day is run. A ``Span`` is drawn evenly between its ends, once a day (or once an engine or dyno, as said)."""

    name: str
    # --- engine and ignition
    chambers: tuple[Chamber, ...] = ("two_valve", "mid", "four_valve", "air_cooled")
    curvature: Span = (1.5e-4, 4e-4)  # engines drawn until k at mid span, 1/deg², is inside
    ignition: Kind = "mechanical"
    offsets_deg: tuple[float, ...] = (-8.0, -4.0, 0.0, 4.0)  # settings against the engine's best at mid span
    centre_sd_deg: float = 1.5  # how badly the shop guesses where the best lies
    order: tuple[int, ...] = (2, 0, 3, 1, 2, 0, 3, 1, 2)  # index into offsets_deg, pull by pull
    baseline: int = 2
    mirrored: bool = False  # the sign of all offsets is drawn
    shuffle: bool = False  # all but the first and last pull
    spring_changes: bool = False  # settings differ in springs and stop too, so that curves cross
    stop_deg: Span = (14.0, 24.0)
    hysteresis_deg: Span = (0.5, 1.5)
    owned_stops_deg: tuple[float, ...] = (16.0, 20.0, 24.0)
    set_error_deg: float = 0.4  # SD, once a setting
    setting_rounded_deg: float = 1.0
    # --- the pull's torque
    pull_sd_pct: Span = (0.3, 0.6)  # once a dyno
    drift_pct: Span = (-0.04, 0.04)  # per pull
    wander_pct: Span = (0.15, 0.3)
    wander_rpm: float = 300.0
    # --- dyno and recorder (once a dyno)
    dyno_kind: Literal["engine", "roller"] = "engine"
    sweep_rpm_s: Span = (200.0, 350.0)
    sweep_varies: float = 0.03  # share, pull to pull
    inertia_kg_m2: Span = (0.05, 0.2)
    lag_s: Span = (0.05, 0.2)
    noise_pct: Span = (0.4, 1.0)  # of torque, white, SD a sample
    rpm_noise: float = 4.0
    rate_hz: float = 20.0
    torque_digits: int = 1
    log_has_advance: bool = True
    log_offset_deg: Span = (0.0, 0.0)  # o
    log_delay_us: Span = (0.0, 0.0)  # t_d
    log_step_deg: float = 0.1
    log_noise_deg: float = 0.15
    # --- damper mark and light
    mark_error_deg: Span = (-1.0, 1.0)  # z, once an engine
    stop_check: bool = True
    stop_reading_sd_deg: float = 0.15  # read to quarter degrees
    light_readings: int = 24  # a day, spread over settings and rpm
    light_sd_deg: float = 0.55
    # --- weather
    pressure_kpa: Span = (97.5, 102.0)
    temperature_c: Span = (14.0, 26.0)
    humidity_pct: Span = (35.0, 70.0)
    warms_c: Span = (0.0, 2.0)  # over the day
    falls_kpa: Span = (-0.15, 0.15)
    gauge_error: tuple[float, float] = (0.1, 0.5)  # SD kPa and °C, the same all day
    air_each_pull: bool = True
    # --- knock
    knock_from_deg: Span | None = None  # where it starts at the worst rpm, against the best there; None: out of reach
    listening: Literal["none", "ear", "sensor"] = "ear"
    not_listened: float = 0.0  # share of pulls nobody listened to
    knock_channel: bool = False
    # --- mishaps (pull numbers from 0)
    aborted: tuple[int, ...] = ()
    spoiled: tuple[int, ...] = ()  # a drop of torque in part of the pull (misfire)
    excluded: tuple[int, ...] = ()  # the sheet says why
